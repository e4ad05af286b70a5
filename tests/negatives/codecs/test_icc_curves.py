import io

import numpy as np
import pytest
from PIL import Image, ImageCms

from dryside.negatives.codecs.icc_curves import is_linear, read_curves
from dryside.negatives.codecs.icc_write import rgb_profile
from dryside.negatives.output_profiles import icc_profile
from dryside.negatives.spaces import SPACES

OURS = [("sRGB", "srgb"), ("Display P3", "srgb"), ("Adobe RGB (1998)", "adobe"), ("linear sRGB", "linear")]


def lab_by_lcms(profile, samples):
    """Lab of 8-bit samples by Little CMS, the reference implementation of ICC profiles."""
    source = ImageCms.ImageCmsProfile(io.BytesIO(profile))
    lab = ImageCms.createProfile("LAB")
    transform = ImageCms.buildTransform(
        source, lab, "RGB", "LAB", renderingIntent=ImageCms.Intent.RELATIVE_COLORIMETRIC
    )
    seen = np.asarray(ImageCms.applyTransform(Image.fromarray(samples), transform)).astype(float)
    return seen[..., 0] * 100 / 255, (seen[..., 1:] + 128) % 256 - 128


@pytest.mark.parametrize(("space", "transfer"), OURS)
def test_little_cms_reads_our_profiles_as_the_space_they_name(space, transfer):
    # Below code 32 the eight bits that lcms works in are too coarse for linear samples.
    samples = np.random.default_rng(3).integers(32, 256, (40, 40, 3), dtype=np.uint8)
    lightness, ab = lab_by_lcms(icc_profile(space, transfer), samples)
    curves = read_curves(icc_profile(space, transfer), levels=256)
    linear = np.stack([curves.curves[k][samples[..., k]] for k in range(3)], -1)
    xyz = linear @ curves.to_xyz.T / [0.9642, 1.0, 0.8249]
    f = np.where(xyz > (6 / 29) ** 3, np.cbrt(xyz), xyz / (3 * (6 / 29) ** 2) + 4 / 29)
    assert np.abs(lightness - (116 * f[..., 1] - 16)).max() < 0.5
    assert np.abs(ab - np.stack([500 * (f[..., 0] - f[..., 1]), 200 * (f[..., 1] - f[..., 2])], -1)).max() < 1.5


def test_the_colourants_are_those_of_the_published_srgb_profile():
    # Colourants of sRGB adapted to D50, as ICC's own sRGB profiles print them, to four decimals (from memory).
    printed = [[0.4360, 0.3851, 0.1431], [0.2225, 0.7169, 0.0606], [0.0139, 0.0971, 0.7141]]
    curves = read_curves(icc_profile("sRGB", "srgb"), levels=256)
    assert np.abs(curves.to_xyz - printed).max() < 2e-4


def test_pillows_own_srgb_profile_has_the_curve_of_the_standard():
    # IEC 61966-2-1 at half scale: ((0.5 + 0.055) / 1.055) ** 2.4 = 0.21404.
    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    curves = read_curves(profile, levels=65536)
    assert curves.curves[0][32768] == pytest.approx(0.21404, abs=2e-4)
    assert not is_linear(curves)


def test_a_linear_profile_is_known_as_linear():
    assert is_linear(read_curves(icc_profile("linear sRGB", "linear"), levels=65536))


@pytest.mark.parametrize("transfer", ["srgb", "adobe", "linear"])
def test_a_curve_and_its_inverse_meet(transfer):
    from dryside.negatives.rendering import encode

    x = np.linspace(0, 1, 65536)
    decoded = read_curves(rgb_profile("test", SPACES_PRIMARIES, transfer), levels=65536).curves[0]
    # s15Fixed16 numbers carry the curve's constants to 8e-6.
    assert np.abs(encode(transfer, decoded) - x).max() < 6e-5


SPACES_PRIMARIES = (SPACES["sRGB"].red, SPACES["sRGB"].green, SPACES["sRGB"].blue)


def test_a_profile_cut_short_is_named_as_that():
    with pytest.raises(ValueError, match="cut short"):
        read_curves(icc_profile("sRGB", "srgb")[:300], levels=256)


def test_bytes_that_are_no_profile_are_named_as_that():
    with pytest.raises(ValueError, match="no ICC profile"):
        read_curves(b"x" * 400, levels=256)


def test_a_profile_of_tables_has_no_curves():
    lab = ImageCms.ImageCmsProfile(ImageCms.createProfile("LAB")).tobytes()
    assert read_curves(lab, levels=256) is None
