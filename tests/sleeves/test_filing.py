"""Filing: a plan first, then the book; undone, done again, refused."""

from datetime import date

import pytest

from dryside.book.frames import list_frames
from dryside.book.journey import RollState
from dryside.book.rolls import get_roll
from dryside.book.schema import frame_strips, pages, strips
from dryside.book.undoing import recent_changes, take_back
from dryside.film.refusal import NotFound, Refusal
from dryside.film.sleeves import sleeve_page
from dryside.sleeves.binders import add_binder, list_pages, strips_of_roll
from dryside.sleeves.cutting import plan_cuts
from dryside.sleeves.filing import carry_out, filing_as_cut, filing_of_plan, parse_strips, strips_of_lengths
from dryside.sleeves.frames_on_film import nominal_frames
from dryside.sleeves.lending import bring_back, lend_strips, list_loans
from dryside.sleeves.roll_film import film_of_roll
from dryside.sleeves.whereabouts import whereabouts

SEVEN_BY_FIVE = [sleeve_page("7x5")]


@pytest.fixture
def binder(book):
    with book.write() as conn:
        return add_binder(conn, "Harbour", place="top shelf")


def planned(book, roll, layouts=SEVEN_BY_FIVE, **options):
    with book.read() as conn:
        return filing_of_plan(plan_cuts(film_of_roll(conn, roll, **options).frames, layouts))


def file_it(book, roll, filing, binder, **options):
    with book.write() as conn:
        return carry_out(conn, roll, filing, binder, **options)


def everything(book):
    with book.read() as conn:
        tables = [sorted(map(tuple, conn.execute(table.select()))) for table in (pages, strips, frame_strips)]
        return tables


def test_every_frame_has_its_place_and_the_roll_is_sleeved(book, make_roll, binder):
    roll = make_roll(36)
    file_it(book, roll, planned(book, roll), binder)
    with book.read() as conn:
        places = whereabouts(conn, roll)
        assert get_roll(conn, roll.id).place is RollState.SLEEVED
    assert [(w.page, w.row, w.place) for w in places[:6]] == [
        (1, 1, 1),
        (1, 1, 2),
        (1, 1, 3),
        (1, 1, 4),
        (1, 1, 5),
        (1, 2, 1),
    ]
    assert places[-1].in_words() == "binder Harbour (top shelf), page 2, row 1, place 4"


def test_undo_leaves_the_book_as_it_was_and_the_roll_unsleeved(book, make_roll, binder):
    roll = make_roll(36)
    before = everything(book)
    file_it(book, roll, planned(book, roll), binder)
    assert everything(book) != before
    with book.write() as conn:
        assert take_back(conn).what == f"file roll {roll.code} in Harbour"
    assert everything(book) == before
    with book.read() as conn:
        assert get_roll(conn, roll.id).place is RollState.NEGATIVES_BACK
        assert [change["undone"] for change in recent_changes(conn)] == [True]


def test_nothing_is_taken_back_twice(book, make_roll, binder):
    roll = make_roll(12)
    file_it(book, roll, planned(book, roll), binder)
    with book.write() as conn:
        done = take_back(conn)
    with pytest.raises(Refusal, match="taken back already"), book.write() as conn:
        take_back(conn, done.id)
    with pytest.raises(NotFound, match="nothing to take back"), book.write() as conn:
        take_back(conn)


def test_an_earlier_change_is_not_taken_back_over_a_later_one(book, make_roll, binder):
    roll = make_roll(12)
    file_it(book, roll, planned(book, roll), binder)
    with book.read() as conn:
        first = recent_changes(conn)[0]["id"]
    with book.write() as conn:
        carry_out(conn, get_roll(conn, roll.id), planned(book, roll, [sleeve_page("6x6")]), binder, again=True)
    with pytest.raises(Refusal, match="changed again since"), book.write() as conn:
        take_back(conn, first)


def test_filing_twice_is_refused_and_again_replaces(book, make_roll, binder):
    roll = make_roll(12)
    file_it(book, roll, planned(book, roll), binder)
    with pytest.raises(Refusal, match="its 3 strips are filed already"):
        file_it(book, roll, planned(book, roll), binder)
    file_it(book, roll, planned(book, roll, [sleeve_page("6x6")]), binder, again=True)
    with book.read() as conn:
        assert [strip.last_position for strip in strips_of_roll(conn, roll.id)] == [5, 11]


def test_filing_anew_uses_the_pages_that_it_left_empty(book, make_roll, binder):
    one, two = make_roll(40), make_roll(12)
    file_it(book, one, planned(book, one), binder)
    file_it(book, two, planned(book, two), binder)
    with book.write() as conn:
        filed = carry_out(conn, get_roll(conn, one.id), planned(book, one), binder, again=True)
    assert [strip.page for strip in filed] == [1] * 7 + [2]
    with book.read() as conn:
        assert len(list_pages(conn, binder.id)) == 3


def test_a_strip_that_is_out_is_not_filed_anew_and_an_old_loan_is_not_lost(book, make_roll, binder):
    roll = make_roll(12)
    file_it(book, roll, planned(book, roll), binder)
    with book.write() as conn:
        loan = lend_strips(conn, roll, strips_of_roll(conn, roll.id)[:1], "Low Wharf", on=date(2026, 6, 1))[0]
    with pytest.raises(Refusal, match="lent to Low Wharf since 2026-06-01"):
        file_it(book, roll, planned(book, roll), binder, again=True)
    with book.write() as conn:
        bring_back(conn, loan.id, on=date(2026, 6, 2))
    file_it(book, roll, planned(book, roll), binder, again=True)
    with book.read() as conn:
        assert [one.why for one in list_loans(conn, everything=True)] == [f"was strip 1 of roll {roll.code}"]


def test_a_filing_on_which_a_loan_rests_is_not_taken_back(book, make_roll, binder):
    roll = make_roll(12)
    file_it(book, roll, planned(book, roll), binder)
    with book.write() as conn:
        lend_strips(conn, roll, strips_of_roll(conn, roll.id)[:1], "Low Wharf", on=date(2026, 6, 1))
        first = recent_changes(conn)[-1]["id"]
    before = everything(book)
    with pytest.raises(Refusal, match="something in the book rests on it"), book.write() as conn:
        take_back(conn, first)
    assert everything(book) == before


def test_a_roll_still_at_the_lab_is_not_sleeved_and_nothing_is_written(book, make_roll, binder):
    roll = make_roll(12, state=RollState.SCANS_BACK)
    before = everything(book)
    with pytest.raises(Refusal, match="Collect its negatives first"):
        file_it(book, roll, planned(book, roll), binder)
    assert everything(book) == before


def test_a_second_roll_fills_the_page_that_was_begun(book, make_roll, binder):
    one, two = make_roll(20), make_roll(12)
    file_it(book, one, planned(book, one), binder)
    file_it(book, two, planned(book, two), binder, first_page=1)
    with book.read() as conn:
        assert len(list_pages(conn, binder.id)) == 1
        assert [w.row for w in whereabouts(conn, two)][0::4] == [5, 6, 7]


def test_a_page_of_another_layout_is_refused(book, make_roll, binder):
    one, two = make_roll(12), make_roll(12)
    file_it(book, one, planned(book, one), binder)
    with pytest.raises(Refusal, match="a 7x5 page, the plan is for 6x6"):
        file_it(book, two, planned(book, two, [sleeve_page("6x6")]), binder, first_page=1)


def test_frames_beyond_the_log_are_added(book, make_roll, binder):
    roll = make_roll(36)
    file_it(book, roll, planned(book, roll, count=38), binder)
    with book.read() as conn:
        assert [frame.label for frame in list_frames(conn, roll.id)][-3:] == ["36", "37", "38"]


FILM = nominal_frames([str(number) for number in range(0, 37)], "135")
LABELS = [frame.label for frame in FILM]


def test_film_cut_in_fours_with_its_end_thrown_away_names_what_is_missing():
    filing = filing_as_cut(FILM, parse_strips("0-3,4-7,8-11,12-15,16-19,20-23,24-27,28-31", LABELS), SEVEN_BY_FIVE)
    assert filing.missing == ("32", "33", "34", "35", "36")
    assert filing.remarks == ("on no strip: frames 32, 33, 34, 35, 36; ask the lab for the missing film",)
    assert [strip.row for strip in filing.strips] == [1, 2, 3, 4, 5, 6, 7, 1]


def test_a_frame_on_two_strips_is_refused():
    with pytest.raises(Refusal, match="frame 4: on strip 1 and on strip 2"):
        filing_as_cut(FILM, parse_strips("0-4,4-7", LABELS), SEVEN_BY_FIVE)


def test_a_frame_that_the_roll_has_not_is_refused():
    with pytest.raises(Refusal, match="frame 37: strip 1 has it, the roll has not"):
        filing_as_cut(FILM, parse_strips("34-38", LABELS), SEVEN_BY_FIVE)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("7-4", "runs backwards"),
        ("1-2-3", "not a frame or a range"),
        (" , ", "none is named"),
        ("x-y", "not a frame label"),
    ],
)
def test_strips_that_cannot_be_read_are_refused(text, message):
    with pytest.raises(Refusal, match=message):
        parse_strips(text, LABELS)


def test_strips_by_length_start_at_the_rolls_start():
    assert strips_of_lengths([4, 3], LABELS) == [["0", "1", "2", "3"], ["4", "5", "6"]]
    with pytest.raises(Refusal, match="40 frames on the strips, 37 on the roll"):
        strips_of_lengths([20, 20], LABELS)
