"""Verdicts in words from what an eye can tell apart."""

import pytest

from dryside.film.printsizes import print_size
from dryside.prints.acuity import judge, say_distance

# One minute of arc per pixel at 25 cm is 349 ppi, at 1 m 87, at 3 m 29: 3438 over the distance in inches, as published
# in photographers' questions and answers on viewing distance; rounded there to whole ppi.
PUBLISHED = {250: 349, 300: 291, 400: 218, 500: 175, 1000: 87, 3000: 29}


@pytest.mark.parametrize(("distance_mm", "ppi"), PUBLISHED.items())
def test_a_print_is_sharp_from_the_published_distance(distance_mm, ppi):
    low, high = (judge(ppi + half, print_size("30R")).sharp_from_mm for half in (0.5, -0.5))
    assert low <= distance_mm <= high


@pytest.mark.parametrize(
    ("ppi", "size", "words"),
    [
        (400, "4R", "sharp in the hand"),
        (300, "4R", "good in the hand, sharp from 30 cm"),
        (160, "5R", "a little soft in the hand, sharp from 60 cm"),
        (100, "30R", "fine on a wall from 90 cm"),
        (38, "30R", "good on a wall from 2 m, sharp from 2.5 m"),
        (60, "4R", "soft: sharp only from 1.5 m, usually seen from 30 cm"),
    ],
)
def test_the_verdict_says_where_it_looks_well(ppi, size, words):
    assert judge(ppi, print_size(size)).words == words


def test_more_pixels_never_look_worse():
    ranks = [judge(ppi, print_size("A3")).rank for ppi in range(10, 500, 5)]
    assert ranks == sorted(ranks)


def test_distances_are_rounded_up():
    assert [say_distance(mm) for mm in (250, 250.1, 510, 1000, 1001)] == ["25 cm", "30 cm", "60 cm", "1 m", "1.5 m"]
