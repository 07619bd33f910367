"""Visit plans as an integer program, solved to a proof by scipy's HiGHS.

Compares with server/care/tests/golden/visits.json, which the Rust tests hold the engine to; with --write it makes that
file. The oracle knows nothing of the engine: it states that a day is used or not, that each visit is on one used day of
its window, and that a day holds no more than its capacity, and has the solver minimise the days.
"""

import json
import pathlib
import random
import sys

import numpy as np
from scipy import optimize, sparse

GOLDEN = pathlib.Path(__file__).parents[2] / "server/care/tests/golden/visits.json"


def fewest(days, needs, capacity, one_barn):
    """The fewest days, or None where not all visits fit."""
    barns = sorted({barn for _, _, barn in needs}) if one_barn else [None]
    used = {(barn, day): n for n, (barn, day) in enumerate((b, d) for b in barns for d in days)}
    rows, cols, values, low, high = [], [], [], [], []

    def row(entries, least, most):
        for column, value in entries:
            rows.append(len(low))
            cols.append(column)
            values.append(value)
        low.append(least)
        high.append(most)

    columns = len(used)
    on = {key: [] for key in used}
    for first, last, barn in needs:
        key = barn if one_barn else None
        places = []
        for day in days:
            if first <= day <= last:
                on[key, day].append(columns)
                places.append(columns)
                row([(columns, 1), (used[key, day], -1)], -np.inf, 0)
                columns += 1
        row([(place, 1) for place in places], 1, 1)
        if not places:
            return None
    for key, places in on.items():
        row([(place, 1) for place in places] + [(used[key], -capacity)], -np.inf, 0)
    if one_barn:
        for day in days:
            row([(used[barn, day], 1) for barn in barns], 0, 1)
    cost = np.zeros(columns)
    cost[: len(used)] = 1
    matrix = sparse.csr_matrix((values, (rows, cols)), shape=(len(low), columns))
    answer = optimize.milp(
        cost,
        constraints=optimize.LinearConstraint(matrix, low, high),
        integrality=np.ones(columns),
        bounds=optimize.Bounds(0, 1),
        options={"mip_rel_gap": 0},
    )
    if answer.status == 2:
        return None
    if answer.status != 0:
        sys.exit(f"the solver came to no proof: {answer.message}")
    return round(answer.fun)


def instance(rng, horses, span, longest, capacity, barns):
    days = [day for day in range(span) if day % 7 < 5 and rng.random() > 0.1]
    needs = []
    for _ in range(horses):
        first = rng.randrange(span - 1)
        needs.append([first, min(span - 1, first + rng.randint(0, longest)), rng.randrange(barns)])
    return days, needs, capacity


def golden():
    rng = random.Random(20270301)
    cases = []
    shapes = [(40, 30, 12, 4, False), (80, 60, 14, 3, False), (120, 60, 21, 5, False), (150, 90, 10, 6, False),
              (30, 45, 14, 4, True), (48, 60, 12, 6, True)]
    for horses, span, longest, capacity, one_barn in shapes:
        made = 0
        while made < 6:
            days, needs, capacity = instance(rng, horses, span, longest, capacity, 3 if one_barn else 1)
            # Whoever fits on no day at all is left out, as the planner does; what then can't be fitted is no case.
            needs = [need for need in needs if any(need[0] <= day <= need[1] for day in days)]
            best = fewest(days, needs, capacity, one_barn)
            if best is None:
                continue
            made += 1
            cases.append({"name": f"{horses} horses in {span} days, {made}" + (", one barn a day" if one_barn else ""),
                          "capacity": capacity, "days": days, "needs": needs, "one_barn_a_day": one_barn, "fewest": best})
    return cases


def main():
    if sys.argv[1:] == ["--write"]:
        lines = ",\n".join(json.dumps(case) for case in golden())
        GOLDEN.write_text(f"[\n{lines}\n]\n")
        return
    cases = json.loads(GOLDEN.read_text())
    for case in cases:
        best = fewest(case["days"], case["needs"], case["capacity"], case["one_barn_a_day"])
        if best != case["fewest"]:
            sys.exit(f"{case['name']}: the solver finds {best} days, the file says {case['fewest']}")
    print(f"{len(cases)} visit plans hold")


main()
