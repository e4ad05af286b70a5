"""Each thing that a page does to the book can be taken back from the page that says it was done."""

from __future__ import annotations

import re

import pytest

from web.test_security import token_of

DEEDS = {
    "a roll loaded": ("/rolls/new", {"stock": "Almen Colour 200", "title": "Ferry"}),
    "a roll moved": ("/rolls/26-004-H/move", {"to": "lost"}),
    "a sleeved roll lost": ("/rolls/26-001-N/move", {"to": "lost"}),
    "a roll's facts": ("/rolls/26-004-H/facts", {"title": "Ferry", "push": "+1"}),
    "a note that wins": ("/rolls/26-004-H/note", {"note": "2 1/30 f2 new words\n7 added", "replace": "yes"}),
    "a frame's line": ("/rolls/26-004-H/line", {"line": "3 1/30 f2 new words"}),
    "film on the shelf": ("/shelf", {"stock": "Almen Colour 200", "quantity": "4"}),
    "rolls counted": ("/shelf/1/quantity", {"quantity": "1"}),
    "rolls handed in": ("/drop-off/record", {"lab-26-004-H": "Mill Bridge", "lab-26-005-F": "Quarry Street"}),
    "a receipt": ("/orders/O26-001/receipt", {"receipt_number": "815", "paid": "20.00"}),
    "negatives fetched": ("/orders/O26-001/collect", {"what": "negatives"}),
    "scans accepted": ("/back/2/accept", {}),
    "a lab left out": ("/labs/Mill Bridge/active", {"active": "no"}),
    "a new binder": ("/sleeves/binders", {"name": "Second"}),
    "negatives lent": ("/sleeves/lend", {"what": "26-001-N/2", "to_whom": "Ole Vinter"}),
    "a roll sleeved": ("/sleeves/file", {"roll": "26-001-N", "binder": "Second"}),
}
LEFT = {"undo", "events", "alembic_version"}
"""Tables that grow by what was done and by its taking back."""


def everything(book) -> dict[str, list[dict]]:
    from dryside.book.schema import metadata

    with book.read() as conn:
        return {
            name: sorted(
                ({key: value for key, value in row._mapping.items() if key != "changed_at"}
                 for row in conn.execute(table.select())), key=str,
            )
            for name, table in metadata.tables.items()
            if name not in LEFT and "fts" not in name
        }  # fmt: skip


def differences(before, after) -> set[str]:
    return {name for name in before if before[name] != after[name]}


@pytest.mark.parametrize("deed", DEEDS)
def test_it_can_be_taken_back(person, server, deed):
    path, given = DEEDS[deed]
    token = token_of(person)
    before = everything(server.book)
    headers = {"origin": server.address}
    page = person.post(path, data={**given, "token": token}, headers=headers)
    assert page.status_code == 200, page.text[-800:]
    assert differences(before, everything(server.book)), "it did nothing"
    back = re.search(r'action="(/undo/\d+)".*?name="to" value="([^"]*)"', page.text, re.DOTALL)
    assert back, "no way back is offered"
    page = person.post(back[1], data={"token": token, "to": back[2]}, headers=headers)
    assert page.status_code == 200, page.text[-800:]
    assert "Taken back" in page.text
    assert differences(before, everything(server.book)) <= {"people", "cameras", "lenses", "files", "binders"}
