"""Day arithmetic, computed anew with another calendar library (dateutil).

Compares with server/care/tests/golden/calendar.json, which the Rust tests hold the engine to; with --write it makes
that file. dateutil adds months before days and clamps to the month's end, as the engine's rules ask.
"""

import datetime
import json
import pathlib
import random
import sys

from dateutil.relativedelta import relativedelta

GOLDEN = pathlib.Path(__file__).parents[2] / "server/care/tests/golden/calendar.json"
PERIODS = [(6, 21), (12, 0), (6, 0), (7, 0), (9, 0), (1, 0), (3, 1), (0, 21), (0, 60), (0, 92), (0, 180), (11, 30)]


def days():
    """Every day around the ends of the months of two years, leap and common, and some at random."""
    chosen = set()
    for year in (2023, 2024):
        for month in range(1, 13):
            first = datetime.date(year, month, 1)
            chosen.update(first + datetime.timedelta(days=n) for n in (-4, -3, -2, -1, 0, 1, 14))
    rng = random.Random(20261125)
    chosen.update(datetime.date(1990, 1, 1) + datetime.timedelta(days=rng.randrange(20_000)) for _ in range(60))
    return sorted(chosen)


def golden():
    sums = []
    for day in days():
        for months, extra in PERIODS:
            later = day + relativedelta(months=months, days=extra)
            sums.append([str(day), months, extra, str(later)])
    spans = []
    chosen = days()
    for start, end in zip(chosen, chosen[7:]):
        spans.append([str(start), str(end), (end - start).days])
    return {"sums": sums, "spans": spans}


def main():
    made = golden()
    if "--write" in sys.argv:
        lines = [json.dumps(one) for one in made["sums"]]
        spans = [json.dumps(one) for one in made["spans"]]
        GOLDEN.write_text('{"sums": [\n%s\n],\n"spans": [\n%s\n]}\n' % (",\n".join(lines), ",\n".join(spans)))
        return
    if made != json.loads(GOLDEN.read_text()):
        sys.exit(f"{GOLDEN} is not what dateutil computes; look at the difference, then run with --write")
    print(f"calendar: {len(made['sums'])} sums and {len(made['spans'])} spans agree with dateutil")


main()
