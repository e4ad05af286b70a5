"""Picture files told by content, read at the size that is needed, upright."""

from __future__ import annotations

import numpy as np
import pytest
import tifffile
from PIL import Image, ImageCms, ImageOps

from dryside.film.refusal import Refusal
from dryside.scans.picture_files import media_type_of, probe, read_rgb8, small_srgb, turned
from scans.pictures import drawn, write_jpeg


@pytest.mark.parametrize(
    ("head", "kind"),
    [
        (b"\xff\xd8\xff\xe1" + bytes(12), "image/jpeg"), (b"II*\0" + bytes(12), "image/tiff"),
        (b"MM\0*" + bytes(12), "image/tiff"), (b"MM\0+" + bytes(12), "image/tiff"),
        (b"\x89PNG\r\n\x1a\n" + bytes(8), "image/png"), (b"\0\0\0\x18ftypheic" + bytes(4), "image/heic"),
        (b"\0\0\0\x18ftypqt  " + bytes(4), "video/mp4"), (b"PK\x03\x04" + bytes(12), "application/zip"),
        (b"<html>", None), (b"", None),
    ],
)  # fmt: skip
def test_content_tells_the_kind(head, kind):
    assert media_type_of(head) == kind


@pytest.mark.parametrize("orientation", range(1, 9))
def test_orientations_turn_as_pillow_turns_them(tmp_path, orientation):
    image = drawn(1, width=90, height=60)
    exif = Image.Exif()
    exif[0x0112] = orientation
    path = write_jpeg(tmp_path / "a.jpg", image, quality=95, exif=exif)
    with Image.open(path) as picture:
        expected = np.asarray(ImageOps.exif_transpose(picture))
    assert np.array_equal(turned(read_rgb8(path, upright=False), orientation), read_rgb8(path))
    assert np.abs(read_rgb8(path).astype(int) - expected).mean() < 1.0


def test_reduced_reading_is_never_smaller_than_asked_and_keeps_the_picture(tmp_path):
    path = write_jpeg(tmp_path / "a.jpg", drawn(2, width=1201, height=800))
    small = read_rgb8(path, longest=400)
    assert max(small.shape) == 400
    whole = np.asarray(Image.fromarray(read_rgb8(path)).resize((400, small.shape[0]), Image.Resampling.BOX), int)
    assert np.abs(whole - small).mean() < 4


@pytest.mark.parametrize("layout", ["grey", "grey16", "rgb16", "planar", "rgba", "palette", "cmyk", "bilevel"])
def test_layouts_that_labs_send_become_rgb(tmp_path, layout):
    image = drawn(3, width=60, height=40)
    path = tmp_path / "a.tif"
    if layout == "grey":
        tifffile.imwrite(path, image[..., 0])
    elif layout == "grey16":
        tifffile.imwrite(path, image[..., 0].astype(np.uint16) * 257)
    elif layout == "rgb16":
        tifffile.imwrite(path, image.astype(np.uint16) * 257, photometric="rgb")
    elif layout == "planar":
        tifffile.imwrite(path, np.moveaxis(image, -1, 0), photometric="rgb", planarconfig="separate")
    elif layout == "cmyk":
        path = tmp_path / "a.jpg"
        Image.fromarray(image).convert("CMYK").save(path)
    elif layout == "palette":
        path = tmp_path / "a.png"
        Image.fromarray(image).convert("P").save(path)
    elif layout == "bilevel":
        path = tmp_path / "a.png"
        Image.fromarray(image).convert("1").save(path)
    else:
        path = tmp_path / "a.png"
        Image.fromarray(image).convert("RGBA").save(path)
    found = read_rgb8(path)
    assert found.shape == (40, 60, 3)
    assert found.dtype == np.uint8
    assert found.std() > 5


def test_a_cut_off_jpeg_is_refused_and_one_with_stray_bytes_is_not(tmp_path):
    path = write_jpeg(tmp_path / "a.jpg", drawn(4))
    data = path.read_bytes()
    path.write_bytes(data + b"trailer of a phone")
    assert read_rgb8(path).shape == (240, 360, 3)
    path.write_bytes(data[:2] + b"\0\0" + data[2:])
    for cut in (2, 40, len(data) // 2):
        path.write_bytes(data[:-cut])
        with pytest.raises(Refusal, match=r"a\.jpg: the picture is cut off or damaged"):
            read_rgb8(path)


def test_headers_are_read_without_decoding(tmp_path):
    path = tmp_path / "a.tif"
    per_cm = 4000 / 2.54
    about = {"resolution": (per_cm, per_cm), "resolutionunit": "CENTIMETER", "datetime": "2026:06:20 09:00:00"}
    tifffile.imwrite(path, drawn(1), photometric="rgb", **about)
    seen = probe(path)
    assert (seen.width, seen.height, seen.bits, seen.channels) == (360, 240, 8, 3)
    assert seen.ppi == pytest.approx(4000, abs=1)
    assert seen.made_at == "2026-06-20T09:00:00"
    assert probe(write_jpeg(tmp_path / "b.jpg", drawn(1), dpi=(72, 72))).ppi is None  # what programs write by default
    with pytest.raises(Refusal, match="not a picture that can be taken"):
        (tmp_path / "c.jpg").write_bytes(b"nothing at all")
        probe(tmp_path / "c.jpg")


def test_a_small_picture_goes_through_the_files_own_profile(tmp_path):
    image = np.full((40, 60, 3), (200, 60, 60), np.uint8)
    srgb = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    Image.fromarray(image).save(tmp_path / "a.png", icc_profile=srgb)
    assert np.abs(small_srgb(tmp_path / "a.png", 512).astype(int) - image).max() <= 1
    Image.fromarray(image).save(tmp_path / "b.png", icc_profile=b"no profile")
    assert np.array_equal(small_srgb(tmp_path / "b.png", 512), image)
