"""Packing prints: waste and time, on sheets and along a roll, free and with cuts from edge to edge only.

python benchmarks/packing.py [--orders 20]

Orders are invented from the sizes that people print most. 'In rows' is the layout a person makes without help: prints
as they come, left to right, a new row where one is full. Waste is the share of used paper on which nothing is printed;
the least that any layout could use, by area alone, stands beside it.
"""

from __future__ import annotations

import argparse
import random
import time
from statistics import mean

from dryside.film.printsizes import print_size
from dryside.prints.packing import Piece, Stand, pack

SIZES = ("4R", "4R", "4R", "5R", "8R", "9x13cm", "10x10cm", "20x20cm", "2R", "13x18cm")


def order(rng: random.Random, count: int) -> list[Piece]:
    pieces = []
    for key in range(count):
        size = print_size(rng.choice(SIZES))
        sides = (size.long_mm, size.short_mm) if rng.random() < 0.7 else (size.short_mm, size.long_mm)
        pieces.append(Piece(key, *sides))
    return pieces


def in_rows(pieces: list[Piece], stand: Stand) -> tuple[int, float]:
    """Sheets used, and the length of roll, when prints are laid as they come."""
    width, height = stand.room_mm
    sheets, x, y, row = 1, 0.0, 0.0, 0.0
    for piece in pieces:
        if x + piece.width_mm > width:
            x, y, row = 0.0, y + row + stand.gap_mm, 0.0
        if y + piece.height_mm > height:
            sheets, x, y, row = sheets + 1, 0.0, 0.0, 0.0
        x, row = x + piece.width_mm + stand.gap_mm, max(row, piece.height_mm)
    return sheets, y + row + 2 * stand.margin_mm


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--orders", type=int, default=20)
    orders = parser.parse_args().orders
    print(f"{'paper':<12}{'prints':>7}{'layout':>12}{'waste %':>9}{'in rows %':>11}{'by area':>9}{'used':>9}{'s':>7}")
    for name, stand in (("A3", Stand(297, 420)), ("A2", Stand(420, 594)), ("roll 610", Stand(610, None))):
        for count in (6, 20, 60, 150):
            for guillotine in (False, True):
                rng = random.Random(count)
                waste, rows, least, used, took = [], [], [], [], []
                for _ in range(max(1, orders if count < 60 else orders // 4)):
                    pieces = order(rng, count)
                    start = time.perf_counter()
                    layout = pack(pieces, stand, guillotine=guillotine)
                    took.append(time.perf_counter() - start)
                    area = sum(piece.width_mm * piece.height_mm for piece in pieces)
                    sheets, length = in_rows(pieces, stand)
                    paper = stand.width_mm * (sheets * stand.height_mm if stand.height_mm else length)
                    waste.append(layout.waste_pct)
                    rows.append(100 * (1 - area / paper))
                    room = stand.room_mm
                    least.append(layout.least_sheets if stand.height_mm else area / room[0] / 1000)
                    used.append(layout.sheets if stand.height_mm else layout.length_mm / 1000)
                kind = "edge to edge" if guillotine else "free"
                print(
                    f"{name:<12}{count:>7}{kind:>13}{mean(waste):>8.1f}{mean(rows):>11.1f}{mean(least):>9.2f}"
                    f"{mean(used):>9.2f}{mean(took):>7.2f}"
                )


if __name__ == "__main__":
    main()
