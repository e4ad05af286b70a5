"""Moving, refiling, lending and care of what lies in binders."""

from datetime import date

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from dryside.book.rolls import add_roll_name
from dryside.book.rows import insert
from dryside.book.schema import pages, stocks, strips
from dryside.book.undoing import take_back
from dryside.film.processes import LAST_NITRATE_YEAR
from dryside.film.refusal import NotFound, Refusal
from dryside.film.sleeves import sleeve_page
from dryside.sleeves.binders import add_binder, find_binder, list_pages, parse_address, strips_of_roll
from dryside.sleeves.care import care_of_binders
from dryside.sleeves.cutting import plan_cuts
from dryside.sleeves.filing import carry_out, filing_of_plan
from dryside.sleeves.lending import bring_back, lend_page, lend_strips, list_loans, strips_meant
from dryside.sleeves.moving import move_page, move_strip, refile
from dryside.sleeves.roll_film import film_of_roll
from dryside.sleeves.whereabouts import binder_of_qr, find_picture, qr_text, qr_text_of_binder, roll_of_qr, whereabouts

MAY = date(2026, 5, 20)


@pytest.fixture
def filed(book, make_roll):
    """Three rolls in one binder, one page each, the last exposed first."""
    with book.write() as conn:
        binder = add_binder(conn, "Harbour")
    rolls = []
    for day in ("2026-03-03", "2026-02-02", "2026-01-01"):
        roll = make_roll(12, exposed_on=day)
        with book.write() as conn:
            plan = plan_cuts(film_of_roll(conn, roll).frames, [sleeve_page("7x5")])
            carry_out(conn, roll, filing_of_plan(plan), binder)
        rolls.append(roll)
    return binder, rolls


def page_of(book, roll):
    with book.read() as conn:
        place = whereabouts(conn, roll)[0]
    return place.binder, place.page


def all_pages(book):
    with book.read() as conn:
        return sorted(tuple(row) for row in conn.execute(pages.select())), sorted(
            map(tuple, conn.execute(strips.select()))
        )


def test_a_page_moves_behind_the_last_of_another_binder(book, filed):
    _, rolls = filed
    with book.write() as conn:
        add_binder(conn, "Garden")
        move = move_page(conn, find_binder(conn, "harbour"), 2, parse_address("Garden"))
    assert (move.from_place, move.to_place) == ("Harbour/2", "Garden/1")
    assert page_of(book, rolls[1]) == ("Garden", 1)


def test_a_taken_number_is_refused_or_made_room_for(book, filed):
    binder, rolls = filed
    with pytest.raises(Refusal, match="there is a page 1 already"), book.write() as conn:
        move_page(conn, binder, 3, parse_address("Harbour/1"))
    with book.write() as conn:
        move_page(conn, binder, 3, parse_address("Harbour/1"), make_room=True)
    assert [page_of(book, roll)[1] for roll in rolls] == [2, 3, 1]


def test_refiling_by_date_is_one_change_that_undo_takes_back_whole(book, filed):
    binder, rolls = filed
    before = all_pages(book)
    with book.write() as conn:
        moves = refile(conn, binder, order="date", name="Quay")
    assert [page_of(book, roll) for roll in rolls] == [("Quay", 3), ("Quay", 2), ("Quay", 1)]
    assert len(moves) == 3
    with book.write() as conn:
        take_back(conn)
    assert all_pages(book) == before


def test_a_binder_carried_into_another_lies_behind_its_pages(book, filed):
    binder, rolls = filed
    with book.write() as conn:
        other = add_binder(conn, "Garden")
        insert(conn, pages, {"binder_id": other.id, "number": 7, "layout": "7x5"})
        refile(conn, binder, order="page", into=other)
    assert [page_of(book, roll) for roll in rolls] == [("Garden", 8), ("Garden", 9), ("Garden", 10)]
    with book.read() as conn:
        assert list_pages(conn, binder.id) == []


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(st.tuples(st.integers(1, 3), st.integers(1, 6), st.booleans()), min_size=1, max_size=6))
def test_any_row_of_moves_taken_back_leaves_every_page_where_it_was(book, filed, moves):
    binder, _ = filed
    before, done = all_pages(book), 0
    for _, to, make_room in moves:
        with book.read() as conn:
            number = list_pages(conn, binder.id)[-1].number
        try:
            with book.write() as conn:
                move_page(conn, binder, number, parse_address(f"Harbour/{to}"), make_room=make_room)
            done += 1
        except Refusal:
            pass
    for _ in range(done):
        with book.write() as conn:
            take_back(conn)
    assert all_pages(book) == before


def test_a_strip_moves_to_a_free_row_and_not_onto_another(book, filed):
    _, rolls = filed
    with book.write() as conn:
        move = move_strip(conn, rolls[0], 1, parse_address("Harbour/2"))
    assert (move.from_place, move.to_place) == ("Harbour/1/1/1", "Harbour/2/4/1")
    with pytest.raises(Refusal, match="row 1 is taken there"), book.write() as conn:
        move_strip(conn, rolls[0], 2, parse_address("Harbour/2/1"))
    with pytest.raises(Refusal, match="has 7 rows, not 8"), book.write() as conn:
        move_strip(conn, rolls[0], 2, parse_address("Harbour/2/8"))
    with pytest.raises(Refusal, match="reaches beyond the row"), book.write() as conn:
        move_strip(conn, rolls[0], 2, parse_address("Harbour/2/5/4"))
    with pytest.raises(NotFound, match="no such strip"), book.write() as conn:
        move_strip(conn, rolls[0], 9, parse_address("Harbour/2"))


def test_who_has_a_strip_since_when_is_said_until_it_is_back(book, filed):
    _, rolls = filed
    with book.write() as conn:
        chosen = strips_meant(conn, rolls[0], "6", None)
        loan = lend_strips(conn, rolls[0], chosen, "Low Wharf", on=MAY, due_on="2026-06-01", why="enlargement")[0]
    assert loan.what == f"strip 2 (frames 5 to 8) of roll {rolls[0].code}"
    with book.read() as conn:
        assert whereabouts(conn, rolls[0], "6")[0].in_words().endswith("lent to Low Wharf since 2026-05-20")
        assert whereabouts(conn, rolls[0], "1")[0].lent_to is None
        assert [one.id for one in list_loans(conn, due_by=date(2026, 6, 1))] == [loan.id]
        assert list_loans(conn, due_by=date(2026, 5, 31)) == []
    assert loan.days_over(date(2026, 6, 3)) == 2
    with book.write() as conn:
        bring_back(conn, loan.id, on=date(2026, 5, 25))
    with book.read() as conn:
        assert whereabouts(conn, rolls[0], "6")[0].lent_to is None
        assert [one.back_on for one in list_loans(conn, everything=True)] == ["2026-05-25"]


def test_what_is_out_is_not_lent_again(book, filed):
    binder, rolls = filed
    with book.write() as conn:
        lend_page(conn, binder, 1, "Ines", on=MAY)
    with pytest.raises(Refusal, match="lent to Ines since 2026-05-20"), book.write() as conn:
        lend_strips(conn, rolls[0], strips_of_roll(conn, rolls[0].id), "Low Wharf", on=MAY)
    with pytest.raises(Refusal, match="lent to Ines"), book.write() as conn:
        lend_page(conn, binder, 1, "Low Wharf", on=MAY)


@pytest.mark.parametrize(
    ("to_whom", "due", "message"), [(" ", None, "nobody is named"), ("Ines", "2026-05-01", "before it is lent")]
)
def test_a_loan_to_nobody_or_due_before_it_began_is_refused(book, filed, to_whom, due, message):
    binder, _ = filed
    with pytest.raises(Refusal, match=message), book.write() as conn:
        lend_page(conn, binder, 1, to_whom, on=MAY, due_on=due)


def test_back_before_it_was_lent_or_twice_is_refused(book, filed):
    binder, _ = filed
    with book.write() as conn:
        loan = lend_page(conn, binder, 1, "Ines", on=MAY)
    with pytest.raises(Refusal, match="cannot be back on 2026-05-19"), book.write() as conn:
        bring_back(conn, loan.id, on=date(2026, 5, 19))
    with book.write() as conn:
        bring_back(conn, loan.id, on=MAY)
    with pytest.raises(Refusal, match="came back on 2026-05-20 already"), book.write() as conn:
        bring_back(conn, loan.id, on=MAY)


# Nitrate was last made by its main maker about 1951 (that maker's own page on nitrate film, read).
def test_film_of_1926_on_an_unknown_base_is_treated_as_nitrate(book, make_roll):
    assert LAST_NITRATE_YEAR == 1951
    with book.write() as conn:
        safe, old = add_binder(conn, "Harbour"), add_binder(conn, "Attic")
        stock = insert(
            conn,
            stocks,
            {"name": "Tern 100", "process": "bw", "kind": "black-and-white", "iso": 100, "base": "polyester"},
        )
    for binder, columns in (
        (safe, {"stock_id": stock, "exposed_on": "2026-01-01"}),
        (old, {"exposed_on": "1926-08-01"}),
    ):
        roll = make_roll(4, **columns)
        with book.write() as conn:
            carry_out(
                conn, roll, filing_of_plan(plan_cuts(film_of_roll(conn, roll).frames, [sleeve_page("7x5")])), binder
            )
    with book.read() as conn:
        care = care_of_binders(conn)
    assert [one.binder for one in care] == ["Attic", "Harbour"]
    assert care[0].nitrate_rolls == (roll.code,)
    for word in ("do not project it", "scan it over a hot light", "local fire", "licensed"):
        assert word in care[0].cautions[0]
    assert (care[1].materials, care[1].cautions) == (("silver on polyester",), ())
    # ISO 18911:2000 for silver on polyester, extended term: 21 degC at most, 20 to 50 % (quoted in a museum's table).
    assert [(row.max_temperature_c, row.humidity_pct) for row in care[1].advice] == [(21, (20, 50))]


def test_a_scanned_qr_leads_to_the_roll_or_the_binder():
    assert roll_of_qr(qr_text("26-014-K")) == "26-014-K"
    assert roll_of_qr(qr_text("26-014-K", "https://192.168.1.5:8300/")) == "26-014-K"
    assert binder_of_qr(qr_text_of_binder("Harbour 2026")) == "Harbour 2026"
    assert binder_of_qr("26-014-K") is None


def test_a_picture_is_named_by_roll_and_frame_or_by_an_old_number_with_spaces(book, make_roll):
    roll = make_roll(3)
    with book.write() as conn:
        add_roll_name(conn, roll.id, "summer 14")
        for text, label in (
            (roll.code, None),
            (f"dryside:roll/{roll.code}/2", "2"),
            (f"{roll.code} 2A", "2A"),
            ("Summer 14", None),
            ("summer 14/3", "3"),
            ("summer 14 3", "3"),
        ):
            assert find_picture(conn, text) == (roll, label)
        with pytest.raises(NotFound, match="roll winter 9"):
            find_picture(conn, "winter 9")
        with pytest.raises(Refusal, match="none is named"):
            find_picture(conn, " ")


@pytest.mark.parametrize("text", ["", "/3", "Harbour/0", "Harbour/x", "Harbour/1/2/3/4"])
def test_places_that_cannot_be_read_are_refused(text):
    with pytest.raises(Refusal, match="not binder/page/row/place"):
        parse_address(text)


def test_binders_are_told_apart_whatever_the_case_and_the_nearest_is_named(book):
    with book.write() as conn:
        with pytest.raises(NotFound, match="there is no binder yet"):
            find_binder(conn, "Harbor")
        add_binder(conn, "Harbour")
        assert find_binder(conn, "HARBOUR").name == "Harbour"
        with pytest.raises(NotFound, match="Near it: Harbour"):
            find_binder(conn, "Harbor")
        with pytest.raises(Refusal, match="already in this book"):
            add_binder(conn, "Harbour")
        with pytest.raises(Refusal, match="has a slash"):
            add_binder(conn, "a/b")
        with pytest.raises(Refusal, match="is no film base"):
            add_binder(conn, "Other", holds="paper")
