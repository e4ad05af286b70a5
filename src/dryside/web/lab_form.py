"""A lab's price list from a form's fields, as the file that the book keeps; and the rows that the form shows."""

from __future__ import annotations

import json
from collections.abc import Iterator
from decimal import Decimal, InvalidOperation

from starlette.datastructures import FormData

from dryside.film.processes import PROCESSES
from dryside.film.refusal import Refusal
from dryside.web.forms import needed, text, texts, whole

SCANS = ("standard", "large", "")
PRINTS = ("4R", "5R", "8R", "")
DEVELOPED = tuple(PROCESSES)[:4]


def price_list_of(form: FormData) -> str:
    """The lab's file.

    Raises
    ------
    Refusal
        If a price is no number, or neither name nor one process is filled in.
    """
    lines = [
        f"name = {_quoted(needed(form, 'name', 'name'))}",
        f"currency = {_quoted((text(form, 'currency') or 'EUR').upper())}",
        f"closed = {json.dumps(texts(form, 'closed'))}",
    ]
    for name, words in (("minimum_order", "Least order"), ("postage", "Postage")):
        lines += [f'{name} = "{_price(value, words)}"' for value in [text(form, name)] if value]
    kept = whole(form, "holds_negatives_days", "Days it keeps negatives", low=1, high=3650)
    lines += [f"holds_negatives_days = {kept}"] if kept else []
    if as_of := text(form, "prices_as_of"):
        lines.append(f"prices_as_of = {as_of}")
    tables = [*_developing(form), *_scanning(form), *_printing(form)]
    if not any(table.startswith("[[develop]]") for table in tables):
        raise Refusal("lab", "no process has a price", "Fill in what it asks for developing one roll.")
    return "\n".join([*lines, "", *tables]) + "\n"


def _developing(form: FormData) -> Iterator[str]:
    for process in DEVELOPED:
        price = text(form, f"develop-{process}")
        if price is None:
            continue
        formats = [one.strip() for one in (text(form, f"formats-{process}") or "135").split(",") if one.strip()]
        days = whole(form, f"days-{process}", "Working days", low=0, high=366)
        push = text(form, f"push-{process}")
        yield "\n".join(
            [
                "[[develop]]",
                f'process = "{process}"',
                f"formats = {json.dumps(formats, ensure_ascii=False)}",
                f'price = "{_price(price, "Developing")}"',
                *([f'push_per_stop = "{_price(push, "Push or pull")}"'] if push else []),
                f"working_days = {1 if days is None else days}",
                "",
            ]
        )


def _scanning(form: FormData) -> Iterator[str]:
    for row in range(len(SCANS)):
        name, price = text(form, f"scan-{row}"), text(form, f"scan-price-{row}")
        if name and price:
            edge = whole(form, f"scan-edge-{row}", "Longer side", low=1, high=100_000)
            size = [f"long_edge_px = {edge}"] if edge else []
            yield "\n".join(["[[scan]]", f"name = {_quoted(name)}", *size, f'price = "{_price(price, "Scan")}"', ""])


def _printing(form: FormData) -> Iterator[str]:
    for row in range(len(PRINTS)):
        size, price = text(form, f"print-{row}"), text(form, f"print-price-{row}")
        if size and price:
            yield "\n".join(["[[print]]", f"size = {_quoted(size)}", f'price = "{_price(price, "Print")}"', ""])


def _price(given: str, words: str) -> str:
    try:
        value = Decimal(given.replace(",", "."))
    except InvalidOperation:
        raise Refusal(f"{words}: {given}", "it is no price", "Write it like 7.50.") from None
    if not value.is_finite() or value < 0:
        raise Refusal(f"{words}: {given}", "it is no price", "Write it like 7.50.")
    return str(value)


def _quoted(value: str) -> str:
    """A TOML basic string: JSON's escapes are among its own."""
    return json.dumps(" ".join(value.split()), ensure_ascii=False)
