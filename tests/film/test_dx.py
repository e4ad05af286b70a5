"""DX codes against published examples and an outside reader."""

import itertools

import numpy as np
import pytest
import zxingcpp
from hypothesis import given
from hypothesis import strategies as st

from dryside.film import dx
from dryside.film.refusal import Refusal

part1s, part2s, frames = st.integers(1, 127), st.integers(0, 15), st.integers(0, 63)
edge_codes = st.one_of(
    st.builds(dx.EdgeCode, part1s, part2s), st.builds(dx.EdgeCode, part1s, part2s, frames, st.booleans())
)

# --- The cassette's six digits

# Encyclopedia articles 'DX encoding' and 'DX number', captions of pictures of cassettes (read); the wiki of an open bar
# code generator (read); 412503 decoded by arithmetic.
CASSETTES = [
    ("017563", "109-12", 24),
    ("315223", "95-2", 24),
    ("012710", "79-7", 72),
    ("412503", "78-2", 24),
    ("018444", "115-4", 36),
]


@pytest.mark.parametrize(("digits", "dx_number", "exposures"), CASSETTES)
def test_published_cassette_numbers(digits, dx_number, exposures):
    found = dx.parse_cassette_number(digits)
    assert (found.dx_number, found.exposures, found.digits) == (dx_number, exposures, digits)


def test_a_wrong_base_would_be_caught():
    assert divmod(1756, 10) != (109, 12)


@pytest.mark.parametrize(
    ("digit", "exposures"), [(1, 12), (2, 20), (3, 24), (4, 36), (5, 48), (6, 60), (0, 72), (7, None)]
)
def test_the_last_digit_tells_the_exposures(digit, exposures):
    # Encyclopedia article 'DX number' (read); 7 is a number off the list, for example 24 + 3.
    assert dx.parse_cassette_number(f"00016{digit}").exposures == exposures


@given(st.integers(0, 9), part1s, part2s, st.integers(0, 7))
def test_cassette_numbers_go_round(prefix, part1, part2, digit):
    number = dx.CassetteNumber(prefix, part1, part2, digit)
    assert dx.parse_cassette_number(number.digits) == number
    assert dx.parse_dx_number(number.dx_number) == (part1, part2) == dx.parse_dx_number(number.digits[1:5])


def test_spaces_between_the_digits_do_no_harm():
    assert dx.parse_cassette_number(" 0 1756-3").digits == "017563"


@pytest.mark.parametrize(
    ("digits", "message"),
    [("01756", "it must have six digits"), ("0175634", "it must have six digits"),
     ("01756x", "it must have six digits"),
     ("000150", "the middle four are 0015; they run from 0016 to 2047"), ("020480", "they run from 0016 to 2047"),
     ("017568", "the last digit is 8; it runs from 0 to 7")],
)  # fmt: skip
def test_misread_cassettes_are_refused(digits, message):
    with pytest.raises(Refusal, match=message):
        dx.parse_cassette_number(digits)


@pytest.mark.parametrize(
    ("text", "message"),
    [("0-4", "between 1-0 and 127-15"), ("128-0", "between"), ("5-16", "between"), ("0015", "between"),
     ("film", "not a product and its generation")],
)  # fmt: skip
def test_what_is_no_dx_number_is_refused(text, message):
    with pytest.raises(Refusal, match=message):
        dx.parse_dx_number(text)


def test_the_outside_reader_reads_the_digits_as_we_write_them():
    digits = dx.CassetteNumber(4, 78, 2, 3).digits
    drawn = zxingcpp.create_barcode(digits, zxingcpp.BarcodeFormat.ITF)
    picture = np.array(drawn.to_image(scale=4, add_quiet_zones=True))
    assert [one.text for one in zxingcpp.read_barcodes(picture, zxingcpp.BarcodeFormat.ITF)] == ["412503"]


# --- Contacts

# Page quoting ANSI/NAPM IT1.14:1994: areas for 25, 40 and 64 (read). The other rows from memory, in agreement with the
# encyclopedia's statement that 100, 200, 400 and 800 differ on the first two speed contacts alone. Bits S1 to S5.
SPEED_BITS = {
    25: "00010", 32: "00001", 40: "00011", 50: "10010", 64: "10001", 80: "10011", 100: "01010", 125: "01001",
    160: "01011",
    200: "11010", 250: "11001", 320: "11011", 400: "00110", 500: "00101", 640: "00111", 800: "10110", 1000: "10101",
    1250: "10111", 1600: "01110", 2000: "01101", 2500: "01111", 3200: "11110", 4000: "11101", 5000: "11111",
}  # fmt: skip
CUSTOM_BITS = ["00000", "10000", "01000", "11000", "00100", "10100", "01100", "11100"]  # from memory
READ_AREAS = {25: {5}, 40: {5, 6}, 64: {2, 6}}
LENGTH_BITS = {None: "000", 12: "100", 20: "010", 24: "110", 36: "001", 48: "101", 60: "011", 72: "111"}  # from memory
LATITUDE_BITS = {(0.5, 0.5): "00", (1.0, 1.0): "10", (2.0, 1.0): "01", (3.0, 1.0): "11"}  # from memory


def areas(speed_bits, length_bits="000", latitude_bits="00"):
    bits = speed_bits + length_bits + latitude_bits
    return {1, 7} | {area for area, bit in zip((*range(2, 7), *range(8, 13)), bits, strict=True) if bit == "1"}


@pytest.mark.parametrize(("iso", "bits"), SPEED_BITS.items())
def test_speeds_on_the_contacts(iso, bits):
    assert dx.contacts_from_areas(areas(bits)).iso == iso


@pytest.mark.parametrize(("iso", "bare"), READ_AREAS.items())
def test_the_areas_that_were_read(iso, bare):
    found = dx.areas_for_contacts(dx.CassetteContacts(iso, None, None, 0.5, 0.5))
    assert found - {1, 7} == bare


def test_the_usual_four_speeds_differ_on_the_first_two_contacts_alone():
    rest = {
        dx.areas_for_contacts(dx.CassetteContacts(iso, None, 36, 1.0, 1.0)) - {2, 3, 4} for iso in (100, 200, 400, 800)
    }
    assert len(rest) == 1


def test_reading_the_contacts_from_the_wrong_end_would_be_caught():
    assert dx.contacts_from_areas(areas(SPEED_BITS[40][::-1])).iso != 40


@pytest.mark.parametrize("number", range(1, 9))
def test_codes_kept_for_agreement(number):
    found = dx.contacts_from_areas(areas(CUSTOM_BITS[number - 1]))
    assert (found.iso, found.custom) == (None, number)


@pytest.mark.parametrize(
    ("iso", "exposures", "latitude"), list(itertools.product((25, 400, 5000), LENGTH_BITS, LATITUDE_BITS))
)
def test_lengths_and_latitudes_on_the_contacts(iso, exposures, latitude):
    bare = areas(SPEED_BITS[iso], LENGTH_BITS[exposures], LATITUDE_BITS[latitude])
    contacts = dx.CassetteContacts(iso, None, exposures, *latitude)
    assert dx.contacts_from_areas(bare) == contacts
    assert dx.areas_for_contacts(contacts) == bare


@given(st.sets(st.sampled_from([*range(2, 7), *range(8, 13)])))
def test_any_ten_contacts_mean_something_and_go_round(bare):
    bare = bare | {1, 7}
    assert dx.areas_for_contacts(dx.contacts_from_areas(bare)) == bare


@pytest.mark.parametrize(
    ("bare", "message"), [({1}, "areas 1 and 7 must be bare"), ({0, 1, 7}, "areas are numbered 1 to 12")]
)
def test_a_cassette_lying_the_wrong_way_is_refused(bare, message):
    with pytest.raises(Refusal, match=message):
        dx.contacts_from_areas(bare)


@pytest.mark.parametrize(
    ("contacts", "message"),
    [(dx.CassetteContacts(401, None, 36, 1, 1), "iso is 401"),
     (dx.CassetteContacts(6400, None, 36, 1, 1), "iso is 6400"),
     (dx.CassetteContacts(None, 9, 36, 1, 1), "custom is 9"),
     (dx.CassetteContacts(100, None, 27, 1, 1), "exposures is 27"),
     (dx.CassetteContacts(100, None, 36, 2, 2), "latitude is ")],
)  # fmt: skip
def test_what_contacts_cannot_say_is_refused(contacts, message):
    with pytest.raises(ValueError, match=message):
        dx.areas_for_contacts(contacts)


# --- The edge code

# Layout: source of the reader in an open bar code library (read as reference). Strings calculated from it;
# drawn and read back below. Data track, text, what its reverse decodes as.
EDGE_VECTORS = [
    ("1010101110011010100010111010101", "115-10/11A", "116-10/51A"),
    ("1010101110011010100010110000101", "115-10/11", None),
    ("1010101001111011110101111000101", "79-15/23A", None),
    ("1010101001111001110101101000101", "79-7/22A", None),
    ("1010100101111000010101101000101", "47-1/22A", None),
    ("10101010111110001010101", "95-2", None),
    ("10101011100110010000101", "115-4", None),
    ("10101011011010110010101", "109-12", None),
    ("1010100000001000000000000010101", "1-0/0", None),
    ("1010101111111011111111111000101", "127-15/63A", None),
    ("1010100000001000000000011010101", "1-0/1A", "96-0/32"),
]
CLOCKS = {31: "1111101010101010101010101010111", 23: "11111010101010101010111"}


@pytest.mark.parametrize(("bits", "text", "backwards"), EDGE_VECTORS)
def test_edge_vectors(bits, text, backwards):
    code = dx.decode_edge(bits)
    assert code.text == text
    assert code.data_track == bits
    assert dx.parse_edge_code(text) == code
    reading = dx.reversed_reading(code)
    assert (reading and reading.text) == backwards


@pytest.mark.parametrize(("modules", "bits"), CLOCKS.items())
def test_clock_tracks(modules, bits):
    assert dx.clock_track(modules) == bits
    assert bits != bits[::-1]


def test_no_other_clock_is_drawn():
    with pytest.raises(ValueError, match="modules is 27; an edge code has 31 or 23"):
        dx.clock_track(27)


@given(edge_codes)
def test_edge_codes_go_round(code):
    assert dx.decode_edge(code.data_track) == code
    assert dx.parse_edge_code(code.text) == code
    assert len(code.clock_track) == len(code.data_track)


@given(edge_codes, st.data())
def test_one_wrong_module_is_always_noticed(code, data):
    place = data.draw(st.integers(0, len(code.data_track) - 1))
    flipped = "10"[int(code.data_track[place])]
    assert dx.decode_edge(code.data_track[:place] + flipped + code.data_track[place + 1 :]) is None


@given(edge_codes)
def test_reading_backwards_twice_is_reading(code):
    backwards = dx.reversed_reading(code)
    assert backwards is None or dx.reversed_reading(backwards) == code


def test_how_many_codes_decode_just_as_well_backwards():
    # Counted by arithmetic on the layout: 24.8 % of all codes with a frame number, 12.2 % of the short ones.
    products = list(itertools.product(range(1, 128), range(16)))
    long = [dx.EdgeCode(a, b, frame, half) for a, b in products for frame in range(64) for half in (False, True)]
    short = [dx.EdgeCode(a, b) for a, b in products]
    both_ways = [sum(dx.reversed_reading(one) is not None for one in codes) for codes in (long, short)]
    assert (both_ways, len(long), len(short)) == ([64516, 248], 260096, 2032)


@pytest.mark.parametrize(
    "bits", ["", "10101", "1" * 31, "0" * 31, "10101" + "0" * 13 + "00101", "1010101110011010100010111010101"[1:] + "1"]
)
def test_bars_that_are_no_code_decode_to_nothing(bits):
    assert dx.decode_edge(bits) is None


def test_only_bits_are_decoded():
    with pytest.raises(ValueError, match="data_track is '10x'; it must hold only 0 and 1"):
        dx.decode_edge("10x")


@pytest.mark.parametrize(
    ("arguments", "message"),
    [((0, 1), "part1 is 0; it must be 1 to 127"), ((1, 16), "part2 is 16"), ((1, 1, 64), "frame is 64"),
     ((1, 1, None, True), "half is True without a frame")],
)  # fmt: skip
def test_codes_that_cannot_be_are_refused(arguments, message):
    with pytest.raises(ValueError, match=message):
        dx.EdgeCode(*arguments)


@pytest.mark.parametrize(("text", "message"), [("115/11", "not product-generation/frame"), ("0-1/3", "part1 is 0")])
def test_texts_that_are_no_code_are_refused(text, message):
    with pytest.raises(Refusal, match=message):
        dx.parse_edge_code(text)


# --- Drawn on film and read back by the outside reader


def drawn_on_film(code, *, px_per_module=4, track_px=16):
    """A grey strip of film, edge down: clock nearest the frame's middle, data nearest the edge, bars dense on clear."""
    quiet = np.zeros(10, int)
    tracks = [
        np.repeat([*quiet, *(int(bit) for bit in bits), *quiet], px_per_module)
        for bits in (code.clock_track, code.data_track)
    ]
    base, dense = 200, 60
    band = np.repeat(np.where(np.array(tracks) == 1, dense, base), track_px, axis=0)
    clear = np.full((6 * track_px, band.shape[1]), base)
    edge = np.full((track_px, band.shape[1]), base)
    return np.vstack([clear, band, edge]).astype(np.uint8)


def read_outside(picture):
    return [one.text for one in zxingcpp.read_barcodes(picture, zxingcpp.BarcodeFormat.DXFilmEdge)]


@pytest.mark.parametrize("text", [text for _, text, _ in EDGE_VECTORS])
def test_the_outside_reader_reads_our_edge_codes(text):
    assert read_outside(drawn_on_film(dx.parse_edge_code(text))) == [text]


@pytest.mark.parametrize("text", ["115-10/11", "79-15/23A", "95-2"])
def test_the_outside_reader_reads_them_from_the_other_side(text):
    picture = drawn_on_film(dx.parse_edge_code(text))
    assert read_outside(np.rot90(picture, 2).copy()) == [text]


def test_the_outside_reader_would_notice_a_wrong_parity():
    code = dx.parse_edge_code("115-10/11")
    broken = drawn_on_film(code).copy()
    module = (10 + 26) * 4  # modules in front of the parity bit
    parity = broken[7 * 16 : 8 * 16, module : module + 4]  # of the data track
    parity[:] = 60 if parity.flat[0] == 200 else 200
    assert read_outside(broken) == []
