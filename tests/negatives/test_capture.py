import io
import struct

import numpy as np
import pillow_heif
import pytest
import simplejpeg
import tifffile
from PIL import Image

from dryside.film.refusal import Refusal
from dryside.negatives.capture import read_capture, reduce_capture
from dryside.negatives.codecs.open_picture import turn_upright
from dryside.negatives.output_profiles import icc_profile

ROWS, COLUMNS = 60, 90


def picture(dtype="uint16", channels=3, seed=2):
    return np.random.default_rng(seed).integers(0, np.iinfo(dtype).max, (ROWS, COLUMNS, channels), dtype=dtype)


def smooth():
    y, x = np.mgrid[0:ROWS, 0:COLUMNS]
    return np.stack([x * 2 + 30, y * 3 + 20, x + y + 40], -1).astype(np.uint8)


def levels(path, **more):
    with read_capture(path, **more) as capture:
        return capture.rows(0, capture.facts.height), capture.facts


def srgb_levels(codes):
    """16-bit light of 8-bit sRGB, written out from IEC 61966-2-1."""
    v = codes / 255.0
    return np.rint(np.where(v <= 0.04045, v / 12.92, ((v + 0.055) / 1.055) ** 2.4) * 65535)


def test_sixteen_bits_without_a_profile_are_light_as_they_are(tmp_path):
    whole = picture()
    tifffile.imwrite(tmp_path / "a.tif", whole, photometric="rgb")
    seen, facts = levels(tmp_path / "a.tif")
    assert np.array_equal(seen, whole)
    assert (facts.kind, facts.encoding, facts.bits, facts.colours) == ("TIFF", "linear", 16, 3)


def test_eight_bits_without_a_profile_are_srgb(tmp_path):
    whole = picture("uint8")
    tifffile.imwrite(tmp_path / "a.tif", whole, photometric="rgb")
    seen, facts = levels(tmp_path / "a.tif")
    assert np.array_equal(seen, srgb_levels(whole))
    assert facts.encoding == "srgb"


def test_both_can_be_told_otherwise(tmp_path):
    whole = picture("uint8")
    tifffile.imwrite(tmp_path / "a.tif", whole, photometric="rgb")
    assert np.array_equal(levels(tmp_path / "a.tif", assume="linear")[0], whole.astype(np.uint16) * 257)
    tifffile.imwrite(tmp_path / "b.tif", whole.astype(np.uint16) * 257, photometric="rgb")
    assert np.abs(levels(tmp_path / "b.tif", assume="srgb")[0] - srgb_levels(whole)).max() <= 1


@pytest.mark.parametrize(("space", "transfer"), [("sRGB", "srgb"), ("Adobe RGB (1998)", "adobe")])
def test_a_profiles_curve_is_undone_to_half_a_level(tmp_path, space, transfer):
    from dryside.negatives.rendering import encode

    light = np.linspace(0, 1, ROWS * COLUMNS * 3).reshape(ROWS, COLUMNS, 3)
    whole = np.rint(encode(transfer, light) * 65535).astype(np.uint16)
    tifffile.imwrite(tmp_path / "a.tif", whole, photometric="rgb", iccprofile=icc_profile(space, transfer))
    seen, facts = levels(tmp_path / "a.tif")
    assert facts.encoding == "profile"
    # Half a code of the encoded file, taken through the steepest part of the curve (below 2.4), and half a level.
    assert np.abs(seen - light * 65535).max() < 2.4 * 0.5 + 1.5


def test_a_profile_wins_over_what_was_told(tmp_path):
    whole = picture()
    tifffile.imwrite(tmp_path / "a.tif", whole, photometric="rgb", iccprofile=icc_profile("linear sRGB", "linear"))
    assert np.array_equal(levels(tmp_path / "a.tif", assume="srgb")[0], whole)


def test_a_profile_of_tables_is_refused(tmp_path):
    from PIL import ImageCms

    lab = bytearray(ImageCms.ImageCmsProfile(ImageCms.createProfile("LAB")).tobytes())
    tifffile.imwrite(tmp_path / "a.tif", picture(), photometric="rgb", iccprofile=bytes(lab))
    with pytest.raises(Refusal, match="tables instead of curves"):
        read_capture(tmp_path / "a.tif")


@pytest.mark.parametrize("top", [1.0, 4.0, 50000.0])
def test_floats_are_scaled_to_levels_and_say_by_how_much(tmp_path, top):
    whole = (np.random.default_rng(1).random((ROWS, COLUMNS, 3)) * top).astype(np.float32)
    whole[0, 0] = top
    tifffile.imwrite(tmp_path / "a.tif", whole, photometric="rgb")
    seen, facts = levels(tmp_path / "a.tif")
    assert np.abs(seen / facts.levels_per_unit - whole).max() <= 0.51 / facts.levels_per_unit
    assert seen.max() >= 49999


def test_grey_scans_have_three_equal_channels(tmp_path):
    whole = picture(channels=1)[..., 0]
    tifffile.imwrite(tmp_path / "a.tif", whole, photometric="minisblack")
    seen, facts = levels(tmp_path / "a.tif")
    assert facts.colours == 1
    assert all(np.array_equal(seen[..., k], whole) for k in range(3))


def test_the_fourth_channel_is_apart_from_the_colours(tmp_path):
    whole = picture(channels=4)
    tifffile.imwrite(tmp_path / "a.tif", whole, photometric="rgb", extrasamples=["unspecified"])
    with read_capture(tmp_path / "a.tif") as capture:
        assert capture.facts.has_fourth
        assert np.array_equal(capture.rows(0, ROWS), whole[..., :3])
        assert np.array_equal(capture.fourth(10, 20), whole[10:20, :, 3])


@pytest.mark.parametrize("bits", [8, 16])
def test_png_keeps_all_its_bits(tmp_path, bits):
    import imagecodecs

    whole = picture(f"uint{bits}")
    (tmp_path / "a.png").write_bytes(imagecodecs.png_encode(whole))
    seen, facts = levels(tmp_path / "a.png")
    assert np.array_equal(seen, whole if bits == 16 else srgb_levels(whole))
    assert facts.kind == "PNG"


def test_jpeg_is_read_as_srgb_to_within_its_own_loss(tmp_path):
    (tmp_path / "a.jpg").write_bytes(simplejpeg.encode_jpeg(smooth(), 98, "RGB", "444"))
    seen, facts = levels(tmp_path / "a.jpg")
    assert facts.kind == "JPEG"
    assert np.abs(seen - srgb_levels(smooth())).max() < 65535 * 0.03


def test_heif_is_read(tmp_path):
    pillow_heif.from_pillow(Image.fromarray(smooth())).save(tmp_path / "a.heic", quality=95)
    seen, facts = levels(tmp_path / "a.heic")
    assert facts.kind == "HEIF"
    assert np.abs(seen - srgb_levels(smooth())).mean() < 65535 * 0.02


@pytest.mark.parametrize("orientation", range(1, 9))
def test_every_exif_orientation_comes_out_upright(tmp_path, orientation):
    # The eight orientations are those of Exif 2.32, tag 274; Pillow's own transposition is the reference.
    whole = picture("uint8")
    exif = Image.Exif()
    exif[274] = orientation
    Image.fromarray(whole).save(tmp_path / "a.png", exif=exif)
    with Image.open(tmp_path / "a.png") as image:
        from PIL import ImageOps

        upright = np.asarray(ImageOps.exif_transpose(image))
    assert np.array_equal(levels(tmp_path / "a.png")[0], srgb_levels(upright))
    assert np.array_equal(turn_upright(whole, orientation), upright)
    tifffile.imwrite(
        tmp_path / "a.tif", whole, photometric="rgb", rowsperstrip=7, extratags=[(274, "H", 1, orientation, True)]
    )
    assert np.array_equal(levels(tmp_path / "a.tif")[0], srgb_levels(upright))


@pytest.mark.parametrize("factor", [1, 4, 7])
def test_reduction_is_the_mean_of_squares(tmp_path, factor):
    whole = picture()
    tifffile.imwrite(tmp_path / "a.tif", whole, photometric="rgb")
    with read_capture(tmp_path / "a.tif") as capture:
        light = reduce_capture(capture, factor)
    assert light.shape == (-(-ROWS // factor), -(-COLUMNS // factor), 3)
    for y, x in ((0, 0), (3, 5), (light.shape[0] - 1, light.shape[1] - 1)):
        square = whole[y * factor : (y + 1) * factor, x * factor : (x + 1) * factor] / 65535
        assert light[y, x] == pytest.approx(square.mean(axis=(0, 1)), abs=1e-4)


def dng(path, rows=64, columns=96):
    """A small raw file by the DNG specification 1.4: one RGGB mosaic, uncompressed, black 512, white 16383."""
    mosaic = np.full((rows, columns), 512 + 4000, np.uint16)
    mosaic[0::2, 0::2] = 512 + 8000
    mosaic[1::2, 1::2] = 512 + 2000
    rational = b"".join(struct.pack("<ii", round(v * 10000), 10000) for v in np.eye(3).ravel())
    tags = [
        (33421, "H", 2, (2, 2), True),
        (33422, "B", 4, b"\0\1\1\2", True),
        (50706, "B", 4, b"\1\4\0\0", True),
        (50707, "B", 4, b"\1\1\0\0", True),
        (50708, "s", 0, "Invented Camera", True),
        (50714, "H", 1, 512, True),
        (50717, "H", 1, 16383, True),
        (50721, "2i", 9, rational, True),
        (50728, "2I", 3, struct.pack("<6I", 1, 1, 1, 1, 1, 1), True),
        (50778, "H", 1, 21, True),
    ]
    tifffile.imwrite(path, mosaic, photometric=32803, extratags=tags, metadata=None)


def test_camera_raw_is_linear_without_white_balance(tmp_path):
    dng(tmp_path / "a.dng")
    seen, facts = levels(tmp_path / "a.dng")
    middle = seen[20:40, 20:60].reshape(-1, 3).mean(axis=0) / 65535
    assert facts.kind == "raw"
    assert middle == pytest.approx([8000 / 15871, 4000 / 15871, 2000 / 15871], rel=0.01)
    assert facts.camera_matrix is not None


def truncated_jpeg(path):
    data = simplejpeg.encode_jpeg(smooth(), 90, "RGB", "444")
    path.write_bytes(data[: len(data) // 2])


def ink(path):
    Image.fromarray(picture("uint8", 4), "CMYK").save(path, format="JPEG")


def impossible_png(path):
    """A PNG header that claims 100,000 x 100,000 pixels."""
    import zlib

    def chunk(kind, data):
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    head = struct.pack(">IIBBBBB", 100_000, 100_000, 16, 2, 0, 0, 0)
    path.write_bytes(
        b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", zlib.compress(b"")) + chunk(b"IEND", b"")
    )


def impossible_tiff(path):
    with tifffile.TiffWriter(path, bigtiff=True) as file:
        file.write(
            iter([b"\0" * 100]),
            shape=(60_000, 60_000, 3),
            dtype="uint16",
            photometric="rgb",
            rowsperstrip=60_000,
            compression="deflate",
        )


BAD = {
    "empty.tif": (lambda p: p.write_bytes(b""), "empty: 0 bytes"),
    "empty.nef": (lambda p: p.write_bytes(b""), "empty: 0 bytes"),
    "words.tif": (lambda p: p.write_text("no picture at all, but words"), "not a picture of a kind"),
    "words.nef": (lambda p: p.write_text("no picture at all, but words" * 100), "not a readable camera raw"),
    "half.jpg": (truncated_jpeg, "damaged"),
    "ink.jpg": (ink, "ink colours"),
    "one.tif": (lambda p: tifffile.imwrite(p, np.zeros((1, 1, 3), np.uint16), photometric="rgb"), "1 x 1 pixels"),
    "huge.png": (impossible_png, "claims"),
    "huge.tif": (impossible_tiff, "claims|cut short"),
    "folder.tif": (lambda p: p.mkdir(), "a folder"),
    "missing.tif": (lambda p: None, "no such file"),
}


@pytest.mark.parametrize("name", BAD)
def test_what_cannot_be_read_is_refused_in_one_line(tmp_path, name):
    make, found = BAD[name]
    make(tmp_path / name)
    with pytest.raises(Refusal, match=found) as caught:
        read_capture(tmp_path / name)
    assert "\n" not in str(caught.value)
    assert name in str(caught.value)


def test_a_kept_capture_gives_the_same_rows(tmp_path):
    whole = picture()
    tifffile.imwrite(tmp_path / "a.tif", whole, photometric="rgb", compression="deflate", rowsperstrip=9)
    with read_capture(tmp_path / "a.tif") as capture:
        assert not capture.shareable
        kept = capture.kept()
        assert kept.shareable
        assert np.array_equal(kept.rows(5, 33, 10, 20), whole[5:33, 10:20])


def test_pictures_are_told_by_their_bytes_not_their_names(tmp_path):
    buffer = io.BytesIO()
    Image.fromarray(smooth()).save(buffer, "PNG")
    (tmp_path / "a.tif").write_bytes(buffer.getvalue())
    assert levels(tmp_path / "a.tif")[1].kind == "PNG"
