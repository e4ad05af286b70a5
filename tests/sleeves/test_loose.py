"""A loose strip: told by what its frames show and by its edge, on drawn captures of real photographs."""

from datetime import date

import cv2
import numpy as np
import pytest
import tifffile

from dryside.book.files import keep_original
from dryside.book.frames import list_frames
from dryside.book.journey import RollState
from dryside.book.rows import insert
from dryside.book.schema import scans, stocks
from dryside.demo.simulator import Camera, Placed, draw_capture, lay_out
from dryside.film.refusal import Refusal
from dryside.sleeves.glance import GlanceCache, glance_at
from dryside.sleeves.loose import Guess, LooseFrame, LooseStrip, place_strip, verdict
from dryside.sleeves.shoebox import frame_labels, gather, look, read_loose_strip, start_roll

LYING = (1, 3, 5, 7, 11, 13, 15, 21, 23)


def read(path):
    return cv2.cvtColor(cv2.imread(str(path)), cv2.COLOR_BGR2RGB)


def as_a_lab_scans(picture, seed):
    """The same view as a lab would deliver it: cropped, other colours and contrast, grainy."""
    rng = np.random.default_rng(seed)
    rows, columns = picture.shape[:2]
    cut = (
        picture[int(rows * 0.02) : int(rows * 0.97), int(columns * 0.015) : int(columns * 0.98)].astype(np.float32)
        / 255
    )
    toned = np.clip(cut * rng.uniform(0.8, 1.15, 3) + rng.uniform(-0.05, 0.05), 0, 1) ** rng.uniform(0.75, 1.3)
    return np.clip(255 * toned + rng.normal(0, 5, cut.shape), 0, 255).astype(np.uint8)


@pytest.fixture
def shelf_of(book, make_roll, photographs, tmp_path):
    """Rolls whose frames have a lab's scans of the numbered photographs; `None` for a frame without a picture."""

    def make(numbers, *, stock_id=None, first=1):
        roll = make_roll(len(numbers), first=first, stock_id=stock_id)
        with book.read() as conn:
            frames = list_frames(conn, roll.id)
        for frame, number in zip(frames, numbers, strict=True):
            if number is None:
                continue
            path = tmp_path / f"{roll.code}-{frame.label}.png"
            cv2.imwrite(str(path), as_a_lab_scans(read(photographs[number]), number + roll.id)[..., ::-1])
            kept = keep_original(book, path, kind="scan")
            with book.write() as conn:
                values = {"file_id": kept.id, "roll_id": roll.id, "frame_id": frame.id, "sequence": 0, "origin": "lab"}
                insert(conn, scans, {**values, "name": path.name, "state": "sure"})
        return roll

    return make


def guesses(book, strip):
    with book.read() as conn:
        shelf = gather(book, conn)
    return place_strip(strip, shelf.rolls, shelf.frames, look)


def loose(photographs, numbers, labels=None, stock=None):
    labels = labels or [None] * len(numbers)
    return LooseStrip(
        tuple(LooseFrame(label, read(photographs[n])) for n, label in zip(numbers, labels, strict=True)), stock
    )


def scene_light(picture):
    return ((picture.astype(np.float32) / 255) ** 2.2 * 0.9).astype(np.float32)


@pytest.mark.real
def test_a_capture_of_a_strip_finds_its_roll_and_its_frames(book, shelf_of, photographs, tmp_path):
    with book.write() as conn:
        stock = insert(conn, stocks, {"name": "Tern 200", "process": "c41", "kind": "colour negative", "iso": 200,
                                      "dx_part1": 36, "dx_part2": 2})  # fmt: skip
    shelf_of([7, 23, 1])
    roll = shelf_of([3, 5, 11, 13, 15, 21], stock_id=stock, first=9)
    strip = lay_out([scene_light(read(photographs[n])) for n in (11, 13, 15)], first_number=11, stock_number="36-2")
    camera = Camera(rows=900, columns=2640, pixels_per_mm=20.0)
    path = tmp_path / "shoebox.tif"
    tifffile.imwrite(path, draw_capture(Placed(strip, tilt_degrees=1.0), camera, seed=3).pixels, photometric="rgb")
    seen = read_loose_strip(path, process="c41", format="135")
    assert seen.stock_number == "36-2"
    found = guesses(book, seen)
    assert (found[0].code, found[0].labels, verdict(found)) == (roll.code, ("11", "12", "13"), "found")
    assert found[0].confidence >= 0.95
    assert "the numbers on the edge are those of the log" in found[0].reasons
    assert "the edge code 36-2 is that of the roll's stock" in found[0].reasons


@pytest.mark.real
def test_a_strip_of_no_roll_is_not_forced_onto_one(book, shelf_of, photographs):
    shelf_of([1, 3, 5, 7, 11])
    found = guesses(book, loose(photographs, [13, 15, 21, 23]))
    assert verdict(found) == "none"


@pytest.mark.real
def test_a_strip_laid_the_wrong_way_round_or_over_is_known_all_the_same(book, shelf_of, photographs):
    roll = shelf_of([1, 3, 5, 7, 11, 13])
    strip = LooseStrip(
        tuple(LooseFrame(None, np.ascontiguousarray(read(photographs[n])[::-1, ::-1])) for n in (11, 7, 5)), None
    )
    found = guesses(book, strip)
    assert (found[0].code, found[0].labels, verdict(found)) == (roll.code, ("5", "4", "3"), "found")
    over = LooseStrip(
        tuple(LooseFrame(None, np.ascontiguousarray(read(photographs[n])[:, ::-1])) for n in (5, 7)), None
    )
    assert guesses(book, over)[0].labels == ("3", "4")


@pytest.mark.real
def test_frames_without_a_picture_of_their_own_are_placed_by_their_neighbours(book, shelf_of, photographs):
    roll = shelf_of([1, 3, None, 7, 11])
    found = guesses(book, loose(photographs, [3, 21, 7]))
    assert (found[0].code, found[0].labels, found[0].matched) == (roll.code, ("2", "3", "4"), 2)


@pytest.mark.real
def test_another_stock_on_the_edge_makes_it_doubtful(book, shelf_of, photographs):
    with book.write() as conn:
        stock = insert(conn, stocks, {"name": "Tern 200", "process": "c41", "kind": "colour negative", "iso": 200,
                                      "dx_part1": 36, "dx_part2": 2})  # fmt: skip
    shelf_of([1, 3, 5], stock_id=stock)
    found = guesses(book, loose(photographs, [1, 3, 5], ["1", "2", "3"], "81-7"))
    assert verdict(found) == "asked"
    assert "against it: the edge code is 81-7, the roll's stock has 36-2" in found[0].reasons


@pytest.mark.real
def test_two_rolls_of_the_same_pictures_are_asked_about(book, shelf_of, photographs):
    shelf_of([1, 3, 5, 7])
    shelf_of([1, 3, 5, 7])
    found = guesses(book, loose(photographs, [1, 3, 5]))
    assert verdict(found) == "asked"
    assert len(found) >= 2


def test_glances_are_kept_until_the_picture_changes(tmp_path):
    path = tmp_path / "quay.png"
    cv2.imwrite(str(path), np.random.default_rng(1).integers(0, 255, (90, 120, 3), dtype=np.uint8))
    taken = []

    def take(picture):
        taken.append(picture)
        return glance_at(read(picture))

    for _ in range(2):
        cache = GlanceCache(tmp_path / "glances.npz")
        first = cache.get(path, take)
        cache.save()
    assert len(taken) == 1
    assert np.abs(first.grid - glance_at(read(path)).grid).max() < 1e-3
    cv2.imwrite(str(path), np.zeros((90, 121, 3), np.uint8))
    assert not GlanceCache(tmp_path / "glances.npz").get(path, take).grid.any()
    assert len(taken) == 2
    (tmp_path / "glances.npz").write_bytes(b"broken")
    assert GlanceCache(tmp_path / "glances.npz").get(path, take) is not None
    assert GlanceCache(tmp_path / "glances.npz").get(tmp_path / "gone.png", take) is None


def guess(confidence, matched):
    return Guess(1, "26-001-N", confidence, ("1", "2", "3"), matched, ())


@pytest.mark.parametrize(
    ("guesses", "expected"),
    [
        ([], "none"),
        ([guess(0.3, 1)], "none"),
        ([guess(0.5, 1)], "asked"),
        ([guess(0.95, 3)], "found"),
        ([guess(0.95, 3), guess(0.9, 3)], "asked"),
        ([guess(0.95, 3), guess(0.9, 1)], "found"),
        ([guess(0.95, 1), guess(0.9, 1)], "asked"),
        ([guess(0.95, 3), guess(0.3, 3)], "found"),
    ],
)
def test_a_strip_is_found_only_where_no_other_roll_comes_near(guesses, expected):
    assert verdict(guesses) == expected


def plain_strip(labels, stock=None):
    grey = np.random.default_rng(5).integers(0, 255, (200, 300, 3)).astype(np.uint8)
    return LooseStrip(tuple(LooseFrame(label, grey) for label in labels), stock)


def test_the_edge_alone_makes_a_weak_guess_that_is_not_acted_upon(book, make_roll):
    with book.write() as conn:
        stock = insert(conn, stocks, {"name": "Tern 200", "process": "c41", "kind": "colour negative", "iso": 200,
                                      "dx_part1": 36, "dx_part2": 2})  # fmt: skip
    roll = make_roll(12, stock_id=stock)
    found = guesses(book, plain_strip(["5", "6"], "36-2"))
    assert (found[0].code, found[0].reasons) == (roll.code, ("only the edge tells: 36-2, frames 5, 6",))
    assert verdict(found) == "none"


def test_a_strip_that_belongs_to_no_roll_starts_one(book):
    with book.write() as conn:
        stock = insert(conn, stocks, {"name": "Tern 200", "process": "c41", "kind": "colour negative", "iso": 200,
                                      "dx_part1": 36, "dx_part2": 2})  # fmt: skip
        roll = start_roll(
            conn, plain_strip(["5A", None, "7A"], "36-2"), process="c41", format="135", on=date(2026, 6, 1)
        )
        labels = [frame.label for frame in list_frames(conn, roll.id)]
    assert (roll.stock_id, roll.place, roll.title, labels) == (
        stock,
        RollState.NEGATIVES_BACK,
        "found loose",
        ["5A", "6A", "7A"],
    )


@pytest.mark.parametrize(
    ("read_labels", "expected"),
    [
        ([None, None], ["1", "2"]),
        (["12", None, None], ["12", "13", "14"]),
        ([None, "12"], ["11", "12"]),
        (["7", None, "5"], ["7", "6", "5"]),
        (["3", "3A", None], ["3", "3A", "4"]),
        (["4", "4"], ["1", "2"]),
        ([None, None, None, "X"], ["1", "2", "3", "4"]),
    ],
)
def test_frames_without_a_read_number_are_counted_from_their_neighbours(read_labels, expected):
    assert frame_labels(plain_strip(read_labels)) == expected


def test_a_strip_without_frames_and_a_capture_without_film_are_refused(tmp_path):
    with pytest.raises(Refusal, match="no frame was found on it"):
        place_strip(LooseStrip((), None), [], [], look)
    path = tmp_path / "nothing.tif"
    tifffile.imwrite(path, np.full((400, 600, 3), 40000, np.uint16), photometric="rgb")
    with pytest.raises(Refusal, match=r"nothing\.tif: nothing but even light"):
        read_loose_strip(path, process="c41", format="135")
