"""How long the drop-off plan takes against the number of rolls and labs: the whole trade-off, from text to plans.

    python benchmarks/plan.py [--seeds 3]

Labs and rolls are invented, every roll with prints of its own so that no two are alike, which is the hardest case; the
last rows have rolls kept apart and rolls that are alike. 'read' is reading labs and rolls, 'survey' every price and
day, 'solve' all plans of the trade-off and the best single lab.
"""

from __future__ import annotations

import argparse
import random
import statistics
import time
from datetime import date, timedelta

from dryside.labs.lab_file import read_lab
from dryside.labs.offers import survey
from dryside.labs.planning import plan_drop_off
from dryside.labs.rolls import read_rolls

START = date(2026, 11, 30)
CASES = [
    (12, 3, 0, False), (50, 3, 0, False), (50, 6, 0, False), (100, 6, 0, False), (100, 12, 0, False),
    (200, 3, 0, False), (200, 12, 0, False), (400, 12, 0, False), (200, 12, 4, False), (200, 12, 8, False),
    (200, 12, 0, True), (1000, 12, 0, True),
]  # fmt: skip


def invented_lab(rnd: random.Random, number: int) -> str:
    """A lab's file with a minimum or postage, hand days or a closed weekday, each now and then."""
    closed = rnd.choice(['["Sunday"]', '["Saturday", "Sunday"]', '["Sunday", "Monday"]'])
    lines = [
        f'name = "Lab {number:02d}"', 'currency = "EUR"', 'country = "PT"', f"closed = {closed}",
        "prices_as_of = 2026-09-01", f'minimum_order = "{rnd.choice([0, 0, 15, 20, 30, 50])}.00"',
        f'postage = "{rnd.choice(["0.00", "0.00", "4.50", "6.90", "9.50"])}"',
    ]  # fmt: skip
    for process in ["c41", *rnd.sample(["bw", "e6", "ecn2"], rnd.randint(1, 3))]:
        hand_days = rnd.choice(["[]", "[]", '["Tuesday"]'])
        lines += [
            "[[develop]]", f'process = "{process}"', 'formats = ["135", "120"]',
            f'price = "{rnd.randint(500, 1200) / 100:.2f}"',
            *([f'push_per_stop = "{rnd.randint(100, 400) / 100:.2f}"'] if rnd.random() < 0.7 else []),
            f"working_days = {rnd.randint(0, 10)}", f"hand_days = {hand_days}",
        ]  # fmt: skip
    lines += ["[[scan]]", 'name = "standard"', f'price = "{rnd.randint(300, 900) / 100:.2f}"']
    lines += ["[[print]]", 'size = "4R"', f'price = "{rnd.randint(25, 70) / 100:.2f}"']
    return "\n".join(lines)


def invented_rolls(rnd: random.Random, count: int, apart: int, *, alike: bool) -> str:
    """Rolls as CSV; one in six has a need_by."""
    lines = ["roll,process,format,push,scan,prints,need_by,owner,apart"]
    for number in range(count):
        process = rnd.choices(["c41", "bw", "e6", "ecn2"], [6, 2, 1, 1])[0]
        prints = "" if alike else f"4R:{number + 1}"
        need_by = START + timedelta(days=rnd.randint(18, 30)) if rnd.random() < 1 / 6 else ""
        word = "wedding" if number < apart else ""
        lines.append(f"R{number},{process},135,{rnd.choice([0, 0, 0, 1])},standard,{prints},{need_by},,{word}")
    return "\n".join(lines)


def measure(rolls: int, labs: int, apart: int, seed: int, *, alike: bool) -> tuple[float, float, float, int]:
    """Seconds to read, to survey, and for the whole plan; and how many plans there are."""
    rnd = random.Random(seed)
    texts, sheet = [invented_lab(rnd, n) for n in range(labs)], invented_rolls(rnd, rolls, apart, alike=alike)
    begin = time.perf_counter()
    known, wishes = [read_lab(text) for text in texts], read_rolls(sheet.encode(), start=START).wishes
    read = time.perf_counter()
    survey(known, wishes, START, currency="EUR")
    surveyed = time.perf_counter()
    report = plan_drop_off(known, wishes, START)
    end = time.perf_counter()
    return read - begin, surveyed - read, end - surveyed, len(report.plans)


def main() -> None:
    """Print the table: medians over the seeds, and the slowest whole run."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--seeds", type=int, default=3)
    seeds = parser.parse_args().seeds
    measure(4, 2, 0, 0, alike=False)  # imports
    print("rolls labs apart alike | plans |  read s  survey s  whole plan s  slowest s")
    for rolls, labs, apart, alike in CASES:
        runs = [measure(rolls, labs, apart, seed, alike=alike) for seed in range(seeds)]
        read, surveyed, whole = (statistics.median(run[i] for run in runs) for i in range(3))
        plans = "-".join(str(n) for n in sorted({min(run[3] for run in runs), max(run[3] for run in runs)}))
        slowest = max(run[2] for run in runs)
        marks = f"{rolls:5d} {labs:4d} {apart:5d} {'yes' if alike else 'no':>5s}"
        print(f"{marks} | {plans:>5s} | {read:7.3f} {surveyed:9.3f} {whole:13.3f} {slowest:10.3f}")


if __name__ == "__main__":
    main()
