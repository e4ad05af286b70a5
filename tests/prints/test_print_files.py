"""Print files: exact pixels, honest resampling, colours, names and manifest."""

import csv
import io
import json
import warnings

import numpy as np
import pytest
import tifffile
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image, ImageCms

from dryside.film.printsizes import PRINT_SIZES, print_size
from dryside.film.refusal import NotFound, Refusal
from dryside.negatives.output_profiles import icc_profile
from dryside.prints.colour import INTENTS, convert, convert_deep, profile_of
from dryside.prints.fitting import plan_print
from dryside.prints.print_files import (
    FileWish,
    PrintJob,
    make_files,
    manifest_csv,
    paper_pixels,
    picture_pixels,
    render,
)
from dryside.prints.resampling import MOST_OVERSHOOT, resample, sharpen, sharpening_for

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    import colour

SRGB = FileWish(300, profile_of("srgb"))
# Labs' usual counts at 300 ppi: 4R is 1205 x 1795, 3R 1051 x 1500: sold millimetres over 25.4 (common practice).
PIXELS_AT_300 = {"4R": (1205, 1795), "3R": (1051, 1500), "8R": (2398, 3000), "S8R": (2398, 3602)}


@pytest.fixture
def picture(tmp_path):
    """A picture of 1500 x 1000 pixels with detail down to single ones."""
    rows, columns = np.mgrid[0:1000, 0:1500]
    pixels = np.stack([columns / 1500, rows / 1000, 0.5 + 0.5 * np.sin(columns / 3.0)], axis=2)
    path = tmp_path / "detail.png"
    Image.fromarray((pixels * 255).astype(np.uint8)).save(path)
    return path


def job(path, size, copies=1, **options):
    with Image.open(path) as image:
        plan = plan_print(*image.size, print_size(size), **options)
    return PrintJob(path, plan, copies, "26-014-K-12", "26-014-K", "12", "=cmd('quay')")


@pytest.mark.parametrize(("size", "pixels"), PIXELS_AT_300.items())
def test_the_file_has_the_pixels_that_labs_print(picture, size, pixels, tmp_path):
    made = make_files([job(picture, size)], SRGB, tmp_path / "out")[0]
    with Image.open(tmp_path / "out" / made.file) as image:
        assert sorted(image.size) == sorted(pixels)
        assert image.info["dpi"] == pytest.approx((300, 300), abs=0.01)
        assert "sRGB" in ImageCms.getProfileDescription(ImageCms.ImageCmsProfile(io.BytesIO(image.info["icc_profile"])))
        assert image.mode == "RGB"


@given(name=st.sampled_from(sorted(PRINT_SIZES)), ppi=st.sampled_from([72, 200, 254, 300]), border=st.floats(0, 8))
def test_paper_and_picture_are_as_many_pixels_as_their_millimetres(name, ppi, border):
    plan = plan_print(6000, 4000, print_size(name), border_mm=border, way="fit")
    paper, shown = paper_pixels(plan, ppi), picture_pixels(plan, ppi)
    for pixels, mm in (*zip(paper, plan.paper_mm, strict=True), *zip(shown, plan.picture_mm, strict=True)):
        assert pixels == pytest.approx(mm / 25.4 * ppi, abs=0.51 if border else 0.006 * pixels + 0.51)
    assert shown[0] <= paper[0] and shown[1] <= paper[1]


def test_a_border_is_white_and_even_and_the_picture_between_it_whole(picture):
    pixels, _, _ = render(job(picture, "8R", way="fit", border_mm=10), SRGB)
    inside = (pixels < 250).any(axis=2)
    rows, columns = np.flatnonzero(inside.any(axis=1)), np.flatnonzero(inside.any(axis=0))
    left, right = columns[0], pixels.shape[1] - 1 - columns[-1]
    top, bottom = rows[0], pixels.shape[0] - 1 - rows[-1]
    assert abs(left - right) <= 2 and abs(top - bottom) <= 2
    assert min(left, right) / 300 * 25.4 == pytest.approx(10, abs=0.2)
    assert (columns[-1] - columns[0] + 1) / (rows[-1] - rows[0] + 1) == pytest.approx(1.5, abs=0.01)


@given(level=st.integers(0, 255), side=st.sampled_from([(40, 30), (400, 300), (133, 77)]), deep=st.booleans())
def test_an_even_area_comes_out_as_it_went_in(level, side, deep):
    pixels = np.full((100, 130, 3), level * 257 if deep else level, np.uint16 if deep else np.uint8)
    out = resample(pixels, side)
    assert out.shape == (side[1], side[0], 3)
    assert np.abs(out * 255 - level).max() < 0.02


def test_light_is_averaged_as_light():
    # A fine pattern of black and white lines sends half the light, and that is 2 ** -(1 / 2.2) = 73 % of the signal at
    # gamma 2.2, by arithmetic: 186 of 255. Averaging the encoded values would give 128, plainly too dark.
    lines = np.zeros((200, 200, 3), np.uint8)
    lines[:, ::2] = 255
    assert resample(lines, (50, 50))[5:-5, 5:-5].mean() * 255 == pytest.approx(186, abs=1)


def test_a_reduction_keeps_no_detail_finer_than_its_pixels():
    # A pattern at 0.45 cycles a pixel cannot be shown at a quarter of the size: it must fade to grey, not to stripes.
    # (Faint, because a strong one has a slower second pattern in its light, which can be shown.)
    columns = np.arange(400)
    wave = (127.5 + 20 * np.sin(2 * np.pi * 0.45 * columns)).astype(np.uint8)
    pixels = np.repeat(np.repeat(wave[None, :, None], 100, axis=0), 3, axis=2)
    assert np.ptp(resample(pixels, (100, 25))[5:-5, 5:-5]) < 0.01


def test_sharpening_grows_with_the_reduction_and_is_none_without_one():
    amounts = [sharpening_for(factor) for factor in (0.5, 1.0, 1.5, 2.0, 4.0, 8.0)]
    assert amounts[:2] == [0, 0]
    assert amounts == sorted(amounts)
    assert sharpening_for(4) == pytest.approx(2 * sharpening_for(2))
    assert sharpening_for(4, 0) == 0


def test_sharpening_steepens_an_edge_without_a_halo_and_leaves_even_parts_alone():
    edge = np.full((40, 40, 3), 0.3, np.float32)
    edge[:, 20:] = 0.7
    edge[:, 19:21] = 0.5
    sharp = sharpen(edge, 1.0)
    assert np.abs(sharp[:, :15] - 0.3).max() < 1e-6
    assert sharp.max() <= 0.7 + MOST_OVERSHOOT + 1e-6
    assert sharp.min() >= 0.3 - MOST_OVERSHOOT - 1e-6
    assert np.abs(np.diff(sharp[20, :, 0])).max() > np.abs(np.diff(edge[20, :, 0])).max()
    assert sharpen(edge, 0) is edge


@pytest.mark.real
def test_a_real_picture_keeps_its_colours_and_gains_crispness(photographs):
    plain = render(job(photographs[23], "4R"), FileWish(100, profile_of("srgb"), strength=0))[0].astype(float)
    crisp = render(job(photographs[23], "4R"), FileWish(100, profile_of("srgb"), strength=2))[0].astype(float)
    assert np.abs(plain.mean(axis=(0, 1)) - crisp.mean(axis=(0, 1))).max() < 1
    steps = [np.abs(np.diff(image.mean(axis=2), axis=1)).mean() for image in (plain, crisp)]
    assert steps[1] > 1.05 * steps[0]


def test_colours_are_converted_to_the_labs_space(tmp_path):
    # Display P3's red lies outside sRGB (SMPTE EG 432-1 against IEC 61966-2-1): it becomes sRGB's own fullest red.
    path = tmp_path / "p3.png"
    Image.new("RGB", (300, 200), (255, 0, 0)).save(path, icc_profile=icc_profile("Display P3", "srgb"))
    assert render(job(path, "4R"), FileWish(72, profile_of("srgb")))[0][50, 50].tolist() == [255, 0, 0]
    kept = render(job(path, "4R"), FileWish(72, profile_of("display-p3")))[0][50, 50]
    assert kept.tolist() == [255, 0, 0]
    wide = render(job(path, "4R"), FileWish(72, profile_of("adobe-rgb")))[0][50, 50]
    assert wide.tolist() != [255, 0, 0]


def test_sixteen_bits_are_read_and_grey_is_taken(tmp_path):
    path = tmp_path / "grey.png"
    Image.fromarray(np.full((200, 300), 128 * 257, np.uint16)).save(path)
    assert render(job(path, "4R"), FileWish(72, profile_of("srgb")))[0][9, 9].tolist() == [128, 128, 128]


@pytest.fixture
def ramp(tmp_path):
    """A ramp of 16 bits in Adobe RGB: 40 to 48 % of the scale, over 1500 columns."""
    level = np.linspace(0.40, 0.48, 1500)
    pixels = np.repeat(np.stack([level, level * 0.9, level * 0.8], axis=1)[None], 1000, axis=0)
    path = tmp_path / "ramp.tif"
    profile = profile_of("adobe-rgb").data
    tifffile.imwrite(path, np.rint(pixels * 65535).astype(np.uint16), photometric="rgb", iccprofile=profile)
    return path


def test_a_file_of_16_bits_keeps_the_tones_and_the_conversion_agrees_with_published_formulas(ramp, tmp_path):
    plain = FileWish(254, profile_of("srgb"), strength=0, kind="tiff16")
    (made,) = make_files([job(ramp, "4R")], plain, tmp_path / "out")
    with tifffile.TiffFile(tmp_path / "out" / made.file) as tiff:
        page = tiff.pages[0]
        pixels = page.asarray()
        assert (page.bitspersample, page.samplesperpixel, page.photometric.name) == (16, 3, "RGB")
        assert page.tags["XResolution"].value == (254, 1)
        assert page.tags[34675].value == plain.target.data
        assert {"DateTime", "Software", "Artist", "ImageDescription"}.isdisjoint(tag.name for tag in page.tags)
    assert (made.bits, made.width_px, pixels.shape) == (16, 1520, (1020, 1520, 3))
    row = pixels[500].astype(float) / 65535
    assert len(np.unique(pixels[500, :, 1])) > 1000  # 8 bits have 21 tones there
    # colour-science's Adobe RGB (1998) to sRGB (IEC 61966-2-1), on the ramp as it was resampled.
    source = resample(read_whole(ramp), (made.width_px, made.height_px))[500].astype(float)
    expected = colour.RGB_to_RGB(source, "Adobe RGB (1998)", "sRGB", apply_cctf_decoding=True, apply_cctf_encoding=True)
    np.testing.assert_allclose(row[40:-40], expected[40:-40], atol=0.0005)


def read_whole(path):
    pixels = tifffile.imread(path)
    height = round(pixels.shape[1] * 1020 / 1520)
    top = (pixels.shape[0] - height) // 2
    return pixels[top : top + height]


@pytest.mark.parametrize("intent", INTENTS)
def test_16_bits_are_converted_as_8_bits_are_for_every_intent(intent):
    rng = np.random.default_rng(2)
    deep = (np.cumsum(rng.normal(0, 200, (60, 90, 3)), axis=1) + 30_000).clip(9_000, 60_000).astype(np.uint16)
    source, target = profile_of("display-p3"), profile_of("adobe-rgb")
    eight = convert(np.rint(deep / 257).astype(np.uint8), source, target, intent)
    np.testing.assert_allclose(convert_deep(deep, source, target, intent) / 257, eight, atol=1.6)
    assert convert_deep(deep, source, source, intent) is deep


def test_a_border_of_16_bits_is_white(ramp):
    pixels, _, _ = render(job(ramp, "4R", way="fit", border_mm=5), FileWish(100, profile_of("srgb"), kind="tiff16"))
    assert pixels.dtype == np.uint16
    assert pixels[0, 0].tolist() == [65535] * 3


def test_scene_light_is_not_printed_by_mistake(tmp_path):
    path = tmp_path / "scene.png"
    Image.new("RGB", (300, 200), "grey").save(path, icc_profile=icc_profile("linear sRGB", "linear"))
    with pytest.raises(Refusal, match=r"scene-linear light.*--rendering print"):
        make_files([job(path, "4R")], SRGB, tmp_path / "out")
    assert not (tmp_path / "out" / "manifest.csv").exists()


def test_the_manifest_names_every_file_with_its_checksum_and_no_formula(picture, tmp_path):
    jobs = [job(picture, "4R", 3), job(picture, "8R"), job(picture, "8R")]
    made = make_files(jobs, FileWish(72, profile_of("srgb"), template="{caption}{size}"), tmp_path)
    rows = list(csv.DictReader(io.StringIO((tmp_path / "manifest.csv").read_text())))
    assert [row["copies"] for row in rows] == ["3", "1", "1"]
    assert len({row["file"] for row in rows}) == 3
    assert all((tmp_path / row["file"]).is_file() for row in rows)
    assert [one["sha256"] for one in json.loads((tmp_path / "manifest.json").read_text())] == [
        one.sha256 for one in made
    ]
    text = manifest_csv([type(made[0])(**{**vars(made[0]), "picture": "=1+1"})])
    assert ",'=1+1," in text


def test_the_same_files_made_twice_are_the_same_bytes(picture, tmp_path):
    first = make_files([job(picture, "5R")], FileWish(100, profile_of("srgb")), tmp_path)[0]
    again = make_files([job(picture, "5R")], FileWish(100, profile_of("srgb")), tmp_path)[0]
    assert first == again
    assert len(list(tmp_path.glob("5R*"))) == 1


def test_nothing_of_the_photographer_or_the_place_is_in_the_file(tmp_path):
    path = tmp_path / "phone.jpg"
    exif = Image.Exif()
    exif[0x010E], exif[0x013B] = "at home", "A. Photographer"
    Image.new("RGB", (300, 200), "grey").save(path, exif=exif)
    made = make_files([job(path, "4R")], FileWish(72, profile_of("srgb")), tmp_path / "out")[0]
    data = (tmp_path / "out" / made.file).read_bytes()
    assert b"at home" not in data and b"Photographer" not in data


def test_what_cannot_be_made_is_refused(picture, tmp_path):
    with pytest.raises(Refusal, match="a print needs pixels"):
        make_files([job(picture, "4R")], FileWish(0, profile_of("srgb")), tmp_path)
    with pytest.raises(Refusal, match="too many"):
        make_files([job(picture, "30R")], FileWish(2400, profile_of("srgb")), tmp_path)
    gone = job(picture, "4R")
    picture.unlink()
    with pytest.raises(Refusal, match="no such file"):
        make_files([gone], SRGB, tmp_path)


def test_a_profile_that_is_none_is_refused(picture, tmp_path):
    with pytest.raises(Refusal, match="not an ICC profile"):
        profile_of(str(picture))
    with pytest.raises(NotFound, match="no such file"):
        profile_of(str(tmp_path / "none.icc"))
    whole = icc_profile("sRGB", "srgb")
    cut = tmp_path / "cut.icc"
    cut.write_bytes(whole[:-40])
    with pytest.raises(Refusal, match="cut off"):
        profile_of(str(cut))
    other = bytearray(whole)
    other[16:20] = b"7CLR"
    cut.write_bytes(other)
    with pytest.raises(Refusal, match="for '7CLR' pictures"):
        profile_of(str(cut))
    damaged = bytearray(whole)
    damaged[128:160] = b"\xff" * 32
    cut.write_bytes(damaged)
    with pytest.raises(Refusal, match=r"damaged|converted"):
        make_files([job(picture, "4R")], FileWish(72, profile_of(str(cut))), tmp_path)
