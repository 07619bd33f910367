"""Ages, the growth curve and the dates of a pregnancy, computed anew with numpy, scipy and dateutil.

Compares with server/care/tests/golden/growth.json, which the Rust tests hold the engine to; with --write it makes that
file. The oracle knows nothing of the engine: it finds a horse's age by walking from day to day, its weight by integrating
the differential equation that the curve solves, and official ages by counting the days on which all horses grow older.
"""

import datetime
import json
import pathlib
import sys

import numpy as np
from dateutil.relativedelta import relativedelta
from scipy.integrate import solve_ivp

GOLDEN = pathlib.Path(__file__).parents[2] / "server/care/tests/golden/growth.json"
DAY = datetime.timedelta(days=1)
# National Research Council 2007, from memory: per cent of the grown weight at birth, and the rate for each month.
AT_BIRTH, RATE = 9.7, 0.0772


def age(born, on):
    """Months and parts of the month that has begun. A month that lacks the day is full on the first of the next."""
    day, full = born + DAY, [born]
    while len(full) < 2 or full[-1] <= on:
        lacks = day.day == 1 and (day - DAY).day < born.day
        if (day.day == born.day and day > born) or (lacks and day > full[-1]):
            full.append(day)
        day += DAY
    last, following = full[-2], full[-1]
    return len(full) - 2 + (on - last).days / (following - last).days


def official(born, on, month):
    days = (born + DAY * n for n in range(1, (on - born).days + 1))
    return sum(1 for day in days if (day.month, day.day) == (month, 1))


def percent(months):
    """dW/da = RATE × (100 - W), from birth to this age."""
    if months == 0:
        return AT_BIRTH
    solved = solve_ivp(lambda _, w: RATE * (100 - w), (0, months), [AT_BIRTH], method="DOP853", rtol=1e-12, atol=1e-12)
    return float(solved.y[0, -1])


def horse(born, on, mature, off):
    months = age(born, on)
    expected = mature * percent(months) / 100
    weight = round(expected * off, 1)
    return {
        "foaled_on": born.isoformat(), "on": on.isoformat(), "mature_weight_kg": mature, "weight_kg": weight,
        "age_months": months, "age_years": int(months) // 12, "percent": percent(months), "expected_kg": expected,
        "difference_percent": 100 * (weight - expected) / expected,
        "official": {"northern": official(born, on, 1), "southern": official(born, on, 8), "south_american": official(born, on, 7)},
    }


def pregnancy(covered):
    def month(n):
        return [(covered + relativedelta(months=n)).isoformat(), (covered + relativedelta(months=n + 1)).isoformat()]

    def day(n):
        return (covered + DAY * n).isoformat()

    return {
        "covered_on": covered.isoformat(), "viable_from": day(300), "watch_from": day(320), "due_on": day(340),
        "long_after": day(365), "months": {str(n): month(n) for n in [5, 7, 8, 9, 10]}, "prepartum": [day(298), day(312)],
    }


def golden():
    rng = np.random.default_rng(20261125)
    start = datetime.date(2019, 1, 1)
    horses = []
    edges = ["2024-02-29", "2023-01-31", "2023-12-31", "2024-08-01", "2024-07-31"]
    for born in map(datetime.date.fromisoformat, edges):
        for days in [0, 1, 28, 29, 59, 60, 365, 366, 367, 730, 1095]:
            horses.append(horse(born, born + DAY * days, 500.0, 1.0))
    for _ in range(120):
        born = start + DAY * int(rng.integers(0, 2500))
        on = born + DAY * int(rng.integers(0, 1500))
        horses.append(horse(born, on, float(rng.integers(180, 900)), float(rng.uniform(0.75, 1.25))))
    covered = [start + DAY * int(rng.integers(0, 2500)) for _ in range(60)]
    covered += [datetime.date(2027, 3, 31), datetime.date(2027, 5, 31), datetime.date(2028, 2, 29)]
    return {"horses": horses, "pregnancies": [pregnancy(day) for day in covered]}


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
    if not near(made, json.loads(GOLDEN.read_text())):
        sys.exit(f"{GOLDEN} is not what scipy computes; look at the difference, then run with --write")
    print(f"growth: {len(made['horses'])} ages and weights and {len(made['pregnancies'])} pregnancies agree with scipy")


main()
