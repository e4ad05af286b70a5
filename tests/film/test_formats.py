"""Film formats against published frame sizes, and what price lists cover."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dryside.film.formats import FAMILIES, FORMATS, SHEET_MM, covers, family, film_format, parse_format
from dryside.film.refusal import Refusal

# Encyclopedia articles '135 film', '120 film', 'List of photographic film formats' (copies read); 127 and 4x5 from
# memory. key: along x across in mm, usual frames on a roll
PUBLISHED = {
    "135": (36, 24, {36, 24, 12, 20}),
    "half": (18, 24, {72, 48, 24}),
    "panoramic": (65, 24, {20, 21, 13}),
    "135-24x24": (24, 24, None),
    "135-24x32": (32, 24, None),
    "135-24x34": (34, 24, None),
    "120-6x4.5": (41.5, 56, {15, 16}),
    "120-6x6": (56, 56, {12, 13}),
    "120-6x7": (70, 56, {10}),
    "120-6x8": (77, 56, {9}),
    "120-6x9": (84, 56, {8}),
    "120-6x12": (118, 56, {6}),
    "120-6x17": (168, 56, {4}),
    "120-6x24": (224, 56, {3}),
    "4x5": (120, 95, {1}),
    "110": (17, 13, {12, 20, 24}),
    "127-4x4": (40, 40, {12}),
    "127-4x6.5": (65, 40, {8}),
    "127-3x4": (30, 40, {16}),
}
# The same article on 120 gives frames on 220.
FRAMES_ON_220 = {"6x4.5": {30, 32}, "6x6": {24, 27}, "6x7": {21}, "6x8": {19}, "6x9": {18}, "6x12": {12}, "6x17": {9}}

keys = st.sampled_from(sorted(FORMATS))


def test_exactly_these_formats_are_known():
    assert set(FORMATS) == set(PUBLISHED)


@pytest.mark.parametrize(("key", "published"), PUBLISHED.items())
def test_frame_sizes_and_counts_are_the_published_ones(key, published):
    found = film_format(key)
    assert (found.along_mm, found.across_mm) == published[:2]
    assert published[2] is None or set(found.frames_per_roll) == published[2]


def test_a_frame_taken_across_instead_of_along_would_be_caught():
    half = film_format("half")
    assert (half.across_mm, half.along_mm) != PUBLISHED["half"][:2]


@pytest.mark.parametrize(("size", "counts"), FRAMES_ON_220.items())
def test_frames_on_the_double_length(size, counts):
    assert set(film_format(f"120-{size}").frames_per_220_roll) == counts


@pytest.mark.parametrize(("key", "pitch_mm", "gap_mm", "holes"), [("135", 38.0, 2.0, 8), ("half", 19.0, 1.0, 4)])
def test_pitch_and_gap_of_perforated_film(key, pitch_mm, gap_mm, holes):
    found = film_format(key)
    assert (found.frame_pitch_mm, found.gap_mm, found.perforations_per_frame) == (pitch_mm, gap_mm, holes)
    assert holes * 4.75 == pitch_mm


def test_counts_that_no_source_gives_fill_the_film_of_36_frames():
    for key in ("135-24x24", "135-24x32", "135-24x34"):
        most, fewer = film_format(key).frames_per_roll
        pitch = film_format(key).usual_pitch_mm
        assert most * pitch <= 36 * 38 < (most + 1) * pitch
        assert fewer * pitch <= 24 * 38 < (fewer + 1) * pitch


def test_panoramic_counts_agree_with_its_usual_pitch():
    assert 36 * 38 / film_format("panoramic").usual_pitch_mm == pytest.approx(20.4, abs=0.05)


def test_the_image_is_smaller_than_the_sheet():
    assert all(a < b for a, b in zip((120, 95), SHEET_MM["4x5"], strict=True))


@given(keys)
def test_frames_fit_their_film(key):
    found = film_format(key)
    assert found.film_width_mm is None or found.across_mm < found.film_width_mm
    assert found.aspect >= 1
    assert found.usual_pitch_mm > found.along_mm or key == "4x5"
    assert found.rebate_mm is None or found.rebate_mm > 0


def test_a_film_of_several_frame_sizes_is_refused_with_them():
    with pytest.raises(Refusal, match=r"120 film takes several frame sizes.*120-6x4\.5, .*120-6x24"):
        film_format("120")


def test_an_unknown_format_is_refused_with_near_ones():
    with pytest.raises(Refusal, match=r"format '120-6x5': no film format of that name.*120-6x"):
        film_format("120-6x5")


# --- As people write them


@pytest.mark.parametrize(
    ("written", "key"),
    [
        ("135", "135"), ("35mm", "135"), ("35 mm", "135"), ("24x36", "135"), ("Half frame", "half"), ("18×24", "half"),
        ("135 half", "half"),
        ("panorama", "panoramic"), ("6x7", "120-6x7"), ("6 X 6", "120-6x6"), ("645", "120-6x4.5"),
        ("6x4,5", "120-6x4.5"), ("120 6×9", "120-6x9"),
        ("120-6x12", "120-6x12"), ("220 6x7", "120-6x7"), ("120", "120"),
        ("120 film", "120"), ("127", "127"), ("127 4x4", "127-4x4"), ("4x5 in", "4x5"),
        ("4 x 5", "4x5"), ("110", "110"),
        ("135 24x32", "135-24x32"), (" 135 ", "135"),
    ],
)  # fmt: skip
def test_formats_are_read_as_people_write_them(written, key):
    assert parse_format(written) == key


@pytest.mark.parametrize("written", ["", "6x5", "disc", "35x", "12O"])
def test_what_is_no_format_is_refused(written):
    with pytest.raises(Refusal, match=r"no film format of that name\. Near it: "):
        parse_format(written)


@given(keys)
def test_every_key_reads_as_itself(key):
    assert parse_format(key) == key
    assert parse_format(key.upper().replace("X", " x ")) == key


# --- What a price list covers


@pytest.mark.parametrize(
    ("listed", "wanted", "taken"),
    [
        ("120", "120-6x7", True), ("120", "120", True), ("120-6x6", "120-6x6", True), ("120-6x6", "120-6x7", False),
        ("120-6x6", "120", False), ("135", "135", True), ("135", "135-24x24", True), ("135", "135-24x34", True),
        ("135", "half", False), ("135", "panoramic", False), ("half", "half", True), ("half", "135", False),
        ("panoramic", "panoramic", True), ("127", "127-3x4", True), ("120", "127-4x4", False), ("4x5", "4x5", True),
        ("110", "110", True), ("135-24x32", "135", False),
    ],
)  # fmt: skip
def test_a_price_list_covers_what_it_names(listed, wanted, taken):
    assert covers(listed, wanted) is taken


@pytest.mark.parametrize(("listed", "wanted"), [("12O", "120"), ("120", "6x7")])
def test_a_list_with_an_unknown_format_is_refused(listed, wanted):
    with pytest.raises(Refusal, match="no film format of that name"):
        covers(listed, wanted)


@given(keys)
def test_a_family_covers_its_formats_and_itself(key):
    assert family(key) in FAMILIES
    assert family(family(key)) == family(key) == film_format(key).family
    assert covers(family(key), key)
    assert covers(key, key)
