"""What a print keeps and loses, drawn over the picture: read back pixel by pixel."""

import numpy as np

from dryside.film.printsizes import print_size
from dryside.prints.faces import Box, Face
from dryside.prints.fitting import CropWish, plan_print
from dryside.prints.overlay import describe, draw_crop

GREY = 150
HEIGHT, WIDTH = 400, 600


def drawn(subject=None, faces=(), size="20x20cm", **how):
    picture = np.full((HEIGHT, WIDTH, 3), GREY, np.uint8)
    plan = plan_print(WIDTH, HEIGHT, print_size(size), wish=CropWish(at=0.5), **how)
    return plan, draw_crop(picture, plan, subject=subject, faces=faces)


def test_what_is_lost_is_dark_and_hatched_and_what_is_kept_is_as_it_was():
    plan, shown = drawn()
    assert (plan.crop.left, plan.crop.right) == (100, 500)  # a square of 3:2, a third lost
    lost, kept = shown[:HEIGHT, :95], shown[10 : HEIGHT - 10, 110:490]
    assert set(np.unique(lost)) == {170, round(GREY * 0.38)}  # the hatch, and the darkened picture
    assert 0.1 < (lost == 170).mean() < 0.2
    assert (kept == GREY).all()


def test_the_subject_is_a_dashed_box_where_it_is_and_a_face_a_whole_one():
    subject, face = Box(0.3, 0.25, 0.6, 0.75), Face(Box(0.4, 0.4, 0.5, 0.6), 0.99)
    _, plain = drawn()
    _, shown = drawn(subject, (face,))
    changed = (shown != plain).any(axis=2)[:HEIGHT]
    rows, columns = np.flatnonzero(changed.any(axis=1)), np.flatnonzero(changed.any(axis=0))
    assert abs(rows[0] - 100) <= 3 and abs(rows[-1] - 300) <= 3
    assert abs(columns[0] - 180) <= 3 and abs(columns[-1] - 360) <= 3
    top_of_subject = changed[98:103, 185:355].any(axis=0)
    assert 0.4 < top_of_subject.mean() < 0.9  # dashes
    top_of_face = changed[160:163, 243:297].any(axis=0)
    assert top_of_face.all()
    assert not changed[170:230, 250:290].any()  # nothing is drawn over the face itself


def test_a_line_under_the_picture_says_it_in_words():
    plan, shown = drawn()
    assert shown.shape[0] > HEIGHT
    assert shown[HEIGHT:].min() < 100  # letters
    assert describe(plan).startswith("20x20cm, filled: 33.3 % is cut off; 51 ppi")


def test_a_border_is_told_and_nothing_of_the_picture_is_darkened():
    plan, shown = drawn(size="8R", way="fit", border_mm=10)
    assert "whole:" in describe(plan) and "mm)" in describe(plan)
    assert (shown[10 : HEIGHT - 10, 10 : WIDTH - 10] == GREY).all()
