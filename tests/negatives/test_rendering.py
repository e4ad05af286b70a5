"""Scene light and prints."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dryside.negatives.rendering import PRINT, SCENE, Rendering, Tone, encode, render

# Values that colour-science prints for IEC 61966-2-1 and Adobe RGB (1998): 0.18 and the light of code one half.
PRINTED = [("srgb", 0.18, 0.461356), ("srgb", 0.214041, 0.5), ("adobe", 0.18, 0.458529)]
LIGHT = st.floats(0.0, 6.0)


@pytest.mark.parametrize(("transfer", "linear", "printed"), PRINTED)
def test_encodings_give_the_printed_codes(transfer, linear, printed):
    assert encode(transfer, linear) == pytest.approx(printed, abs=5e-6)


def test_an_unknown_encoding_is_refused():
    with pytest.raises(ValueError, match="transfer is 'gamma'; it must be 'linear', 'srgb' or 'adobe'"):
        encode("gamma", 0.5)


def test_a_scene_is_light_over_full_scale():
    np.testing.assert_allclose(render(SCENE, [[0.4, 1.0, 9.0]]), [[0.1, 0.25, 1.0]])


@given(st.floats(0.0, 30.0))
def test_a_grey_stays_grey_in_a_print(light):
    out = render(PRINT, np.full((1, 3), light))
    assert np.ptp(out) < 1e-9


@given(LIGHT, LIGHT, LIGHT)
def test_a_print_stays_inside_its_space_without_clipping_to_it(red, green, blue):
    rgb = np.array([[red, green, blue]])
    if rgb.max() < 0.01:
        return
    out = render(PRINT, rgb)
    assert out.min() >= 0
    assert out.max() <= 1


@given(LIGHT, LIGHT, LIGHT)
def test_a_print_keeps_hue(red, green, blue):
    """Offsets of the channels from grey keep their ratios: their order, and where the middle one lies."""
    rgb = np.array([red, green, blue]) + 0.02
    if np.ptp(rgb) < 0.05 * rgb.max():
        return
    plain = Rendering("print", "sRGB", PRINT.luminance, "linear", tone=PRINT.tone, chroma=PRINT.chroma)
    out = render(plain, rgb[None])[0]
    where = [(np.sort(x)[1] - x.min()) / np.ptp(x) for x in (rgb, out)]
    assert where[0] == pytest.approx(where[1], abs=1e-6)
    assert np.argmax(rgb) == np.argmax(out)


def test_the_tone_curve_rises_from_black_to_paper_white_and_keeps_a_grey_card():
    tone = Tone()
    light = np.logspace(-4, 2, 400)
    printed = tone(light)
    assert (np.diff(printed) > 0).all()
    assert printed[0] < 0.001
    assert 0.97 < printed[-1] < 1.0
    assert float(tone(0.18)) == pytest.approx(0.18)


def test_toe_and_shoulder_are_softer_than_the_middle():
    """Slope in stops of print to a stop of scene: steepest below a grey, gone at the top, as in paper."""
    light = 0.18 * 2.0 ** np.arange(-3, 6)
    slope = np.diff(np.log2(Tone()(light)))
    assert slope[2] > 1.1
    assert slope[-1] < 0.15
