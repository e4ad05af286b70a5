"""Faces in a picture, so that no crop goes through one. OpenCV's network module runs a published three-stage detector.

A first small network looks at the whole picture at many sizes and finds what may be a face; two larger ones look at
each candidate again and mend its box. Frontal and half-turned faces down to a fortieth of the picture are found;
profiles and the backs of heads are not.

References
----------
K. Zhang, Z. Zhang, Z. Li, Y. Qiao, 'Joint face detection and alignment using multitask cascaded convolutional
networks', IEEE Signal Processing Letters 23(10), 2016. Stage thresholds, pyramid step and overlaps are the paper's.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from pathlib import Path
from threading import Lock
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Boxes = NDArray[np.float64]  # (n, 5): left, top, right, bottom, score

MODELS = Path(__file__).parent / "models"
LOOKED_AT_PX = 960
SMALLEST_FACE_PX = 24
PYRAMID_STEP = 0.709
STAGES = (0.6, 0.7)
SURE_ENOUGH = 0.9
"""Score of the last stage from which a candidate counts as a face. A face cropped is worse than a border too many."""
SECOND_LOOK = 0.4
"""Score that a candidate must have in every look from another distance and mirrored: a face stays one, a shape that
happens to look like one does not."""
_DISTANCES = (1.0, 1.15, 0.9)
_CELL_PX, _STRIDE_PX = 12, 2
_LAST_PX, _LAST_OUTPUTS = 48, ("dense_5", "dense_6", "softmax_2")
_one_at_a_time = Lock()


@dataclass(frozen=True)
class Box:
    """A rectangle in fractions of the picture's width and height, 0 at its left and top."""

    left: float
    top: float
    right: float
    bottom: float

    def grown(self, share: float) -> Box:
        """The box with `share` of its width and height added on each side, within the picture."""
        x, y = share * (self.right - self.left), share * (self.bottom - self.top)
        return Box(max(0.0, self.left - x), max(0.0, self.top - y), min(1.0, self.right + x), min(1.0, self.bottom + y))


@dataclass(frozen=True)
class Face:
    """A face: where it is, and how sure the detector is, 0 to 1."""

    box: Box
    score: float


def find_faces(picture: NDArray[np.uint8]) -> tuple[Face, ...]:
    """Find faces.

    Parameters
    ----------
    picture : ndarray of shape (rows, columns, 3), uint8
        RGB, upright. It is looked at with a longer side of 960 pixels at most.

    Returns
    -------
    tuple of Face
        The surest first. Boxes may reach a little less far than hair and chin: grow them before cropping.
    """
    import cv2
    import numpy as np

    rows, columns = picture.shape[:2]
    scale = min(1.0, LOOKED_AT_PX / max(rows, columns))
    size = (max(1, round(columns * scale)), max(1, round(rows * scale)))
    small = cv2.resize(picture, size, interpolation=cv2.INTER_AREA).astype(np.float32)
    boxes = _candidates(small)
    for network, side, threshold, outputs in (
        ("rnet", 24, STAGES[1], ("dense_2", "softmax_1")),
        ("onet", _LAST_PX, SURE_ENOUGH, _LAST_OUTPUTS),
    ):
        boxes = _refine(small, _squares(boxes), network, side, threshold, outputs)
    boxes = _held_up(small, _without_overlaps(boxes, 0.7, smaller=True))
    width, height = size
    return tuple(
        Face(
            Box(*(float(np.clip(v, 0, 1)) for v in (b[0] / width, b[1] / height, b[2] / width, b[3] / height))),
            float(b[4]),
        )
        for b in boxes
    )


@cache
def _network(name: str) -> Any:
    import cv2

    return cv2.dnn.readNetFromONNX(str(MODELS / f"{name}.onnx"))


def _forward(name: str, pixels: NDArray[Any], outputs: tuple[str, ...]) -> list[NDArray[Any]]:
    """Run a network; pictures go in as (picture, column, row, colour), as it was trained."""
    with _one_at_a_time:  # a network holds its input
        network = _network(name)
        network.setInput((pixels - 127.5) / 128.0)
        return list(network.forward(list(outputs)))


def _candidates(picture: NDArray[Any]) -> Boxes:
    """Boxes that may hold a face, at all sizes, from the small network slid over the picture."""
    import cv2
    import numpy as np

    found = [np.zeros((0, 5))]
    scale = _CELL_PX / SMALLEST_FACE_PX
    while min(picture.shape[:2]) * scale >= _CELL_PX:
        size = (int(np.ceil(picture.shape[1] * scale)), int(np.ceil(picture.shape[0] * scale)))
        small = cv2.resize(picture, size, interpolation=cv2.INTER_AREA)
        shifts, scores = _forward("pnet", small[None].transpose(0, 2, 1, 3), ("conv2d_4", "softmax"))
        found.append(_without_overlaps(_boxes_of_map(scores[0, :, :, 1], shifts[0], scale), 0.5))
        scale *= PYRAMID_STEP
    return _without_overlaps(np.concatenate(found), 0.7)


def _boxes_of_map(scores: NDArray[Any], shifts: NDArray[Any], scale: float) -> Boxes:
    """Boxes in picture pixels from a map of scores (column, row) and their corrections."""
    import numpy as np

    x, y = np.nonzero(scores >= STAGES[0])
    left, top = (_STRIDE_PX * x + 1) / scale, (_STRIDE_PX * y + 1) / scale
    side = (_CELL_PX - 1) / scale
    raw = np.stack([left, top, left + side, top + side], axis=1)
    return np.column_stack([raw + shifts[x, y] * side, scores[x, y]])


def _refine(
    picture: NDArray[Any], boxes: Boxes, network: str, side: int, threshold: float, outputs: tuple[str, ...]
) -> Boxes:
    """Look at each candidate again: keep the sure ones, move their edges."""
    import numpy as np

    if not len(boxes):
        return boxes
    cut = np.stack([_cut_out(picture, box, side) for box in boxes])
    shifts, *_, scores = _forward(network, cut.transpose(0, 2, 1, 3), outputs)  # between them: eyes, nose, mouth
    sure = scores[:, 1] > threshold
    sides = (boxes[:, 2:4] - boxes[:, 0:2])[sure]
    moved = boxes[sure, :4] + shifts[sure] * np.tile(sides, 2)
    return _without_overlaps(np.column_stack([moved, scores[sure, 1]]), 0.7)


def _held_up(picture: NDArray[Any], boxes: Boxes) -> Boxes:
    """Of the last stage's boxes those that look like a face from nearer and farther too, and mirrored."""
    import numpy as np

    if not len(boxes):
        return boxes
    squares = _squares(boxes)
    centres, half = (squares[:, 0:2] + squares[:, 2:4]) / 2, (squares[:, 2:4] - squares[:, 0:2]) / 2
    least = np.ones(len(boxes))
    for distance in _DISTANCES:
        around = np.column_stack([centres - half * distance, centres + half * distance])
        cut = np.stack([_cut_out(picture, box, _LAST_PX) for box in around])
        for seen in (cut, cut[:, :, ::-1]):
            scores = _forward("onet", np.ascontiguousarray(seen).transpose(0, 2, 1, 3), _LAST_OUTPUTS)[-1]
            least = np.minimum(least, scores[:, 1])
    return np.asarray(boxes[least >= SECOND_LOOK])


def _cut_out(picture: NDArray[Any], box: NDArray[Any], side: int) -> NDArray[Any]:
    """The picture in a box, black beyond the picture's edge, at the network's size."""
    import cv2
    import numpy as np

    left, top, right, bottom = (int(v) for v in box[:4])
    out = np.zeros((max(1, bottom - top), max(1, right - left), 3), np.float32)
    x0, y0, x1, y1 = max(left, 0), max(top, 0), min(right, picture.shape[1]), min(bottom, picture.shape[0])
    if x1 > x0 and y1 > y0:
        out[y0 - top : y1 - top, x0 - left : x1 - left] = picture[y0:y1, x0:x1]
    return np.asarray(cv2.resize(out, (side, side), interpolation=cv2.INTER_AREA))


def _squares(boxes: Boxes) -> Boxes:
    """Boxes made square about their centres."""
    import numpy as np

    centres = (boxes[:, 0:2] + boxes[:, 2:4]) / 2
    half = (boxes[:, 2:4] - boxes[:, 0:2]).max(axis=1, initial=0)[:, None] / 2
    return np.column_stack([centres - half, centres + half, boxes[:, 4]])


def _without_overlaps(boxes: Boxes, most: float, *, smaller: bool = False) -> Boxes:
    """Of boxes that overlap by more than `most` (of their union, or of the smaller one), the surest, surest first."""
    import numpy as np

    order = np.argsort(-boxes[:, 4], kind="stable")
    area = np.prod(boxes[:, 2:4] - boxes[:, 0:2], axis=1)
    kept = []
    while len(order):
        best, rest = order[0], order[1:]
        kept.append(best)
        low = np.maximum(boxes[best, 0:2], boxes[rest, 0:2])
        high = np.minimum(boxes[best, 2:4], boxes[rest, 2:4])
        shared = np.prod(np.maximum(high - low, 0), axis=1)
        whole = np.minimum(area[best], area[rest]) if smaller else area[best] + area[rest] - shared
        order = rest[shared <= most * whole]
    return boxes[kept]
