"""What stands out, and faces: on drawn pictures of known truth and on real photographs."""

import cv2
import numpy as np
import pytest
from skimage.data import astronaut, lfw_subset

from dryside.prints.faces import find_faces
from dryside.prints.subject import salience, subject_box


def read(path):
    return cv2.cvtColor(cv2.imread(str(path)), cv2.COLOR_BGR2RGB)


@pytest.mark.parametrize(("row", "column"), [(60, 80), (300, 500), (200, 300)])
def test_a_lone_thing_on_an_even_ground_is_the_subject(row, column):
    noise = np.random.default_rng(7).integers(0, 12, (400, 600, 1))
    picture = (np.full((400, 600, 3), 120) + noise).astype(np.uint8)
    cv2.circle(picture, (column, row), 25, (230, 60, 40), -1)
    box = subject_box(salience(picture))
    assert box.left < column / 600 < box.right
    assert box.top < row / 400 < box.bottom
    assert (box.right - box.left) * (box.bottom - box.top) < 0.5


def test_an_even_picture_has_an_even_map():
    even = salience(np.full((300, 200, 3), 128, np.uint8))
    assert even.shape == (64, 43)
    assert np.ptp(even) == 0
    assert even.sum() == pytest.approx(1)


# Where the person's face lies in photograph 15, as a person reads it off the picture: brow, chin, ears, in pixels.
FACE_15 = (430, 60, 690, 400)


@pytest.mark.real
def test_a_face_is_found_where_it_is(photographs):
    found = find_faces(read(photographs[15]))
    assert len(found) == 1
    box = found[0].box
    shared = max(0, min(box.right * 768, FACE_15[2]) - max(box.left * 768, FACE_15[0])) * max(
        0, min(box.bottom * 512, FACE_15[3]) - max(box.top * 512, FACE_15[1])
    )
    assert shared > 0.8 * (FACE_15[2] - FACE_15[0]) * (FACE_15[3] - FACE_15[1])


@pytest.mark.real
def test_a_face_is_found_smaller_and_bigger_alike(photographs):
    picture = read(photographs[15])
    for scale in (0.4, 3.0):
        found = find_faces(cv2.resize(picture, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA))
        assert [round(face.box.left, 1) for face in found] == [0.5]


@pytest.mark.real
@pytest.mark.parametrize("number", [1, 3, 5, 7, 9, 11, 13, 19, 21, 23])
def test_houses_boats_helmets_leaves_and_parrots_have_no_face(photographs, number):
    assert find_faces(read(photographs[number])) == ()


@pytest.mark.real
def test_a_face_of_stone_is_a_face(photographs):
    (face,) = find_faces(read(photographs[17]))
    assert face.box.left < 0.44 < face.box.right
    assert face.box.top < 0.28 < face.box.bottom


def test_faces_of_an_open_collection_are_found_and_its_pieces_of_scenery_are_not():
    """Labeled Faces in the Wild (Huang et al. 2007), the cut-outs that scikit-image ships: 100 faces, 100 not."""
    found = []
    for cut in lfw_subset()[::2]:
        picture = np.full((180, 180), 255 * cut.mean(), np.uint8)
        picture[40:140, 40:140] = cv2.resize((cut * 255).astype(np.uint8), (100, 100), interpolation=cv2.INTER_CUBIC)
        found.append(bool(find_faces(np.repeat(picture[..., None], 3, axis=2))))
    assert sum(found[:50]) >= 47
    assert sum(found[50:]) == 0


@pytest.mark.parametrize("degrees", [-25, -12, 0, 12, 25])
def test_a_leaning_head_is_found_once(degrees):
    picture = astronaut()
    matrix = cv2.getRotationMatrix2D((256, 256), degrees, 1)
    assert len(find_faces(cv2.warpAffine(picture, matrix, (512, 512), borderMode=cv2.BORDER_REFLECT))) == 1


def test_a_picture_of_nothing_has_no_face():
    assert find_faces(np.zeros((8, 8, 3), np.uint8)) == ()
    assert find_faces(np.random.default_rng(1).integers(0, 255, (200, 300, 3), dtype=np.uint8)) == ()
