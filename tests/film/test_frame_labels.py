"""Frame labels along the film's edge."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dryside.film import frame_labels as f
from dryside.film.dx import EdgeCode
from dryside.film.refusal import Refusal

labels = st.builds(f.FrameLabel, st.integers(-2, 99), st.booleans())


def test_labels_run_along_the_film_in_half_frames():
    # Encyclopedia article 'DX encoding': half-frame numbers 1, 1A, 2, 2A; 00 before 0 common practice.
    written = ["X", "XA", "00", "00A", "0", "0A", "1", "1A", "2", "2A", "3"]
    found = [f.parse_label(one) for one in written]
    assert sorted(set(found)) == found
    assert [one.half_index for one in found] == list(range(-4, 7))
    assert [str(one) for one in found] == written


# Wiki of an open bar code generator, page 'DX Film Edge' (read): S and X are 62, K and 00 are 63, F is 0.
@pytest.mark.parametrize(
    ("mark", "number"), [("S", 62), ("X", 62), ("K", 63), ("00", 63), ("F", 0), ("0", 0), ("36", 36)]
)
def test_marks_and_the_numbers_of_the_edge_code(mark, number):
    label = f.parse_label(mark)
    assert label.edge_number == number
    assert f.label_of_edge_number(number) == label


def test_a_mark_taken_for_another_would_be_caught():
    assert f.parse_label("00") != f.parse_label("0")
    assert f.parse_label("X").edge_number != 63


@given(st.integers(0, 63), st.booleans())
def test_edge_numbers_go_round(number, half):
    assert f.label_of_edge_number(number, half).edge_number == number
    assert EdgeCode(1, 0, f.label_of_edge_number(number, half).edge_number, half).frame == number


@pytest.mark.parametrize("number", [-1, 64])
def test_no_edge_code_holds_other_numbers(number):
    with pytest.raises(ValueError, match=f"frame is {number}; an edge code holds 0 to 63"):
        f.label_of_edge_number(number)


@pytest.mark.parametrize(
    ("written", "label"),
    [("12", "12"), ("12a", "12A"), ("5 A", "5A"), ("#7", "7"), ("No. 3", "3"), ("frame 12", "12"), ("fr.9", "9"),
     ("→11A", "11A"), ("▶ 4", "4"), ("s", "X"), ("x", "X"), ("K", "00"), ("k", "00"), ("F", "0"), ("07", "7"),
     ("00", "00"), ("0A", "0A"), ("12.", "12"), ("(3)".strip("("), "3"), ("00A", "00A")],
)  # fmt: skip
def test_labels_are_read_as_they_are_written(written, label):
    assert f.normalise_label(written) == label


@pytest.mark.parametrize("written", ["", "A", "12B", "100", "-1", "1.5", "12AA", "harbour"])
def test_what_is_no_label_is_refused(written):
    with pytest.raises(Refusal, match=r"not a frame label\. Write it as 12, 12A, 0 or 00"):
        f.parse_label(written)


@given(labels)
def test_written_labels_read_back(label):
    assert f.parse_label(str(label)) == label
    assert f.label_at(label.half_index) == label


@given(labels, labels)
def test_order_is_the_order_on_the_film(a, b):
    assert (a < b) == (a.half_index < b.half_index)
    assert (f.distance_mm(a, b) > 0) == (a < b)


def test_full_frames_may_start_at_any_half_frame():
    assert [str(one) for one in f.labels_along(f.parse_label("00"), 4)] == ["00", "0", "1", "2"]
    assert [str(one) for one in f.labels_along(f.parse_label("00A"), 4)] == ["00A", "0A", "1A", "2A"]


def test_half_frames_take_every_label():
    assert [str(one) for one in f.labels_along(f.parse_label("1"), 4, format_key="half")] == ["1", "1A", "2", "2A"]


def test_panoramic_frames_take_the_nearest_label():
    # 65 mm and a 2 mm gap are 3.53 half frames of 19.0 mm: 0, 3.53, 7.05, 10.58.
    found = f.labels_along(f.parse_label("0"), 4, format_key="panoramic")
    assert [str(one) for one in found] == ["0", "2", "3A", "5A"]


def test_film_without_half_frame_numbers_has_no_such_labels():
    with pytest.raises(ValueError, match="format_key is 120-6x6; only 135 film carries numbers every half frame"):
        f.labels_along(f.parse_label("1"), 2, format_key="120-6x6")


def test_the_film_ends_somewhere():
    with pytest.raises(ValueError, match="number is -3"):
        f.previous_label(f.parse_label("X"))
    with pytest.raises(ValueError, match="number is 100"):
        f.next_label(f.parse_label("99"))


@given(labels.filter(lambda one: -1 <= one.number <= 98), st.integers(1, 2))
def test_next_and_previous_undo_each_other(label, half_frames):
    assert f.previous_label(f.next_label(label, half_frames=half_frames), half_frames=half_frames) == label


def test_distances_along_the_film():
    # 36 frames of 38.0 mm are 1368 mm (arithmetic on the 4.750 mm pitch).
    assert f.distance_mm(f.parse_label("1"), f.parse_label("37")) == 1368.0
    assert f.distance_mm(f.parse_label("2"), f.parse_label("1A")) == -19.0


@pytest.mark.parametrize(
    ("mm", "label"), [(38.0, "11"), (-19.0, "9A"), (9.4, "10"), (9.6, "10A"), (-9.4, "10"), (-9.6, "9A"), (0, "10")]
)
def test_the_label_nearest_to_a_place(mm, label):
    assert str(f.label_near(f.parse_label("10"), mm)) == label


@given(labels, labels)
def test_the_label_at_a_labels_distance_is_that_label(a, b):
    assert f.label_near(a, f.distance_mm(a, b)) == b


def test_frames_between_labels():
    one, seven = f.parse_label("1"), f.parse_label("7")
    assert f.frames_between(one, seven) == 6
    assert f.frames_between(one, seven, format_key="half") == 12
    assert f.frames_between(one, f.parse_label("1A")) == 0.5


@pytest.mark.parametrize(
    ("written", "step"),
    [("1 2 3", 2), ("1A 2A 3A", 2), ("1 1A 2", 1), ("9 8 7", -2), ("1 2 4", None), ("5", None), ("5 5", None)],
)
def test_the_step_of_a_run_of_labels(written, step):
    assert f.sequence_step([f.parse_label(one) for one in written.split()]) == step
