"""Two rolls numbered on in one run, told apart by what the pictures and the counts say, or left to be asked."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dryside.scans.decide import answer, questions
from dryside.scans.dividing import FileSeen, divide
from dryside.scans.receive import receive
from dryside.scans.which_roll import SAYS, RollWaited
from scans.deliveries import folder_of, placed, waiting_roll
from scans.pictures import drawn, write_jpeg

BLANK = np.full((100, 150, 3), 250, np.uint8)


def waited(code, frames=36, **more):
    return RollWaited(code, frames=frames, is_logged=more.pop("is_logged", True), **more)


def run(count, *, size=(3000, 2000), **more):
    return [FileSeen(aspect=size[0] / size[1], size=size, **more) for _ in range(count)]


BLANK_FILE = FileSeen(aspect=1.5, size=(3000, 2000), is_blank=True)


def test_one_roll_of_the_count_that_was_logged_is_not_divided():
    assert divide(run(36), [waited("A"), waited("B")]).starts == (0,)
    assert divide(run(38), [waited("A"), waited("B", 12)]).starts == (0,)


def test_the_sum_of_two_logs_divides_where_the_first_ends():
    found = divide(run(72), [waited("A"), waited("B")])
    assert (found.starts, found.sure, found.reasons) == ((0, 36), True, ("divided_by_count",))


def test_logs_of_different_length_could_come_in_either_order_and_are_asked():
    found = divide(run(60), [waited("A", 36), waited("B", 24)])
    assert found.starts in ((0, 36), (0, 24))
    assert found.confidence == pytest.approx(0.5, abs=0.05)


def test_rolls_of_which_only_the_box_is_known_are_asked_without_a_sign():
    rolls = [waited("A", is_logged=False), waited("B", is_logged=False)]
    found = divide(run(74), rolls)
    assert len(found.starts) == 2
    assert not found.sure


@pytest.mark.parametrize("cut", [36, 37, 38])
def test_a_sign_between_two_files_makes_it_sure(cut):
    rolls = [waited("A", is_logged=False), waited("B", is_logged=False)]
    label = FileSeen(aspect=1.5, size=(3000, 2000), has_label=True)
    assert divide([*run(cut), label, *run(36)], rolls).starts == (0, cut)
    assert divide([*run(cut), label, *run(36)], rolls).sure
    sizes = divide([*run(cut), *run(37, size=(2980, 1990))], rolls)
    assert (sizes.starts, sizes.sure) == ((0, cut), True)
    assert "divided_by_size" in sizes.reasons


def test_an_empty_picture_goes_with_the_roll_before():
    found = divide([*run(36), BLANK_FILE, *run(36)], [waited("A"), waited("B")])
    assert (found.starts, found.sure) == ((0, 37), True)
    assert "divided_by_blank" in found.reasons


def test_shape_and_colour_divide_rolls_of_different_films():
    square = waited("B", 12, aspect=1.0)
    found = divide([*run(36), *run(12, size=(2000, 2000))], [waited("A"), square])
    assert (found.starts, found.sure) == ((0, 36), True)
    assert "divided_by_shape" in found.reasons
    grey = divide([*run(24, is_grey=True), *run(36)], [waited("A"), waited("B", 24, is_bw=True)])
    assert (grey.starts, grey.sure) == ((0, 24), True)
    assert "divided_by_colour" in grey.reasons


def test_the_scanners_pause_divides():
    rolls = [waited("A", is_logged=False), waited("B", is_logged=False)]
    files = [FileSeen(1.5, (3000, 2000), scanned_s=20.0 * k + (600 if k >= 37 else 0)) for k in range(74)]
    found = divide(files, rolls)
    assert (found.starts, found.sure) == ((0, 37), True)


def test_another_look_helps_but_a_new_scene_on_one_roll_does_not_divide_it():
    rng = np.random.default_rng(2)
    rolls = [waited("A", is_logged=False), waited("B", is_logged=False)]

    def toned(count, a, b, black):
        return [FileSeen(1.5, (3000, 2000), tone=tuple(rng.normal((a, b, black), (2, 3, 4)))) for _ in range(count)]

    found = divide([*toned(37, 0, 2, 8), *toned(36, 6, 12, 30)], rolls)
    assert found.starts in ((0, 36), (0, 37), (0, 38))
    assert "divided_by_look" in found.reasons
    assert divide([*toned(18, 0, 2, 8), *toned(18, 6, 12, 30)], rolls).starts == (0,)


def test_phone_shots_of_two_rolls_days_divide():
    files = [*run(20, roll="A"), *run(20, roll="B")]
    found = divide(files, [waited("A", 20), waited("B", 20)])
    assert (found.starts, found.sure) == ((0, 20), True)


def test_three_rolls_divide_too():
    assert divide(run(36 * 3), [waited(code) for code in "ABC"]).starts == (0, 36, 72)


@given(st.lists(st.integers(1, 40), min_size=1, max_size=3), st.integers(0, 60))
def test_whatever_comes_the_parts_cover_the_files_in_order(frames, count):
    found = divide(run(count), [waited(str(k), n) for k, n in enumerate(frames)])
    assert found.starts[0] == 0
    assert list(found.starts) == sorted(set(found.starts))
    assert 0 <= found.confidence <= 1
    assert all(reason in SAYS for reason in found.reasons)


def two_rolls(book):
    """A colour and a black-and-white roll at the lab, five and four frames logged."""
    one = waiting_roll(book, labels=range(1, 11))
    return one, waiting_roll(book, labels=range(1, 9), process="bw", number=3)


def test_a_run_of_two_rolls_is_received_as_two(book, tmp_path):
    one, two = two_rolls(book)
    names = [f"815_{n:03d}.jpg" for n in range(1, 19)]
    grey = {name: np.repeat(drawn(60 + k, width=150, height=100).mean(axis=2, keepdims=True), 3, 2).astype(np.uint8)
            for k, name in enumerate(names[10:])}  # fmt: skip
    found = receive(book, [folder_of(tmp_path / "in", names, pictures=grey)])
    assert [(roll.guess.code, roll.guess.sure, len(roll.scans)) for roll in found.rolls] == [
        (one.code, True, 10), (two.code, True, 8),
    ]  # fmt: skip
    assert placed(book, two)["815_011.jpg"] == ("sure", "1")
    assert placed(book, two)["815_018.jpg"] == ("sure", "8")
    assert "divided_by_colour" in found.rolls[1].guess.reasons


def test_the_label_photographed_first_divides_and_names_the_roll(book, tmp_path):
    import segno

    one = waiting_roll(book, exposures=10)
    two = waiting_roll(book, exposures=10, number=3)
    names = [f"{n:02d}.jpg" for n in range(1, 24)]
    folder = folder_of(tmp_path / "in", names, width=900, height=600)
    for name, roll in ((names[0], one), (names[11], two)):
        code = np.array([list(row) for row in segno.make(roll.code).matrix], np.uint8)
        label = np.full((600, 900), 255, np.uint8)
        large = np.kron(1 - code, np.ones((10, 10), np.uint8)) * 255
        label[150 : 150 + len(large), 300 : 300 + len(large)] = large
        write_jpeg(folder / name, np.repeat(label[..., None], 3, axis=2))
    found = receive(book, [folder])
    assert [(roll.guess.code, roll.guess.sure) for roll in found.rolls] == [(one.code, True), (two.code, True)]
    assert found.rolls[1].scans[0].name == "12.jpg"


def test_an_unsure_place_is_asked_and_can_be_moved(book, tmp_path):
    one, two = (waiting_roll(book, exposures=12, number=k) for k in range(2))
    found = receive(book, [folder_of(tmp_path / "in", [f"x{n:02d}.jpg" for n in range(1, 26)])])
    assert len(found.rolls) == 2
    assert not any(roll.guess.sure for roll in found.rolls)
    asked = questions(book)
    assert [question["kind"] for question in asked] == ["roll", "roll"]
    assert "where the one roll ends and the next begins is not sure" in asked[0]["why"]
    left = answer(book, found.delivery_id, begins={1: "x14.jpg"}, rolls={0: one.code, 1: two.code})
    assert left == []
    assert len(placed(book, one)) == 13
    assert placed(book, two)["x14.jpg"] == ("sure", "1")


def test_a_run_that_was_not_divided_can_be_divided_by_the_answer(book, tmp_path):
    one, two = (waiting_roll(book, labels=range(1, 6), number=k) for k in range(2))
    found = receive(book, [folder_of(tmp_path / "in", [f"{n}.jpg" for n in range(1, 6)])])
    assert len(found.rolls) == 1
    answer(book, found.delivery_id, begins={1: "4.jpg"}, rolls={0: one.code, 1: two.code})
    assert (len(placed(book, one)), len(placed(book, two))) == (3, 2)
