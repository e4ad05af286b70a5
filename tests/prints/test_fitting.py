"""Fill and fit: what a crop takes off, against published losses, and where it may lie."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dryside.film.printsizes import PRINT_SIZES, print_size
from dryside.film.refusal import Refusal
from dryside.prints.faces import Box, Face
from dryside.prints.fitting import FACE_MARGIN, CropWish, plan_print

# Share of a 3:2 frame (36 x 24 mm) that filling a paper cuts off, by arithmetic from nominal inches: short side n in,
# long side n + 2 in (encyclopedia article 'Photo print sizes'); 4R and S8R are 3:2 themselves. Printed to two decimals.
LOSS_FROM_3_TO_2_PCT = {
    "4R": 0.0,
    "S8R": 0.0,
    "3R": 4.76,
    "5R": 6.67,
    "6R": 11.11,
    "8R": 16.67,
    "10R": 20.0,
    "11R": 15.15,
}
LOSS_FROM_SQUARE_PCT = {"8R": 20.0, "4R": 33.33}
HALF_LAST_DIGIT = 0.005

ANY_SIZE = st.sampled_from(sorted(PRINT_SIZES))
SIDE = st.integers(200, 9000)


@pytest.mark.parametrize(("name", "loss"), LOSS_FROM_3_TO_2_PCT.items())
def test_filling_cuts_off_what_is_published(name, loss):
    assert plan_print(6000, 4000, print_size(name)).loss_pct == pytest.approx(loss, abs=HALF_LAST_DIGIT)
    assert plan_print(4000, 6000, print_size(name)).loss_pct == pytest.approx(loss, abs=HALF_LAST_DIGIT)


@pytest.mark.parametrize(("name", "loss"), LOSS_FROM_SQUARE_PCT.items())
def test_a_square_loses_what_is_published(name, loss):
    assert plan_print(4000, 4000, print_size(name)).loss_pct == pytest.approx(loss, abs=HALF_LAST_DIGIT)


@given(width=SIDE, height=SIDE, name=ANY_SIZE, at=st.floats(0, 1))
def test_a_crop_has_the_papers_shape_and_lies_in_the_picture(width, height, name, at):
    size = print_size(name)
    plan = plan_print(width, height, size, wish=CropWish(at=at))
    crop = plan.crop
    assert -1e-6 <= crop.left < crop.right <= width + 1e-6
    assert -1e-6 <= crop.top < crop.bottom <= height + 1e-6
    aspect = size.aspect if width >= height else 1 / size.aspect
    assert crop.width / crop.height == pytest.approx(aspect)
    assert crop.width == pytest.approx(width) or crop.height == pytest.approx(height)


@given(width=SIDE, height=SIDE, name=ANY_SIZE, border=st.floats(0, 15))
def test_a_whole_picture_keeps_its_shape_and_its_border(width, height, name, border):
    size = print_size(name)
    plan = plan_print(width, height, size, way="fit", border_mm=border)
    assert plan.loss_pct == 0
    assert min(plan.border_mm) >= border - 0.51  # sold millimetres are rounded: 4R is 3:2 and measures 102 x 152
    assert plan.paper_mm == pytest.approx([a + 2 * b for a, b in zip(plan.picture_mm, plan.border_mm, strict=True)])
    if abs(plan.picture_mm[0] * plan.picture_mm[1] - plan.paper_mm[0] * plan.paper_mm[1]) > 1:
        assert plan.picture_mm[0] / plan.picture_mm[1] == pytest.approx(width / height)


def test_pixels_per_inch_of_a_4r_from_a_six_megapixel_scan():
    # 3000 pixels along 152 mm: 3000 / (152 / 25.4) = 501.3, by arithmetic.
    assert plan_print(3000, 2000, print_size("4R")).ppi == pytest.approx(501.3, abs=0.05)


def face(left, top, right, bottom):
    return Face(Box(left, top, right, bottom), 0.99)


FRACTION = st.floats(0.02, 0.9)


@given(name=ANY_SIZE, lying=st.booleans(), data=st.data())
def test_no_face_is_ever_cropped_unless_the_crop_is_placed_by_hand(name, lying, data):
    faces = []
    for _ in range(data.draw(st.integers(1, 4))):
        x, y, side = data.draw(FRACTION), data.draw(FRACTION), data.draw(st.floats(0.02, 0.3))
        faces.append(face(x, y, min(1.0, x + side), min(1.0, y + side)))
    width, height = (6000, 4000) if lying else (4000, 6000)
    salient = np.ones((43, 64)) if lying else np.ones((64, 43))
    plan = plan_print(width, height, print_size(name), wish=CropWish(salience=salient / salient.sum(), faces=faces))
    for found in faces:
        box = found.box.grown(FACE_MARGIN)
        assert plan.crop.left <= box.left * width + 1e-3
        assert plan.crop.right >= box.right * width - 1e-3
        assert plan.crop.top <= box.top * height + 1e-3
        assert plan.crop.bottom >= box.bottom * height - 1e-3


def test_faces_at_both_ends_are_printed_whole_and_said_so():
    plan = plan_print(
        6000, 4000, print_size("20x20cm"), wish=CropWish(faces=[face(0, 0.4, 0.1, 0.6), face(0.9, 0.4, 1, 0.6)])
    )
    assert plan.way == "fit"
    assert plan.remarks == (
        "printed whole: 2 faces lie farther apart than the crop; place the crop by hand to fill the paper all the same",
    )


def test_a_crop_by_hand_through_a_face_is_made_and_said_so():
    plan = plan_print(6000, 4000, print_size("20x20cm"), wish=CropWish(at=1.0, faces=[face(0, 0.4, 0.1, 0.6)]))
    assert (plan.way, plan.remarks) == ("fill", ("1 face is cut into, as placed by hand",))


@given(
    name=ANY_SIZE, way=st.sampled_from(["fill", "fit"]), border=st.sampled_from([0.0, 4.0]),
    sides=st.tuples(st.floats(0, 0.4), st.floats(0, 0.4), st.floats(0.6, 1), st.floats(0.6, 1)),
)  # fmt: skip
def test_a_part_chosen_by_hand_is_what_is_printed(name, way, border, sides):
    part = Box(*sides)
    plan = plan_print(6000, 4000, print_size(name), way=way, border_mm=border, wish=CropWish(part=part))
    crop = plan.crop
    assert crop.left >= part.left * 6000 - 1e-6
    assert crop.right <= part.right * 6000 + 1e-6
    assert crop.top >= part.top * 4000 - 1e-6
    assert crop.bottom <= part.bottom * 4000 + 1e-6
    if way == "fit":
        assert (crop.width, crop.height) == pytest.approx(((sides[2] - sides[0]) * 6000, (sides[3] - sides[1]) * 4000))
    else:
        assert crop.width == pytest.approx((sides[2] - sides[0]) * 6000) or crop.height == pytest.approx(
            (sides[3] - sides[1]) * 4000
        )
    # The picture on the paper has the crop's shape, but for the rounding of sold millimetres.
    assert plan.picture_mm[0] / plan.picture_mm[1] == pytest.approx(crop.width / crop.height, rel=0.015)
    assert plan.loss_pct == pytest.approx(100 * (1 - crop.width * crop.height / 24e6))


def test_a_part_by_hand_through_a_face_is_said_and_beside_it_not():
    faces = [face(0.45, 0.4, 0.55, 0.6)]
    cut = plan_print(6000, 4000, print_size("8R"), wish=CropWish(part=Box(0.5, 0, 1, 1), faces=faces))
    assert cut.remarks == ("1 face is cut into, as placed by hand",)
    assert plan_print(6000, 4000, print_size("8R"), wish=CropWish(part=Box(0.7, 0, 1, 1), faces=faces)).remarks == ()
    assert plan_print(6000, 4000, print_size("8R"), wish=CropWish(part=Box(0.1, 0, 1, 1), faces=faces)).remarks == ()


@pytest.mark.parametrize("sides", [(0.5, 0, 0.5, 1), (0.6, 0, 0.4, 1), (-0.1, 0, 1, 1), (0, 0, 1, 1.1)])
def test_a_part_that_is_none_is_refused(sides):
    with pytest.raises(Refusal, match="is no part of a picture"):
        plan_print(6000, 4000, print_size("8R"), wish=CropWish(part=Box(*sides)))


def test_the_crop_goes_where_the_picture_stands_out():
    salient = np.zeros((43, 64))
    salient[20, 60] = 1
    crop = plan_print(6000, 4000, print_size("20x20cm"), wish=CropWish(salience=salient)).crop
    assert (crop.right, crop.placed) == (pytest.approx(6000, abs=300), "around the subject")
    even = plan_print(6000, 4000, print_size("20x20cm"), wish=CropWish(salience=np.ones((43, 64)) / (43 * 64))).crop
    assert even.left == pytest.approx(1000, abs=15)


def test_a_border_that_leaves_no_paper_is_refused():
    with pytest.raises(Refusal, match="leaves no paper on 4R"):
        plan_print(6000, 4000, print_size("4R"), border_mm=51)


def test_a_crop_outside_the_picture_is_refused():
    with pytest.raises(Refusal, match="outside 0 to 1"):
        plan_print(6000, 4000, print_size("8R"), wish=CropWish(at=1.5))


def test_a_picture_without_pixels_is_misuse():
    with pytest.raises(ValueError, match="0 x 10 px"):
        plan_print(0, 10, print_size("8R"))
