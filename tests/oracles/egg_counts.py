"""Egg count limits and reduction intervals, computed anew with numpy and scipy.

Compares with server/care/tests/golden/egg_counts.json, which the Rust tests hold the engine to; with --write it makes
that file. The oracle knows nothing of the engine: it states the same published formulas through scipy's distributions.
"""

import json
import pathlib
import sys

import numpy as np
from scipy import stats

GOLDEN = pathlib.Path(__file__).parents[2] / "server/care/tests/golden/egg_counts.json"
TAIL = 0.05


def poisson(count):
    """Exact two-sided 95 % limits of a Poisson mean (Garwood 1936) by the chi-square form."""
    low = stats.chi2.ppf(0.025, 2 * count) / 2 if count else 0.0
    return [float(low), float(stats.chi2.ppf(0.975, 2 * count + 2) / 2)]


def delta(before, after, paired):
    n1, n2, m1, m2 = len(before), len(after), before.mean(), after.mean()
    vl = before.var(ddof=1) / (n1 * m1**2) + after.var(ddof=1) / (n2 * m2**2)
    if paired:
        vl -= 2 * np.cov(before, after, ddof=1)[0, 1] / (n1 * m1 * m2)
    ratio = m2 / m1
    dist = stats.gamma(1 / vl, scale=ratio * vl)
    return vl, [100 * (1 - dist.ppf(1 - TAIL)), 100 * (1 - dist.ppf(TAIL))]


def binomial(total, left):
    high = 1.0 if left == 0 else stats.beta.ppf(1 - TAIL, total - left + 1, left)
    return [100 * stats.beta.ppf(TAIL, total - left, left + 1), 100 * high]


def case(name, before, after, f_before=25.0, f_after=25.0, paired=True):
    x, y = np.array(before, float), np.array(after, float)
    out = {"name": name, "before": before, "after": after, "f_before": f_before, "f_after": f_after, "paired": paired}
    out["reduction"] = float(100 * (1 - (y * f_after).mean() / (x * f_before).mean()))
    total = float(x.sum() * f_before / f_after * len(y) / len(x))
    intervals = []
    if y.sum() > 0:
        vl, both = delta(x * f_before, y * f_after, paired)
        out["log_ratio_variance"] = float(vl)
        intervals.append(("gamma-delta", both))
    if y.sum() < total:
        intervals.append(("clopper-pearson", binomial(total, float(y.sum()))))
    method, both = max(intervals, key=lambda one: one[1][1] - one[1][0])
    out["method"], out["low"], out["high"] = method, float(both[0]), float(both[1])
    return out


def golden():
    rng = np.random.default_rng(20261125)
    cases = [
        case("A", [52, 88, 31, 120, 64, 45], [0] * 6),
        case("B", [40, 75, 22, 130, 61, 48, 90], [18, 41, 12, 77, 30, 20, 55]),
        case("F", [44, 51, 39, 60, 47], [1, 0, 4, 0, 1]),
        case("rose", [20, 31, 25, 40, 28], [31, 40, 22, 55, 30]),
        case("factors", [40, 55, 61, 38, 47], [2, 1, 0, 3, 1], 25.0, 5.0),
        case("unpaired", [26, 48, 14, 36, 84, 16], [2, 0, 6, 0, 4, 2], paired=False),
        case("unpaired sizes", [26, 48, 14, 36, 84, 16, 30], [2, 0, 6, 0], paired=False),
    ]
    for n in range(40):
        horses = int(rng.integers(3, 15))
        before = rng.negative_binomial(2, 0.03, horses) + 1
        after = rng.binomial(before, rng.uniform(0.01, 0.6))
        if after.sum() == 0 or after.var() == 0:
            continue
        cases.append(case(f"random {n}", before.tolist(), after.tolist(), paired=bool(n % 2)))
    return {"poisson": {str(n): poisson(n) for n in [*range(0, 60), 100, 250, 1000, 5000]}, "reduction": cases}


def near(a, b):
    if isinstance(a, dict):
        return a.keys() == b.keys() and all(near(a[k], b[k]) for k in a)
    if isinstance(a, list):
        return len(a) == len(b) and all(map(near, a, b))
    if isinstance(a, float) or isinstance(b, float):
        return abs(a - b) <= 1e-8 * max(1.0, abs(a), abs(b))
    return a == b


def main():
    made = golden()
    if "--write" in sys.argv:
        GOLDEN.write_text(json.dumps(made, indent=1) + "\n")
        return
    kept = json.loads(GOLDEN.read_text())
    if not near(made, kept):
        sys.exit(f"{GOLDEN} is not what scipy computes; look at the difference, then run with --write")
    print(f"egg counts: {len(made['poisson'])} Poisson limits and {len(made['reduction'])} reductions agree with scipy")


main()
