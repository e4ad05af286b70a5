import numpy as np
import pytest

from dryside.negatives.frame_view import frame_view
from dryside.negatives.resample_kernel import straighten_rows, straighten_steep_rows

SIZE = 512
PERIOD_PX = 24


def wave(x, y, direction=0.3):
    return 32768 + 24000 * np.sin(2 * np.pi * (x * np.cos(direction) + y * np.sin(direction)) / PERIOD_PX)


def turned(degrees, dx=0.0, dy=0.0, inset=60):
    """Corners of a square frame in the middle of a SIZE x SIZE capture."""
    half = SIZE / 2 - inset
    t = np.radians(degrees)
    square = np.array([[-half, -half], [half, -half], [half, half], [-half, half]])
    return square @ np.array([[np.cos(t), np.sin(t)], [-np.sin(t), np.cos(t)]]) + np.array(
        [SIZE / 2 + dx, SIZE / 2 + dy]
    )


def straighten(capture, view, function=straighten_rows):
    out = np.empty((view.rows, view.columns, 3), np.uint16)
    function(capture.reshape(len(capture), -1), 0, 0, view.matrix, 0, view.reverse_x, out.reshape(len(out), -1))
    return out


def positions(view):
    r, c = np.mgrid[0 : view.rows, 0 : view.columns]
    p = np.stack([c, r, np.ones_like(c)], -1) @ view.matrix.T
    return p[..., 0] / p[..., 2], p[..., 1] / p[..., 2]


def drawn(function):
    y, x = np.mgrid[0:SIZE, 0:SIZE].astype(float)
    return np.repeat(np.rint(function(x, y)).astype(np.uint16)[..., None], 3, axis=2)


@pytest.mark.parametrize("degrees", [0.0, 0.7, -2.5, 8.0, -14.0])
@pytest.mark.parametrize("shift", [0.013, 0.26, 0.5, 0.77])
def test_a_sinusoid_is_where_it_should_be_to_ten_levels(degrees, shift):
    view = frame_view(turned(degrees, shift, shift * 0.6))
    x, y = positions(view)
    assert np.abs(straighten(drawn(wave), view)[..., 1] - wave(x, y)).max() <= 10


@pytest.mark.parametrize("degrees", [25.0, 44.0])
def test_steep_frames_are_as_exact(degrees):
    view = frame_view(turned(degrees, 0.3, 0.1, inset=110))
    x, y = positions(view)
    assert np.abs(straighten(drawn(wave), view, straighten_steep_rows)[..., 1] - wave(x, y)).max() <= 10


def test_keystone_is_followed():
    corners = turned(1.0) + np.array([[0, 0], [9, -6], [-4, 5], [3, 2]])
    view = frame_view(corners)
    x, y = positions(view)
    assert np.abs(straighten(drawn(wave), view)[..., 0] - wave(x, y)).max() <= 10


def test_another_position_would_be_seen():
    view = frame_view(turned(0.7))
    x, y = positions(view)
    assert np.abs(straighten(drawn(wave), view)[..., 0] - wave(x + 0.01, y)).max() > 10


def test_an_even_capture_stays_even():
    view = frame_view(turned(3.0, 0.4, 0.2))
    even = np.full((SIZE, SIZE, 3), 23456, np.uint16)
    assert np.abs(straighten(even, view).astype(int) - 23456).max() <= 1


def edge_spread(picture, slope):
    """MTF by a slanted edge (the method of ISO 12233): (frequencies in cycles a pixel, modulation)."""
    rows, columns = picture.shape
    y, x = np.mgrid[0:rows, 0:columns]
    distance = ((x - columns / 2) - (y - rows / 2) * slope) / np.hypot(1, slope)
    bins = np.round(distance * 4).astype(int)
    near = np.abs(bins) <= 4 * 30
    total = np.bincount(bins[near] + 120, picture[near], 241)
    spread = total / np.bincount(bins[near] + 120, minlength=241)
    line = np.diff(spread) * np.hamming(240)
    modulation = np.abs(np.fft.rfft(line, 4096))
    # Four bins to a pixel, and the difference of neighbouring bins has a known response of its own.
    f = np.fft.rfftfreq(4096) * 4
    own = np.sinc(f / 4)
    return f, modulation / modulation[0] / own


def test_sharpness_is_kept_to_three_percent_at_half_the_nyquist_frequency():
    # An edge as a good lens and sensor give it: a Gaussian of 0.45 px (MTF 0.45 at Nyquist), slanted by 5 degrees.
    from scipy.special import erf

    slant = np.tan(np.radians(5.0))

    def edge(x, y, turn=0.0):
        t = np.radians(turn)
        u, v = x - SIZE / 2, y - SIZE / 2
        a, b = u * np.cos(t) + v * np.sin(t), -u * np.sin(t) + v * np.cos(t)
        return 8000 + 25000 * (1 + erf((a - b * slant) / np.hypot(1, slant) / (0.45 * np.sqrt(2))))

    view = frame_view(turned(1.3, 0.37, 0.21))
    x, y = positions(view)
    exact = edge(x, y, turn=1.3)
    resampled = straighten(drawn(lambda a, b: edge(a, b, turn=1.3)), view)[..., 1].astype(float)
    f, before = edge_spread(exact, slant)
    _, after = edge_spread(resampled, slant)
    half_nyquist = np.argmin(np.abs(f - 0.25))
    assert after[half_nyquist] / before[half_nyquist] == pytest.approx(1.0, abs=0.03)


def test_the_edge_method_sees_a_loss_where_there_is_one():
    import cv2
    from scipy.special import erf

    slant = np.tan(np.radians(5.0))
    y, x = np.mgrid[0:SIZE, 0:SIZE].astype(float)
    sharp = erf(((x - SIZE / 2) - (y - SIZE / 2) * slant) / np.hypot(1, slant) / (0.45 * np.sqrt(2)))
    turn = cv2.getRotationMatrix2D((256, 256), 0.0, 1) + np.array([[0, 0, 0.5], [0, 0, 0.5]])
    soft = cv2.warpAffine(sharp, turn, (SIZE, SIZE), flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    f, before = edge_spread(sharp, slant)
    _, after = edge_spread(soft, slant)
    at = np.argmin(np.abs(f - 0.25))
    assert after[at] / before[at] < 0.8
