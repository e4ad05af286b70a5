"""Output spaces against printed matrices, colour-science, and lcms2."""

import io
import warnings

import numpy as np
import pytest
from PIL import Image, ImageCms

from dryside.negatives.output_profiles import profile_of
from dryside.negatives.recipe import as_matrix
from dryside.negatives.rendering import encode
from dryside.negatives.roll import FrameSamples, recipe_for_roll
from dryside.negatives.spaces import ADOBE_RGB, DISPLAY_P3, SPACES, SRGB, print_rendering, scene_rendering

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    import colour

# As printed in IEC 61966-2-1 and in the Adobe RGB (1998) encoding.
PRINTED = {
    "sRGB": ([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]], 0.00006),
    "Adobe RGB (1998)": (
        [[0.57667, 0.18556, 0.18823], [0.29734, 0.62736, 0.07529], [0.02703, 0.07069, 0.99134]],
        # The printed matrix starts from a rounded white: derived, it differs in the fourth decimal.
        0.0002,
    ),
}


@pytest.mark.parametrize("name", PRINTED)
def test_matrices_are_those_printed(name):
    printed, tolerance = PRINTED[name]
    np.testing.assert_allclose(SPACES[name].to_xyz(), printed, atol=tolerance)


@pytest.mark.parametrize("space", [DISPLAY_P3, ADOBE_RGB])
def test_linear_srgb_goes_over_as_colour_science_takes_it(space):
    rgb = np.random.default_rng(1).uniform(0, 1, (20, 3))
    there = colour.RGB_to_RGB(rgb, "sRGB", space.name, chromatic_adaptation_transform=None)
    np.testing.assert_allclose(rgb @ space.from_linear_srgb().T, there, atol=3e-4)


def test_luminances_sum_to_one():
    for space in SPACES.values():
        assert sum(space.luminance()) == pytest.approx(1.0)


@pytest.mark.parametrize("space", [SRGB, DISPLAY_P3, ADOBE_RGB])
def test_lcms_reads_the_profile_as_the_colour_it_was_made_for(space):
    """Encode a few colours, hand them with the profile to lcms2, and compare its L*a*b* (D50) with colour-science's."""
    rgb = np.array([[0.18, 0.18, 0.18], [0.6, 0.2, 0.1], [0.1, 0.4, 0.2], [0.1, 0.15, 0.6], [0.9, 0.9, 0.9]])
    coded = (encode(space.transfer, rgb) * 255).round().astype(np.uint8)
    picture = Image.fromarray(coded[None])
    profile = ImageCms.ImageCmsProfile(io.BytesIO(profile_of(print_rendering(space))))
    to_lab = ImageCms.buildTransform(profile, ImageCms.createProfile("LAB"), "RGB", "LAB", renderingIntent=1)
    read = np.asarray(ImageCms.applyTransform(picture, to_lab))[0].astype(int)
    lab = np.stack([read[:, 0] / 2.55, (read[:, 1] ^ 128) - 128, (read[:, 2] ^ 128) - 128], axis=1)
    xyz = rgb @ space.to_xyz().T
    adapt = colour.adaptation.matrix_chromatic_adaptation_VonKries(
        colour.xy_to_XYZ((0.3127, 0.3290)), colour.xy_to_XYZ((0.3457, 0.3585)), "Bradford"
    )
    aim = colour.XYZ_to_Lab(xyz @ adapt.T, (0.3457, 0.3585))
    np.testing.assert_allclose(lab, aim, atol=1.6)


@pytest.mark.parametrize("space", [SRGB, DISPLAY_P3, ADOBE_RGB])
def test_a_rolls_recipes_end_in_the_primaries_of_the_space(space):
    frame = FrameSamples(np.random.default_rng(3).uniform(0.05, 0.5, (64, 96, 3)), None)
    plain, there = (
        recipe_for_roll([frame], process="c41", rendering=print_rendering(one)).recipes[0] for one in (SRGB, space)
    )
    moved = space.from_linear_srgb() @ np.asarray(plain.colour_matrix)
    np.testing.assert_allclose(np.asarray(there.colour_matrix), np.asarray(as_matrix(moved)), rtol=1e-9)


def test_a_scene_is_linear_srgb():
    assert scene_rendering().transfer == "linear"
    assert scene_rendering(2.0).full_scale == 2.0
