"""Notes as they are typed on a phone: every field in any order, in four languages; what cannot be read is named."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dryside.book.notes.lines import read_note
from dryside.book.notes.noted import Assumptions
from dryside.film.exposure import aperture_scale, shutter_scale

HERE = Assumptions(offset="+02:00", year=2026)


def read(text, assume=HERE):
    reading = read_note(text, assume)
    assert reading.problems == ()
    return {frame.label: frame.columns() for frame in reading.frames}


def one(line, assume=HERE):
    (frame,) = read(line, assume).values()
    assert frame.pop("blank") is False
    return frame


def problems(text, assume=HERE):
    return [str(problem) for problem in read_note(text, assume).problems]


def test_the_line_everybody_types():
    assert one("12  1/250 f8 50mm harbour wall, sun behind") == {
        "shutter": "1/250", "shutter_s": 0.004, "aperture": 8.0, "focal_mm": 50.0,
        "caption": "harbour wall, sun behind",
    }  # fmt: skip


FIELDS = ["1/125", "f5.6", "35mm", "+1/3", "***", "#quay", "flash", "EI 800"]


@given(st.permutations(FIELDS), st.sampled_from([" ", ", ", "  ", "; "]))
def test_fields_may_stand_in_any_order(order, between):
    frame = one("7 " + between.join([*order[:4], "old crane", *order[4:]]))
    assert frame == {
        "shutter": "1/125", "shutter_s": 0.008, "aperture": 5.6, "focal_mm": 35.0, "exposure_bias": 0.3333,
        "rating": 3, "keywords": "quay", "flash": True, "exposure_index": 800, "caption": "old crane",
    }  # fmt: skip


@given(
    st.sampled_from([mark.text for step in ("full", "third") for mark in shutter_scale(step) if mark.text[:2] == "1/"]),
    st.sampled_from([mark.text for mark in aperture_scale("third")]),
)
def test_every_marked_time_and_aperture_is_read(time, aperture):
    """The scales are those of film.exposure, which are checked against published ones there."""
    frame = one(f"3 {time} f{aperture} wall")
    assert frame["shutter"] == time
    assert frame["aperture"] == float(aperture)
    assert frame["caption"] == "wall"


@pytest.mark.parametrize(
    ("written", "seconds"),
    [
        ('2"', 2.0), ("2”", 2.0), ("2″", 2.0), ("2s", 2.0), ("2 sec", 2.0), ("1,5s", 1.5), ('0"3', 0.3), ("0.5s", 0.5),
        ("1/60s", 1 / 60), ("2m30s", 150.0), ("2'30\"", 150.0), ("3 min", 180.0), ("B 45s", 45.0), ("B 2m", 120.0),
        ("bulb 8s", 8.0), ("250 f8", 1 / 250), ("f8 250", 1 / 250), ("f8@1/250", 1 / 250), ("1⁄250", 1 / 250),
        ("B", None), ("T", None), ("2 Sek", 2.0), ("2 secondes", 2.0),
    ],
)  # fmt: skip
def test_times_as_people_write_them(written, seconds):
    frame = one(f"5 {written}, ferry")
    assert frame.get("shutter_s") == (pytest.approx(seconds) if seconds else None)
    assert frame["shutter"]
    assert frame["caption"] == "ferry"


@pytest.mark.parametrize(
    ("written", "number"),
    [("f8", 8), ("f/8", 8), ("F 8", 8), ("f:8", 8), ("ƒ5,6", 5.6), ("f/5.6", 5.6), ("Blende 11", 11), ("f1.4", 1.4),
     ("ouverture 8", 8), ("diafragma 5,6", 5.6), ("f8 1/2 1/60", 9.5), ("f8½ 1/60", 9.5)],
)  # fmt: skip
def test_apertures_as_people_write_them(written, number):
    assert one(f"5 {written} ferry")["aperture"] == number


def test_half_a_second_and_half_a_stop_are_told_apart():
    assert one("13 f2.8 1/2 candle") == {"aperture": 2.8, "shutter": "1/2", "shutter_s": 0.5, "caption": "candle"}
    assert one("13 f8 1/2 1/125 wall")["aperture"] == 9.5


@pytest.mark.parametrize(
    ("label", "found"),
    [("12", "12"), ("12.", "12"), ("12)", "12"), ("12:", "12"), ("#12", "12"), ("No 12", "12"), ("Nr. 12", "12"),
     ("frame 12", "12"), ("Bild 12", "12"), ("vue 12", "12"), ("toma 12", "12"), ("00", "00"), ("0", "0"),
     ("07", "7"), ("12a", "12A"), ("12 -", "12"), ("12,", "12")],
)  # fmt: skip
def test_labels_as_people_write_them(label, found):
    assert list(read(f"{label} 1/60 f4 gulls")) == [found]


@pytest.mark.parametrize(
    "bias", [("+1", 1.0), ("-1/3", -0.3333), ("−2/3 EV", -0.6667), ("+0,7", 0.7), ("±0", 0.0), ("+1 1/2 stops", 1.5)]
)
def test_exposure_compensation(bias):
    written, stops = bias
    assert one(f"4 1/60 f4 {written} snow")["exposure_bias"] == stops


@pytest.mark.parametrize("word", ["blank", "leer", "vide", "en blanco", "-", "—", "(blank)", "Blank."])
def test_blank_frames(word):
    assert read(f"14 {word}") == {"14": {"blank": True}}


def test_a_range_shares_or_deals_out_what_the_line_says():
    frames = read(
        "13-15 1/60 1/125 1/250 f8 bracket\n16–17 f4 1/30 twins\n18, 19, 20 same\n21 to 22 same but f5.6, wide"
    )
    assert [frames[label]["shutter"] for label in ("13", "14", "15")] == ["1/60", "1/125", "1/250"]
    assert frames["16"] == frames["17"] == frames["18"] == frames["20"]
    assert frames["22"] == {**frames["17"], "aperture": 5.6, "caption": "twins; wide"}


@pytest.mark.parametrize(
    "same", ["same", "ditto", "Same.", "gleich", "wie oben", "même", "igual", "idem", '"', "〃", "same as 3", "wie 3"]
)
def test_same_repeats_the_frame_before_but_not_its_stars(same):
    frames = read(f"3 1/60 f4 35mm +1 gulls *** // windy\n4 {same}")
    said = dict(frames["3"])
    assert said.pop("rating") == 3
    assert frames["4"] == said


@pytest.mark.parametrize(
    "but", ["same but f8", "same, f8", "gleich aber f8", "même mais f8", "igual pero f8", "same f8"]
)
def test_same_but_changes_what_is_said(but):
    frames = read(f"3 1/60 f4 gulls\n4-6 {but}")
    assert frames["6"] == {**frames["3"], "aperture": 8.0}


def test_same_as_names_the_frame():
    frames = read("3 1/60 f4 gulls\n4 1/500 f2 swan\n5 same as 3\n6 like 4")
    assert frames["5"] == frames["3"]
    assert frames["6"] == frames["4"]


def test_header_lines_hold_for_the_lines_below():
    reading = read_note(
        "# Harbour walk\nCamera: Ondine 35\nFilm: Fennel 400\nLens: Nightjar 50mm f1.4\noffset: +01:00\n"
        "14 July 2026\n@ Low Wharf\n1 1/60 f4 9:30 gulls\n28mm\n2 1/60 f4 crane\nplace: Tern Bay\n3 same\n"
        "15.7.\n4 f8 1/30",
        HERE,
    )
    assert reading.problems == ()
    assert (reading.roll.camera, reading.roll.stock) == ("Ondine 35", "Fennel 400")
    first, second, third, fourth = reading.frames
    assert (first.taken_at, first.taken_to) == ("2026-07-14T09:30:00+01:00", "minute")
    assert (first.lens, first.focal_mm, first.place) == ("Nightjar 50mm f1.4", 50.0, "Low Wharf")
    assert (second.lens, second.focal_mm) == (None, 28.0)
    assert (second.taken_at, second.taken_to) == ("2026-07-14T12:00:00+01:00", "day")
    assert third.place == "Low Wharf"  # 'same' repeats the frame; the header holds where the line says nothing
    assert fourth.place == "Tern Bay"
    assert fourth.taken_at.startswith("2026-07-15")


@pytest.mark.parametrize(
    "header",
    ["14 July 2026", "July 14, 2026", "14. Juli 2026", "14 juillet 2026", "14 de julio de 2026", "2026-07-14",
     "14.7.2026", "14.07.26", "14/7/2026", "7/14/2026", "Tuesday, 14 July 2026", "Dienstag 14.7.2026",
     "date: 2026-07-14", "14 July", "Datum: 14.7.2026", "Fecha: 14/7/2026"],
)  # fmt: skip
def test_days_as_people_write_them(header):
    assert read(f"{header}\n1 1/60 f4 gulls")["1"]["taken_at"] == "2026-07-14T12:00:00+02:00"


@pytest.mark.parametrize(
    ("written", "time"),
    [("14:30", "14:30:00+02:00"), ("14h30", "14:30:00+02:00"), ("2:30pm", "14:30:00+02:00"),
     ("14.30 Uhr", "14:30:00+02:00"),
     ("2 pm", "14:00:00+02:00"), ("12:05 am", "00:05:00+02:00"), ("14:30:15", "14:30:15+02:00"),
     ("14:30+05:30", "14:30:00+05:30"), ("14:30 UTC", "14:30:00+00:00"), ("14:30Z", "14:30:00+00:00")],
)  # fmt: skip
def test_times_of_day_as_people_write_them(written, time):
    assert read(f"2026-07-14\n1 {written} 1/60 f4 gulls")["1"]["taken_at"] == f"2026-07-14T{time}"


def test_a_zone_by_name_knows_summer_time():
    lisbon = Assumptions(offset="Europe/Lisbon", year=2026)
    assert read("1 2026-07-14 10:00 f8", lisbon)["1"]["taken_at"].endswith("+01:00")
    assert read("1 2026-01-14 10:00 f8", lisbon)["1"]["taken_at"].endswith("+00:00")


@pytest.mark.parametrize(
    "written",
    ["41.1456, -8.6109", "41.1456 -8.6109", "41,1456; -8,6109", "N41.1456 W8.6109", "41.1456N 8.6109W",
     "@41.1456,-8.6109",      "41°8'44.16\"N 8°36'39.24\"W", "geo:41.1456,-8.6109", "N 41° 8.736' W 8° 36.654'"],
)  # fmt: skip
def test_coordinates_as_people_write_them(written):
    frame = one(f"9 1/60 f4 {written} chapel")
    assert (frame["latitude"], frame["longitude"]) == (
        pytest.approx(41.1456, abs=2e-5),
        pytest.approx(-8.6109, abs=2e-5),
    )
    assert frame["caption"] == "chapel"


def test_named_fields_quotes_comments_and_continued_lines():
    frames = read(
        "8 f8 1/60 place: Tern Bay; person: Ida, Noor // wind from the north\n"
        "   and rain\n"
        "// a line for nobody\n"
        "9 “50mm lens test” f8 1/500\n"
        "10 caption: wall, f8 on the door; 1/30 f2"
    )
    assert frames["8"]["person"] == "Ida, Noor"
    assert frames["8"]["notes"] == "wind from the north; and rain"
    assert frames["9"]["caption"] == "50mm lens test"
    assert "focal_mm" not in frames["9"]
    assert (frames["10"]["caption"], frames["10"]["aperture"]) == ("wall, f8 on the door", 2.0)


def test_words_that_only_look_like_fields_stay_words():
    assert one("3 1/60 f2 3/4 view of the bust")["caption"] == "3/4 view of the bust"
    assert one("3 1/4 f4 flash of lightning").get("flash") is None
    assert one("3 1/60 f4 no flash please")["flash"] is False
    assert one("3 1/60 f4 route 66 diner")["caption"] == "route 66 diner"
    assert one("3 1/60 f4 T-shirts, Plan B")["caption"] == "T-shirts, Plan B"


def test_bullets_without_numbers_count_on():
    assert list(read("- 1/60 f4 gulls\n- 1/60 f4 crane\n5 f8 1/30 wall\n* f8 1/30 door")) == ["1", "2", "5", "6"]


def test_half_frames_count_by_half_numbers_where_the_note_does():
    half = Assumptions(year=2026, is_half_frame=True)
    assert list(read("1-2A 1/60 f4 stairs", half)) == ["1", "1A", "2", "2A"]
    assert list(read("1-3 1/60 f4 stairs", half)) == ["1", "2", "3"]


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("20 1/25o f8 typo", "line 1: '1/25o': it looks like an exposure and is none. Write it like 1/250 f8."),
        ("19 8 f11", "line 1: time '8': it may be 1/8 s or 8 s"),
        ("1 f8 1/60\n1 f4 1/30", "line 2: frame 1: line 1 has it already"),
        ("15-13 f8", "line 1: 15-13: this is no range of frames"),
        ("plan of something", "line 1: 'plan of something': no frame number at its start"),
        ("4 f8 1/250 f11", "line 1: aperture: the line gives 8.0 and 11.0"),
        ("4 f8 1/250 1/60", "line 1: times: the line gives 2 for 1 frame"),
        ("4 same", "line 1: same: no frame stands above it"),
        ("4 same as 9", "line 1: same: frame 9 is not above it"),
        ("4 14:30 f8", "line 1: time 14:30: the day is not known"),
        ("3/4/2026\n1 f8", "line 1: date '3/4/2026': it may be 2026-04-03 or 2026-03-04"),
        ("31.2.2026\n1 f8", "line 1: date '31.2.2026': there is no such day"),
        ("4 91.5000, 12.5000 f8", "line 1: position '91.5000, 12.5000': no such place on Earth"),
        ("4 41.5N 8.25O f8", "line 1: position '41.5N 8.25O'"),
        ("4 1/0 f8", "line 1"),
        ("4 f8 " + "wall " * 500, "line 1: '4 f8 wall wall"),
        ("4 f0 1/60", "line 1: aperture"),
        ("4 41°75'00\"N 8°0'0\"W", "line 1: angle"),
    ],
)
def test_what_cannot_be_read_is_said_with_its_line(text, words):
    said = problems(text)
    assert len(said) == 1
    assert said[0].startswith(words.split(". Write")[0])


def test_lines_that_can_be_read_are_read_beside_those_that_cannot():
    reading = read_note("1 1/60 f4 gulls\n2 1/25o f8\n3 same", HERE)
    assert [frame.label for frame in reading.frames] == ["1", "3"]
    assert [problem.line for problem in reading.problems] == [2]


def test_an_ambiguous_date_is_read_as_the_person_says():
    for month_first, month in ((True, "03"), (False, "04")):
        assume = Assumptions(year=2026, month_first=month_first)
        assert read("3/4/2026\n1 f8 1/60", assume)["1"]["taken_at"][5:7] == month


@given(st.text(max_size=300))
def test_whatever_is_typed_is_read_or_named_and_never_breaks(text):
    reading = read_note(text, HERE)
    assert len({frame.label for frame in reading.frames}) == len(reading.frames)


HEAP = [
    "12",
    "1/250",
    "f8",
    "same",
    "-",
    "#x",
    "**",
    "B",
    '2"',
    "+1",
    "14:30",
    "@",
    "(",
    "50mm",
    "13-15",
    "3/4/26",
    "N41",
]


@given(st.lists(st.sampled_from(HEAP), max_size=9))
def test_any_heap_of_pieces_is_read_or_named(pieces):
    reading = read_note(" ".join(pieces), HERE)
    assert len(reading.problems) <= 1
