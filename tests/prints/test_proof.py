"""Soft proof: what a paper cannot show, held to colours of known place and to Little CMS's own gamut check."""

from pathlib import Path

import numpy as np
import pytest
from PIL import Image, ImageCms

from dryside.film.refusal import Refusal
from dryside.prints.colour import check_intent, check_profile, convert, profile_of, to_lab
from dryside.prints.proof import draw_map, soft_proof

SRGB, P3 = profile_of("srgb"), profile_of("display-p3")
# L*a*b* (D50) of sRGB's primaries through the ICC profile of the colour space, as widely published, rounded.
LAB_OF_SRGB = {
    (255, 0, 0): (54, 81, 70),
    (0, 255, 0): (88, -79, 81),
    (0, 0, 255): (30, 68, -112),
    (255, 255, 255): (100, 0, 0),
}
PATCHES = np.array([[[255, 0, 0], [0, 255, 0], [200, 120, 90], [128, 128, 128], [255, 255, 255], [0, 0, 0]]], np.uint8)
PRESS = Path("/usr/share/color/icc/ghostscript/default_cmyk.icc")  # of Debian's libgs-common


@pytest.mark.parametrize(("rgb", "lab"), LAB_OF_SRGB.items())
def test_lab_of_the_primaries_is_as_published(rgb, lab):
    assert to_lab(np.array([[rgb]], np.uint8), SRGB)[0, 0] == pytest.approx(lab, abs=1)


def test_only_what_lies_outside_the_papers_space_is_marked():
    assert soft_proof(PATCHES, P3, SRGB).out_of_gamut[0].tolist() == [True, True, False, False, False, False]
    inside = soft_proof(PATCHES, SRGB, P3)
    assert not inside.out_of_gamut.any()
    assert inside.words == "the paper shows every colour of the picture"
    assert np.abs(inside.shown.astype(int) - PATCHES).max() <= 2


def test_the_words_and_the_map_say_how_much():
    proof = soft_proof(PATCHES, P3, SRGB)
    assert proof.words.startswith("33.3 % of the picture has colours that the paper cannot show")
    drawn = draw_map(proof)
    assert drawn.shape == PATCHES.shape
    assert np.ptp(drawn[0, 3]) == 0  # grey where it is shown


@pytest.mark.skipif(not PRESS.is_file(), reason="no press profile on this machine (Debian's libgs-common)")
def test_a_press_profile_agrees_with_little_cms_about_its_gamut():
    levels = np.linspace(0, 255, 9).astype(np.uint8)
    cube = np.stack(np.meshgrid(levels, levels, levels), axis=-1).reshape(27, 27, 3)
    paper = profile_of(str(PRESS))
    ours = soft_proof(cube, SRGB, paper).out_of_gamut
    opened = [ImageCms.ImageCmsProfile(str(PRESS)), ImageCms.createProfile("sRGB")]
    flags = ImageCms.Flags.SOFTPROOFING | ImageCms.Flags.GAMUTCHECK
    transform = ImageCms.buildProofTransform(
        opened[1],
        opened[1],
        opened[0],
        "RGB",
        "RGB",
        ImageCms.Intent.RELATIVE_COLORIMETRIC,
        ImageCms.Intent.RELATIVE_COLORIMETRIC,
        flags,
    )
    checked = np.asarray(ImageCms.applyTransform(Image.fromarray(cube), transform))
    alarm = (checked == (127, 127, 127)).all(axis=-1) & ~(cube == 127).all(axis=-1)  # Little CMS's own alarm colour
    agreeing = (ours == alarm).mean()
    assert 0.2 < alarm.mean() < 0.8
    assert agreeing > 0.85  # its threshold is another, so colours at the very edge differ


def duller_paper():
    """sRGB on a paper that sends back 80 % of the light: its media white (tag 'wtpt' of ICC.1) is scaled down."""
    data = bytearray(SRGB.data)
    entry = data.index(b"wtpt")
    place = int.from_bytes(data[entry + 4 : entry + 8], "big")
    for at in range(place + 8, place + 20, 4):
        data[at : at + 4] = int(int.from_bytes(data[at : at + 4], "big") * 0.8).to_bytes(4, "big")
    return check_profile(bytes(data), "duller paper")


def test_the_papers_own_white_is_shown_when_asked_for():
    white = np.full((4, 4, 3), 255, np.uint8)
    paper = duller_paper()
    assert soft_proof(white, SRGB, paper).shown.min() >= 253
    # 80 % of the light is sRGB 231 of 255 (IEC 61966-2-1: 1.055 * 0.8 ** (1 / 2.4) - 0.055).
    assert soft_proof(white, SRGB, paper, paper_white=True).shown.astype(int) == pytest.approx(231, abs=2)


@pytest.mark.skipif(not PRESS.is_file(), reason="no press profile on this machine (Debian's libgs-common)")
def test_a_press_profile_takes_four_inks():
    assert convert(PATCHES, SRGB, profile_of(str(PRESS))).shape == (1, 6, 4)


def test_an_intent_that_is_none_is_refused():
    assert check_intent(" Perceptual ") == "perceptual"
    with pytest.raises(Refusal, match="no rendering intent"):
        check_intent("vivid")
