"""Entry rules, judged anew in another language from the rules' own words, and planned by trying every day.

Compares with server/care/tests/golden/entry.json, which the Rust tests hold the engine to; with --write it makes that
file. The oracle shares no code and no rule file with the engine: the tables below were typed from the sources that
rules/entry.toml names.
"""

import datetime
import itertools
import json
import pathlib
import random
import sys

from dateutil.relativedelta import relativedelta

GOLDEN = pathlib.Path(__file__).parents[2] / "server/care/tests/golden/entry.json"
D = datetime.date
ENFORCED = D(2023, 1, 15)
NEW_COURSES = D(2024, 1, 1)


def after(day, months=0, days=0):
    return day + relativedelta(months=months, days=days)


def gap(first, second, low, high):
    return low <= (second - first).days <= high


class Fei:
    """Regulations of 2019, Article 1003; courses from 2024 by the state of November 2025."""

    wait = 7

    def second(self, began, before, given):
        return gap(before, given, 21, 60 if began >= NEW_COURSES else 92)

    def third(self, began, before, given):
        if began < D(2005, 1, 1):
            return given <= after(before, months=12)
        return given <= (after(before, 6, 21) if began >= NEW_COURSES else after(before, 7))

    def booster(self, began, before, given):
        return given <= after(before, 12)

    def recent(self, last, arrives):
        relief = D(2022, 10, 1) <= arrives <= D(2023, 4, 1)
        return arrives <= (after(last, 12) if relief else after(last, 6, 21))

    def waits(self, places):
        return [(day, self.wait) for day, _ in places[-1:]]


class Racing(Fei):
    """British racing: the older windows for doses up to 14 January 2023, both for third doses of 2022."""

    def second(self, began, before, given):
        return gap(before, given, 21, 92 if given < ENFORCED else 60)

    def third(self, began, before, given):
        old = given < ENFORCED and gap(before, given, 150, 215)
        return old or (given >= D(2022, 1, 1) and gap(before, given, 120, 180))

    def booster(self, began, before, given):
        return given <= after(before, 12 if given < ENFORCED else 6)

    def recent(self, last, arrives):
        return arrives <= after(last, 6 if arrives >= ENFORCED else 12)


class Affiliated(Fei):
    """British affiliated bodies: courses across 1 January 2024 by either window."""

    def second(self, began, before, given):
        return gap(before, given, 21, 60) or (began < NEW_COURSES and gap(before, given, 21, 92))

    def third(self, began, before, given):
        if began >= NEW_COURSES:
            return gap(before, given, 120, 180)
        return gap(before, given, 150, 215) or (given >= NEW_COURSES and gap(before, given, 120, 180))

    def recent(self, last, arrives):
        return True


class Italy(Fei):
    def second(self, began, before, given):
        return gap(before, given, 21, 60)

    def third(self, began, before, given):
        return gap(before, given, 120, 180)

    def recent(self, last, arrives):
        return True


class France(Italy):
    wait = 5

    def booster(self, began, before, given):
        return given <= after(before, 6)

    def recent(self, last, arrives):
        return arrives <= after(last, 6)


class Germany(Fei):
    def second(self, began, before, given):
        return gap(before, given, 28, 70)

    def third(self, began, before, given):
        return given <= after(before, 6, 21)

    booster = third

    def recent(self, last, arrives):
        return arrives <= after(last, 6, 21)

    def waits(self, places):
        return [(day, 14 if place == 1 else 7) for day, place in places]


RULES = {
    "fei-influenza": Fei(),
    "gb-racing-influenza": Racing(),
    "gb-affiliated-influenza": Affiliated(),
    "italy-racing-influenza": Italy(),
    "france-racing-influenza": France(),
    "germany-lpo-influenza": Germany(),
}


def in_time(rules, place, began, before, given):
    step = rules.second if place == 1 else rules.third if place == 2 else rules.booster
    return step(began, before, given)


def eligible(rules, doses, arrives):
    given = sorted({day for day in doses if day <= arrives})
    if not given or not rules.recent(given[-1], arrives):
        return False
    for start in range(len(given)):
        run = given[start:]
        steps = [in_time(rules, n, run[0], run[n - 1], run[n]) for n in range(1, len(run))]
        if not all(steps) or len(run) < 2 or not in_time(rules, len(run), run[0], run[-1], later(rules, run, arrives)):
            continue
        places = list(zip(run, range(len(run))))
        return all(arrives >= after(day, days=wait) for day, wait in rules.waits(places))
    return False


def later(rules, run, arrives):
    """The day on which the next dose is judged: the arrival, or where that is too early, the first day in time."""
    low = {1: 21, 2: 0}.get(len(run), 0)
    if isinstance(rules, (Racing, Affiliated, Italy)) and len(run) == 2:
        for day in range((arrives - run[-1]).days, 216):
            candidate = after(run[-1], days=day)
            if rules.third(run[0], run[-1], candidate):
                return candidate if day > (arrives - run[-1]).days else arrives
        return arrives
    return max(arrives, after(run[-1], days=low))


def earliest(rules, doses, today):
    """The first day of entry from today on, by trying every day for up to two doses at least three weeks apart."""
    apart = lambda days: all((b - a).days >= 21 for a, b in zip(days, days[1:]))
    for n in range(120):
        arrives = after(today, days=n)
        open_days = [after(today, days=m) for m in range(n + 1)]
        free = [day for day in open_days if all(abs((day - old).days) >= 21 for old in doses)]
        for more in (0, 1, 2):
            for new in itertools.combinations(free, more):
                if apart(new) and eligible(rules, [*doses, *new], arrives):
                    return arrives
    return None


GAPS = [20, 21, 22, 27, 28, 29, 59, 60, 61, 70, 71, 92, 93, 119, 120, 121, 149, 150, 180, 181, 182, 204, 205, 206, 214,
        215, 216, 364, 365, 366, 367]


def golden():
    rng = random.Random(1787)
    cases = []
    for n in range(2400):
        name = list(RULES)[n % len(RULES)]
        rules = RULES[name]
        day = D(2021, 1, 1) + datetime.timedelta(days=rng.randrange(1700))
        doses = [day]
        for place in range(1, rng.choice([1, 2, 2, 3, 3, 4, 5, 6, 7])):
            fitting = [g for g in GAPS if in_time(rules, place, doses[0], day, day + datetime.timedelta(days=g))]
            pool = fitting if fitting and rng.random() < 0.85 else GAPS
            day += datetime.timedelta(days=rng.choice(pool))
            doses.append(day)
        since = rng.choice([0, 4, 5, 6, 7, 8, 13, 14, 15, 30, 120, 179, 180, 181, 182, 183, 184, 185, 203, 204, 205,
                            206, 215, 216, 364, 365, 366, 367])
        arrives = day + datetime.timedelta(days=since)
        case = {"rules": name, "doses": [str(one) for one in doses], "arrives": str(arrives),
                "eligible": eligible(rules, doses, arrives)}
        if n < 480:
            case["earliest"] = str(earliest(rules, doses, arrives))
        cases.append(case)
    return cases


def main():
    made = golden()
    if "--write" in sys.argv:
        GOLDEN.write_text("[\n" + ",\n".join(json.dumps(one) for one in made) + "\n]\n")
        return
    if made != json.loads(GOLDEN.read_text()):
        sys.exit(f"{GOLDEN} is not what the rules' words give; look at the difference, then run with --write")
    passes = sum(one["eligible"] for one in made)
    print(f"entry rules: {len(made)} histories agree, {passes} of them eligible")


main()
