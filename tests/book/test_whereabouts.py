"""The way from a frame to its strip."""

import pytest

from book.kept_book import fill
from dryside.book.frames import list_frames
from dryside.book.schema import loans
from dryside.book.whereabouts import where_are


@pytest.fixture
def full(book):
    fill(book)
    return book


def test_a_frame_knows_its_picture_strip_page_and_binder(full):
    with full.read() as conn:
        frames = list_frames(conn, 1)
        ways = where_are(conn, full, [frame.id for frame in frames])
    way = ways[frames[1].id]
    assert way.in_words == "binder Blue (upper shelf), page 3, row 2, frame 2 of strip 1"
    assert way.picture == "pictures/26-001-N/02.jpg"
    assert ways[frames[3].id].picture == "pictures/26-001-N/own/04.jpg"


def test_who_has_it_is_said_until_it_is_back(full):
    with full.write() as conn:
        conn.execute(loans.insert().values(strip_id=1, to_whom="Low Wharf", lent_on="2026-10-01"))
        assert where_are(conn, full, [1])[1].in_words.endswith("; lent to Low Wharf")
        conn.execute(loans.update().values(back_on="2026-10-09"))
        assert where_are(conn, full, [1])[1].lent_to is None


def test_a_frame_that_is_not_cut_says_so(full):
    with full.read() as conn:
        assert where_are(conn, full, [99])[99].in_words == "not cut yet"
        assert where_are(conn, full, []) == {}
