"""What a picture is about, so far as pixels tell: a map of what stands out, and a box around most of it.

The map is the spectral residual: what is left of a picture's log spectrum after its smooth part is taken away stands
out from the rest of the picture; the smooth part is what all natural pictures share.

References
----------
X. Hou and L. Zhang, 'Saliency detection: a spectral residual approach', CVPR 2007: 64 pixels wide, 3 x 3 mean of the
log amplitude, squared magnitude smoothed by a Gaussian.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from dryside.prints.faces import Box

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    SalienceMap = NDArray[np.float64]

LOOKED_AT_PX = 64
SMOOTH_PX = 2.5
BOX_HOLDS = 0.9
"""Share of the salience that the subject's box holds along each side."""


def salience(picture: NDArray[np.uint8]) -> SalienceMap:
    """How much each part of a picture stands out.

    Parameters
    ----------
    picture : ndarray of shape (rows, columns, 3), uint8
        RGB.

    Returns
    -------
    ndarray of shape (r, c), float64
        0 and up, sum 1; the longer side is 64. An even picture gives an even map.
    """
    import cv2
    import numpy as np

    rows, columns = picture.shape[:2]
    scale = LOOKED_AT_PX / max(rows, columns)
    size = (max(8, round(columns * scale)), max(8, round(rows * scale)))
    small = cv2.resize(picture, size, interpolation=cv2.INTER_AREA)
    # Lightness and the two colour differences: a red sail on a green sea stands out by colour alone.
    lab = cv2.cvtColor(small, cv2.COLOR_RGB2LAB).astype(np.float64)
    total = np.sum([_residual(lab[..., channel]) for channel in range(3)], axis=0)
    even = np.full(total.shape, 1 / total.size)
    return np.asarray(total / total.sum() if total.sum() > 0 else even)


def _residual(channel: NDArray[np.float64]) -> SalienceMap:
    import cv2
    import numpy as np

    contrast = channel.std()
    if contrast < 1.0:  # less than one step of 255: nothing but noise
        return np.zeros(channel.shape)
    spectrum = np.fft.fft2(channel)
    log_amplitude = np.log(np.abs(spectrum) + 1e-9)
    rest = log_amplitude - cv2.blur(log_amplitude, (3, 3), borderType=cv2.BORDER_REFLECT)
    seen = np.abs(np.fft.ifft2(np.exp(rest + 1j * np.angle(spectrum)))) ** 2
    smooth = cv2.GaussianBlur(seen, (0, 0), SMOOTH_PX, borderType=cv2.BORDER_REFLECT)
    above = np.maximum(smooth - np.median(smooth), 0)
    return contrast * above / (above.sum() or 1.0)


def subject_box(salient: SalienceMap) -> Box:
    """The box that holds nine tenths of the salience along each side."""
    left, right = _middle(salient.sum(axis=0))
    top, bottom = _middle(salient.sum(axis=1))
    return Box(left, top, right, bottom)


def _middle(along: NDArray[np.float64]) -> tuple[float, float]:
    """From where to where along one side the middle share lies, as fractions of the side."""
    import numpy as np

    edges = np.concatenate([[0.0], np.cumsum(along)]) / along.sum()
    tail = (1 - BOX_HOLDS) / 2
    places = np.interp([tail, 1 - tail], edges, np.arange(len(edges))) / len(along)
    return float(places[0]), float(places[1])
