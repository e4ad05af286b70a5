"""Finding: every filter gives what going through all frames by hand gives, page after page."""

import random
import unicodedata
from datetime import date, timedelta

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from dryside.book import search
from dryside.book.bulk import bulk_add_frames
from dryside.book.cameras import add_camera, add_lens
from dryside.book.folder import km_between
from dryside.book.frames import add_frames, list_frames, update_frame
from dryside.book.journey import RollState
from dryside.book.people import add_person
from dryside.book.rolls import add_roll, list_rolls, move_roll, update_roll
from dryside.book.search import FrameQuery, find_frames, split_words, squares_around
from dryside.book.stocks import add_stock
from dryside.film.refusal import Refusal

WORDS = ["harbour", "Möwe", "wall", "boat", "half-frame", "éclair", "sun", "the"]
PLACES = [(41.1456, -8.6109), (41.2, -8.7), (-17.7, 179.99), (-17.8, -179.95), (64.1, -21.9), (89.99, 10.0), None]


@pytest.fixture
def full(book):
    """A book of 12 rolls and 240 frames of mixed sorts."""
    fill(book)
    return book


def fill(book):
    draw = random.Random(7)
    with book.write() as conn:
        for name in ("Ida", "Noor"):
            add_person(conn, name)
        for name in ("Ondine 35", "Sabre"):
            add_camera(conn, name)
        for name in ("Nightjar 50", "Plover 28"):
            add_lens(conn, name)
        for name in ("Fennel 400", "Rye 100"):
            add_stock(conn, name, process="c41", kind="colour negative", iso=400)
        rows = []
        for number in range(12):
            roll = add_roll(
                conn, film_format="135", process="c41", on=date(2024, 1, 1),
                state=draw.choice([RollState.AT_LAB, RollState.SCANS_BACK, RollState.SLEEVED, RollState.CAMERA]),
                owner_id=draw.choice([1, 2, None]), camera_id=draw.choice([1, 2, None]),
                stock_id=draw.choice([1, 2, None]), title=draw.choice(["Ferry", "the long wall", None]),
                names=[f"own {number}"],
            )  # fmt: skip
            rows += [frame(draw, roll.id, position) for position in range(20)]
        add_frames(conn, rows)


def frame(draw, roll_id, position):
    place = draw.choice(PLACES)
    day = date(2019, 12, 20) + timedelta(days=draw.randrange(900))
    return {
        "roll_id": roll_id, "position": position, "label": str(position + 1),
        "taken_at": draw.choice([None, f"{day}T{draw.randrange(24):02d}:30:00+02:00"]),
        "caption": draw.choice([None, " ".join(draw.sample(WORDS, 3))]),
        "keywords": draw.choice([None, draw.choice(WORDS)]), "person": draw.choice([None, "Ida", "Noor, Ida"]),
        "place": draw.choice([None, "Low Wharf"]), "rating": draw.choice([None, 1, 2, 3, 4, 5]),
        "lens_id": draw.choice([None, 1, 2]), "printed": draw.random() < 0.3,
        "latitude": place and place[0], "longitude": place and place[1],
    }  # fmt: skip


def folded(text):
    plain = unicodedata.normalize("NFKD", (text or "").lower())
    plain = "".join(sign for sign in plain if not unicodedata.combining(sign))
    return "".join(sign if sign.isalnum() else " " for sign in plain).split()


def by_hand(conn, query):
    """The ids that meet `query`, looking at every frame; the oracle."""
    found = []
    for roll in list_rolls(conn):
        for one in list_frames(conn, roll.id):
            if meets(one, roll, query):
                found.append(one.id)
    return sorted(found, reverse=True)


def meets(one, roll, query):
    fields = [folded(text) for text in (one.caption, one.keywords, one.place, one.person, one.notes, roll.title)]
    for kind, words in split_words(query.words):
        wanted = folded(words)
        there = any(
            any(words[i : i + len(wanted)] == wanted for i in range(len(words)))
            or (kind == "start" and any(word.startswith(wanted[0]) for word in words))
            for words in fields
        )
        if there == (kind == "not"):
            return False
    day = one.taken_at and date.fromisoformat(one.taken_at[:10])
    return all(
        [
            query.person is None or set(folded(query.person)) <= set(folded(one.person)),
            query.roll_id in (None, roll.id),
            query.camera_id in (None, roll.camera_id),
            query.stock_id in (None, roll.stock_id),
            query.owner_id in (None, roll.owner_id),
            query.lens_id in (None, one.lens_id),
            query.since is None or (day is not None and day >= query.since),
            query.until is None or (day is not None and day <= query.until),
            query.rating is None or (one.rating or 0) >= query.rating,
            not query.not_printed or not one.printed,
            not query.negatives_at_lab or roll.state in ("at the lab", "scans back"),
            query.near is None
            or (one.latitude is not None and km_between(one.latitude, one.longitude, *query.near) <= query.within_km),
        ]
    )


def all_pages(conn, query, limit):
    found, after, pages = [], None, 0
    while True:
        page = find_frames(conn, query, limit=limit, after=after)
        found += [one.id for one in page.frames]
        pages += 1
        assert pages < 400
        if page.after is None:
            return found
        after = page.after


DAYS = st.dates(date(2019, 11, 1), date(2022, 8, 1))
TERMS = st.sampled_from(
    ["harbour", "HARBOUR", "mowe", "Möwe", "wall", "half-frame",
     '"sun wall"', '"the long wall"', "-boat", "éclair", "har*",
     "Mow*", "écl*", "wha*", "-har*", "zzz*",
     "wharf", "ferry", "nowhere", "-the", "ida"]
)  # fmt: skip


@st.composite
def queries(draw):
    rarely = lambda one: draw(st.one_of(st.none(), st.none(), one))  # noqa: E731
    words = " ".join(draw(st.lists(TERMS, max_size=2)))
    since, until = rarely(DAYS), rarely(DAYS)
    if since and until and until < since:
        since, until = until, since
    return FrameQuery(
        words=words, camera_id=rarely(st.integers(1, 3)), lens_id=rarely(st.integers(1, 3)),
        stock_id=rarely(st.integers(1, 2)), owner_id=rarely(st.integers(1, 2)), person=rarely(st.just("ida")),
        roll_id=rarely(st.integers(1, 13)), since=since, until=until,
        near=rarely(st.sampled_from([one for one in PLACES if one])),
        within_km=draw(st.sampled_from([0.5, 5, 40, 300, 5000])), rating=rarely(st.integers(1, 5)),
        not_printed=draw(st.booleans()), negatives_at_lab=draw(st.booleans()),
    )  # fmt: skip


@settings(max_examples=120, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(query=queries(), limit=st.integers(1, 60))
def test_every_filter_gives_what_going_through_all_frames_gives(full, query, limit):
    terms = split_words(query.words)
    if terms and all(kind == "not" for kind, _ in terms):
        return
    with full.read() as conn:
        assert all_pages(conn, query, limit) == by_hand(conn, query)


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(query=queries(), window=st.integers(3, 90), most=st.integers(0, 3))
def test_short_windows_and_beginnings_of_too_many_words_change_nothing(full, query, window, most):
    """Constants made small, so that 240 frames go the ways that only millions go else."""
    terms = split_words(query.words)
    if terms and all(kind == "not" for kind, _ in terms):
        return
    with pytest.MonkeyPatch.context() as patch, full.read() as conn:
        patch.setattr(search, "_WINDOW", window)
        patch.setattr(search, "_MOST_BEGINNINGS", most)
        assert all_pages(conn, query, 50) == by_hand(conn, query)


def test_the_index_follows_every_change_of_frame_and_roll(full):
    with full.write() as conn:
        roll = next(one for one in list_rolls(conn) if one.state == "camera")
        first = list_frames(conn, roll.id)[0]
        update_frame(conn, first.id, caption="kingfisher", rating=5, taken_at="1926-05-01T10:00:00+00:00")
        update_roll(conn, roll.id, title="Heron pond", camera_id=2)
        for to in (RollState.EXPOSED, RollState.AT_LAB):
            roll = move_roll(conn, roll, to)
    with full.read() as conn:
        for query in (
            FrameQuery("kingfisher"),
            FrameQuery("kingfisher", rating=5, camera_id=2, negatives_at_lab=True),
            FrameQuery(since=date(1926, 1, 1), until=date(1926, 12, 31)),
            FrameQuery(until=date(1930, 1, 1)),
        ):
            assert all_pages(conn, query, 9) == [first.id]
        assert len(all_pages(conn, FrameQuery("heron"), 9)) == 20
        assert all_pages(conn, FrameQuery("heron", negatives_at_lab=True), 9) == by_hand(conn, FrameQuery("heron"))
        if full.is_sqlite:
            conn.exec_driver_sql("INSERT INTO frame_words(frame_words, rank) VALUES ('integrity-check', 1)")


def test_a_beginning_is_found_while_another_writes_and_its_new_words_only_by_the_writer(full):
    with full.write() as writing:
        update_frame(writing, 3, caption="harbinger of spring")
        with full.read() as reading:
            assert find_frames(reading, FrameQuery("harb*")).frames
            assert find_frames(reading, FrameQuery("harbing*")).frames == ()
        assert [one.id for one in find_frames(writing, FrameQuery("harbing*")).frames] == [3]


def test_words_that_are_a_rolls_code_or_own_name_stand_for_that_roll(full):
    with full.read() as conn:
        roll = list_rolls(conn)[4]
        for words in (roll.code, roll.code.lower().replace("-", ""), "OWN 4"):
            assert all_pages(conn, FrameQuery(words), 7) == by_hand(conn, FrameQuery(roll_id=roll.id))


def test_frames_added_in_bulk_are_found_as_others_are(full):
    columns = ("roll_id", "position", "label", "blank", "printed", "caption")
    with full.write() as conn:
        rows = [(1, 100 + i, f"b{i}", False, False, f"egret {i % 7}") for i in range(6000)]
        assert bulk_add_frames(conn, columns, rows) == 6000
    with full.write() as conn:
        assert len(all_pages(conn, FrameQuery("egret"), 500)) == 6000
        one = find_frames(conn, FrameQuery("egret"), limit=1).frames[0]
        update_frame(conn, one.id, caption="bittern")  # the triggers are back
        assert all_pages(conn, FrameQuery("bittern"), 5) == [one.id]
        with pytest.raises(ValueError, match="lacks"):
            bulk_add_frames(conn, ("roll_id", "label"), [])


@pytest.mark.parametrize(
    ("query", "words"),
    [
        (FrameQuery("-boat"), "must not be there"),
        (FrameQuery("..."), "no word is in it"),
        (FrameQuery("ha*"), "three letters"),
        (FrameQuery(rating=6), "from 1 to 5"),
        (FrameQuery(since=date(2026, 2, 1), until=date(2026, 1, 1)), "ends before it begins"),
        (FrameQuery(near=(95, 0)), "no such place"),
        (FrameQuery(near=(5, 0), within_km=0), "above 0"),
    ],
)
def test_what_cannot_be_looked_for_is_refused(full, query, words):
    with full.read() as conn, pytest.raises(Refusal, match=words):
        find_frames(conn, query)


@given(st.floats(-89.9, 89.9), st.floats(-180, 180), st.floats(0.01, 2000), st.floats(0, 360), st.floats(0, 1))
def test_the_squares_hold_every_point_of_the_circle(latitude, longitude, within_km, bearing, part):
    """Squares are only a first sieve: none may miss a point that lies inside."""
    import math

    squares = squares_around((latitude, longitude), within_km)
    if not squares:
        return
    far, turn = part * within_km * 0.999 / 6371.0088, math.radians(bearing)
    a = math.radians(latitude)
    b = math.asin(math.sin(a) * math.cos(far) + math.cos(a) * math.sin(far) * math.cos(turn))
    east = math.atan2(math.sin(turn) * math.sin(far) * math.cos(a), math.cos(far) - math.sin(a) * math.sin(b))
    there = (math.degrees(b), (longitude + math.degrees(east) + 180) % 360 - 180)
    per_degree = {"ga": 0.1, "gb": 1, "gc": 10, "gd": 100}[squares[0][:2]]
    assert f"{squares[0][:2]}{int((there[0] + 90) * per_degree)}x{int((there[1] + 180) * per_degree)}" in squares


# Distances between cities as great-circle tables print them, to the nearest 10 km; value from memory.
@pytest.mark.parametrize(
    ("here", "there", "km"),
    [((51.5074, -0.1278), (48.8566, 2.3522), 344), ((52.52, 13.405), (41.9028, 12.4964), 1180)],
)
def test_distances_are_great_circle_distances(here, there, km):
    assert km_between(*here, *there) == pytest.approx(km, abs=10)


def test_what_is_typed_cannot_break_the_query_language(full):
    with full.read() as conn:
        for words in (
            '"',
            'a" OR "b',
            "NEAR(",
            "caption : x",
            "'; DROP TABLE frames; --",
            "AND",
            "\ue000n",
            "*",
            "(x)",
        ):
            try:
                find_frames(conn, FrameQuery(words))
            except Refusal:
                continue
