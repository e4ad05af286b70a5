"""Print sizes, crops and viewing distances against published ones."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dryside.film import printsizes as p
from dryside.film.formats import film_format
from dryside.film.refusal import Refusal

# Encyclopedia article 'Photo print sizes' (rule read), a published list in cm (read), sold mm of some rows from memory.
# name, inches, sold mm, pixels at 300 ppi from mm (1205 x 1795 for 4R is a lab convention, from memory), loss from 3:2
# in %
SIZES = [
    ("2R", (2.5, 3.5), (63.5, 89), (750, 1051), 6.67),
    ("3R", (3.5, 5), (89, 127), (1051, 1500), 4.76),
    ("4D", (4, 16 / 3), (102, 136), (1205, 1606), 11.11),
    ("4R", (4, 6), (102, 152), (1205, 1795), 0.00),
    ("5R", (5, 7), (127, 178), (1500, 2102), 6.67),
    ("S5R", (5, 7.5), (127, 190), (1500, 2244), 0.00),
    ("6R", (6, 8), (152, 203), (1795, 2398), 11.11),
    ("8R", (8, 10), (203, 254), (2398, 3000), 16.67),
    ("S8R", (8, 12), (203, 305), (2398, 3602), 0.00),
    ("10R", (10, 12), (254, 305), (3000, 3602), 20.00),
    ("S10R", (10, 15), (254, 381), (3000, 4500), 0.00),
    ("11R", (11, 14), (279, 356), (3295, 4205), 15.15),
    ("S11R", (11, 17), (279, 432), (3295, 5102), 2.94),
    ("12R", (12, 15), (305, 381), (3602, 4500), 16.67),
    ("16R", (16, 20), (406, 508), (4795, 6000), 16.67),
    ("20R", (20, 24), (508, 610), (6000, 7205), 20.00),
    ("30R", (30, 40), (762, 1016), (9000, 12000), 11.11),
]


@pytest.mark.parametrize(("name", "inches", "mm", "px", "loss_pct"), SIZES)
def test_published_sizes(name, inches, mm, px, loss_pct):
    size = p.print_size(name)
    assert ((size.short_in, size.long_in), (size.short_mm, size.long_mm)) == (inches, mm)
    assert size.pixels(300) == px
    assert p.fit(36, 24, size).fill_loss_pct == pytest.approx(loss_pct, abs=0.005)


@pytest.mark.parametrize("name", ["2R", "3R", "4R", "5R", "6R", "8R", "10R", "11R", "12R"])
def test_the_r_rule(name):
    # Long side = short + 2 in up to 10R (half of that for 2R and 3R's half inches), + 3 in from 11R (read).
    size = p.print_size(name)
    added = {"2R": 1, "3R": 1.5}.get(name, 2 if size.short_in <= 10 else 3)
    assert size.long_in - size.short_in == added
    assert abs(size.short_mm - 25.4 * size.short_in) < 1


def test_charts_that_contradict_the_rule_would_be_caught():
    # One published chart gives 4R as 5.04 in and another 12R as 15.5 in.
    assert p.print_size("4R").short_in != 5.04
    assert p.print_size("12R").long_in != 15.5


@pytest.mark.parametrize(("name", "px"), [("4R", (1200, 1800)), ("3R", (1050, 1500)), ("8R", (2400, 3000))])
def test_pixels_of_nominal_inches(name, px):
    assert p.print_size(name).nominal_pixels(300) == px


def test_one_labs_machine_prints_at_320():
    assert p.print_size("4x6in").nominal_pixels(320) == (1280, 1920)  # a page of 2009 (read)


def test_254_ppi_is_ten_pixels_a_mm():
    assert p.print_size("100x150mm").pixels(254) == (1000, 1500)


@pytest.mark.parametrize(("also", "name"), [("L", "3R"), ("2L", "5R"), ("KG", "4R"), ("6PW", "S8R"), ("6P", "8R")])
def test_other_names_of_the_trade(also, name):
    assert p.print_size(also) is p.PRINT_SIZES[name]


def test_a_sizes_halve():
    # ISO 216 (from memory): the long side of one is twice the short of the next, to a millimetre.
    for larger, smaller in (("A0", "A1"), ("A1", "A2"), ("A2", "A3"), ("A3", "A4"), ("A4", "A5"), ("A5", "A6")):
        big, small = p.PRINT_SIZES[larger], p.PRINT_SIZES[smaller]
        assert 0 <= big.long_mm - 2 * small.short_mm <= 1
        assert big.short_mm == small.long_mm
    assert (p.PRINT_SIZES["A4"].short_mm, p.PRINT_SIZES["A4"].long_mm) == (210, 297)


def test_sizes_in_inches_have_no_nominal_pixels_elsewhere():
    with pytest.raises(ValueError, match="A4 is not defined in inches; use pixels"):
        p.print_size("A4").nominal_pixels(300)


# --- As people write them


@pytest.mark.parametrize(
    ("written", "name"),
    [("4R", "4R"), ("4r", "4R"), ("kg", "4R"), ("10x15cm", "10x15cm"), ("10 x 15 cm", "10x15cm"),
     ("15x10cm", "10x15cm"),
     ("10cm x 15cm", "10x15cm"), ("8x10in", "8R"), ('8"x10"', "8R"), ("8 by 10 inches", "8R"), ("8x10", "8R"),
     ("4x6", "4R"), ("13x18", "13x18cm"), ("203x254mm", "203x254mm"), ("203x254", "203x254mm"),
     ("100x150mm", "100x150mm"),
     ("a4", "A4"), ("20x20 cm", "20x20cm"), ("5×5in", "5x5in"), ("2.5x3.5in", "2R"), ("12,7x17,8cm", "12.7x17.8cm"),
     ("9x11in", "9x11in")],
)  # fmt: skip
def test_sizes_are_read_as_people_write_them(written, name):
    assert p.print_size(written).name == name


@pytest.mark.parametrize(
    ("written", "message"),
    [("10x15", r"sold as 10x15cm and, in inches, as S10R\. Write 10x15cm or 10x15in"), ("20x30", "20x30cm or 20x30in"),
     ("7x9", "the unit is missing"), ("9R", "no print size of that name. Near it: "),
     ("", "no print size of that name"),
     ("10cmx4in", "the sides have two units"), ("1x1mm", "1 x 1 mm lies outside 20 mm to 3 m"),
     ("0x10cm", "lies outside"), ("500x700in", "lies outside"), ("10x15x20cm", "no print size of that name")],
)  # fmt: skip
def test_what_is_no_size_is_refused(written, message):
    with pytest.raises(Refusal, match=message):
        p.print_size(written)


@given(st.sampled_from(sorted(p.PRINT_SIZES)))
def test_every_size_reads_as_itself(name):
    size = p.print_size(name)
    assert size is p.PRINT_SIZES[name]
    assert 0 < size.short_mm <= size.long_mm


@given(st.integers(20, 2999), st.integers(20, 2999))
def test_any_millimetres_make_a_size(a, b):
    size = p.print_size(f"{a}x{b}mm")
    assert (size.short_mm, size.long_mm) == (min(a, b), max(a, b))


def test_sizes_that_labs_sell_as_one():
    assert p.same_size(p.print_size("4R"), p.print_size("10x15cm"))
    assert not p.same_size(p.print_size("4R"), p.print_size("4D"))


# --- Crops. Calculated from published frame and print sizes; two decimals. frame, print, fill loss %, from which side

CROPS = [
    ("135", "4R", 0.00, "none"), ("135", "8R", 16.67, "long side"), ("135", "A4", 5.71, "long side"),
    ("half", "4R", 11.11, "short side"), ("half", "5R", 4.76, "short side"), ("half", "8R", 6.25, "long side"),
    ("half", "A4", 5.72, "short side"), ("panoramic", "4R", 44.62, "long side"),
    ("panoramic", "A4", 47.78, "long side"),
    ("panoramic", "10R", 55.69, "long side"), ("120-6x4.5", "4R", 10.04, "short side"),
    ("120-6x4.5", "8R", 7.37, "long side"), ("120-6x4.5", "11R", 5.68, "long side"),
    ("120-6x6", "4R", 33.33, "short side"), ("120-6x6", "8R", 20.00, "short side"),
]  # fmt: skip


@pytest.mark.parametrize(("frame", "paper", "loss_pct", "side"), CROPS)
def test_published_crop_losses(frame, paper, loss_pct, side):
    film = film_format(frame)
    found = p.fit(film.long_mm, film.short_mm, p.print_size(paper))
    assert found.fill_loss_pct == pytest.approx(loss_pct, abs=0.005)
    assert found.whole_border_pct == pytest.approx(loss_pct, abs=0.005)
    assert found.loss_from == side


def test_the_rows_would_catch_sold_millimetres_in_place_of_inches():
    sold = p.PrintSize("8R as sold", 203, 254)
    assert abs(p.fit(36, 24, sold).fill_loss_pct - 16.67) > 0.005


pictures = st.tuples(st.floats(1, 5), st.floats(0.1, 1)).map(lambda ab: (ab[0] * ab[1] * 100, ab[1] * 100))
sizes = st.sampled_from(list(p.PRINT_SIZES.values()))


@given(pictures, sizes, st.floats(0, 10))
def test_a_whole_picture_lies_on_the_paper_and_touches_two_sides(picture, size, border_mm):
    found = p.fit(*picture, size, border_mm=border_mm)
    white = (found.border_short_mm, found.border_long_mm)
    assert min(white) == pytest.approx(border_mm, abs=1e-9)
    assert found.picture_mm[1] / found.picture_mm[0] == pytest.approx(picture[0] / picture[1])
    assert found.picture_mm[0] + 2 * white[0] == pytest.approx(size.short_mm)
    assert found.picture_mm[1] + 2 * white[1] == pytest.approx(size.long_mm)


@given(pictures, sizes)
def test_a_crop_has_the_papers_shape_and_loses_what_it_says(picture, size):
    found = p.fit(*picture, size)
    kept = (picture[0] * found.crop[0], picture[1] * found.crop[1])
    assert kept[0] / kept[1] == pytest.approx(size.aspect)
    assert 100 * (1 - found.crop[0] * found.crop[1]) == pytest.approx(found.fill_loss_pct)


@pytest.mark.parametrize(
    ("arguments", "message"),
    [((24, 36, 0), "long_side is 24, shorter than short_side, 36"), ((36, 0, 0), "short_side is 0"),
     ((36, 24, 60), "border_mm is 60; it must be 0 or more and leave paper on 4R"), ((36, 24, -1), "border_mm is -1")],
)  # fmt: skip
def test_fits_of_no_sense_are_refused(arguments, message):
    with pytest.raises(ValueError, match=message):
        p.fit(*arguments[:2], p.print_size("4R"), border_mm=arguments[2])


def test_pixels_per_inch_on_the_paper():
    assert p.print_ppi(3602, 2398, p.print_size("203x305mm")) == pytest.approx(300, abs=0.05)
    # Filled, the short side of a 3:2 picture decides on 8R (203 mm); whole, the long one (254 mm).
    assert p.print_ppi(3000, 2000, p.print_size("8R")) == pytest.approx(2000 / 203 * 25.4)
    assert p.print_ppi(3000, 2000, p.print_size("8R"), filled=False) == pytest.approx(3000 / 254 * 25.4)


# --- Viewing distance. A page on resolution and viewing angles (30 cm to 3 m read) and a photography Q&A (3438 over
# inches).

VIEWING = [(250, 349), (254, 344), (300, 291), (400, 218), (500, 175), (1000, 87), (3000, 29)]


@pytest.mark.parametrize(("distance_mm", "ppi"), VIEWING)
def test_one_arcminute_at_a_distance(distance_mm, ppi):
    assert p.ppi_for_distance(distance_mm) == pytest.approx(ppi, abs=0.5)


def test_3438_over_the_inches():
    assert p.ppi_for_distance(25.4) == pytest.approx(3438, abs=0.5)


def test_two_arcminutes_would_be_caught():
    assert abs(p.ppi_for_distance(2 * 300) - 291) > 0.5


@given(st.floats(1, 1e5))
def test_distance_and_ppi_go_round(distance_mm):
    assert p.distance_for_ppi(p.ppi_for_distance(distance_mm)) == pytest.approx(distance_mm)


def test_prints_are_looked_at_from_about_their_diagonal():
    # 1.5 to 2 times the diagonal (read), not nearer than 250 mm.
    assert p.usual_viewing_distance_mm(p.print_size("300x400mm")) == (750, 1000)
    assert p.usual_viewing_distance_mm(p.print_size("2R")) == (250, 250)


@pytest.mark.parametrize("call", [p.ppi_for_distance, p.distance_for_ppi, lambda x: p.print_size("4R").pixels(x)])
def test_nothing_at_or_below_zero_is_taken(call):
    with pytest.raises(ValueError, match="it must be above 0"):
        call(0)
