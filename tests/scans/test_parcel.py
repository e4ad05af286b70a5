"""What a lab hands over, opened with care."""

from __future__ import annotations

import io
import struct
import zipfile

import pytest

from dryside.film.refusal import NotFound, Refusal
from dryside.scans.parcel import copy_out, natural_key, open_parcel, readable

PICTURE = b"\xff\xd8\xff\xe0" + b"x" * 40


def zipped(path, members):
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in members:
            archive.writestr(name, data)
    return path


def names(parcel):
    return [entry.name for entry in parcel.entries]


def asides(parcel):
    return {aside.name: aside.found for aside in parcel.asides}


def test_names_are_sorted_as_a_person_counts():
    assert sorted(["f10", "f9", "F1"], key=natural_key) == ["F1", "f9", "f10"]


def test_a_folder_a_zip_and_loose_files_give_the_same_entries(tmp_path):
    for name in ("a.jpg", "b.jpg"):
        (tmp_path / "folder").mkdir(exist_ok=True)
        (tmp_path / "folder" / name).write_bytes(PICTURE)
    archive = zipped(tmp_path / "z.zip", [("a.jpg", PICTURE), ("b.jpg", PICTURE)])
    loose = [tmp_path / "folder" / name for name in ("b.jpg", "a.jpg")]
    for paths in ([tmp_path / "folder"], [archive], loose):
        parcel = open_parcel(paths)
        assert names(parcel) == ["a.jpg", "b.jpg"]
        out = io.BytesIO()
        copy_out(parcel.entries[0], out)
        assert out.getvalue() == PICTURE


def test_several_zips_of_one_order_keep_their_names_apart(tmp_path):
    paths = [zipped(tmp_path / f"part{k}.zip", [("01.jpg", PICTURE)]) for k in (1, 2)]
    assert names(open_parcel(paths)) == ["part1/01.jpg", "part2/01.jpg"]


def test_what_operating_systems_leave_behind_is_not_spoken_of(tmp_path):
    archive = zipped(tmp_path / "z.zip", [("__MACOSX/._a.jpg", b"x"), (".DS_Store", b"x"), ("a.jpg", PICTURE)])
    assert names(open_parcel([archive])) == ["a.jpg"]
    assert open_parcel([archive]).asides == ()


@pytest.mark.parametrize(
    "name", ["../../evil.jpg", "/etc/evil.jpg", "C:\\evil.jpg", "a/../../evil.jpg", "..\\evil.jpg"]
)
def test_a_name_that_leads_out_is_refused_and_the_rest_goes_on(tmp_path, name):
    parcel = open_parcel([zipped(tmp_path / "z.zip", [(name, PICTURE), ("a.jpg", PICTURE)])])
    assert names(parcel) == ["a.jpg"]
    assert list(asides(parcel).values()) == ["the name leads out of the zip"]


def test_a_zip_inside_a_zip_and_an_empty_file_are_named(tmp_path):
    inner = zipped(tmp_path / "in.zip", [("x.jpg", PICTURE)]).read_bytes()
    parcel = open_parcel(
        [zipped(tmp_path / "z.zip", [("in.zip", inner), ("hidden.jpg", inner), ("zero.jpg", b""), ("a.jpg", PICTURE)])]
    )
    assert names(parcel) == ["a.jpg"]
    assert asides(parcel) == {
        "in.zip": "a zip inside a zip", "hidden.jpg": "a zip inside a zip", "zero.jpg": "the file is empty (0 bytes)",
    }  # fmt: skip


def test_a_bomb_is_refused_by_its_directory_before_anything_is_unpacked(tmp_path):
    path = tmp_path / "bomb.zip"
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive, archive.open("big.tif", "w") as member:
        for _ in range(600):
            member.write(bytes(1 << 20))
    with pytest.raises(Refusal, match=r"would unpack to 0\.6 GB, \d+ times its own size"):
        open_parcel([path])


def test_files_that_lie_over_each_other_are_refused(tmp_path):
    path = zipped(tmp_path / "z.zip", [("a.jpg", PICTURE * 50), ("b.jpg", PICTURE * 50)])
    data = bytearray(path.read_bytes())
    first, second = data.find(b"PK\x01\x02"), data.rfind(b"PK\x01\x02")
    data[second + 42 : second + 46] = data[first + 42 : first + 46]  # both point to the first file
    path.write_bytes(data)
    with pytest.raises(Refusal, match=r"lie over each other|not a whole zip"):
        open_parcel([path])


def test_a_locked_zip_is_named(tmp_path):
    path = zipped(tmp_path / "z.zip", [("a.jpg", PICTURE)])
    data = bytearray(path.read_bytes())
    for mark, offset in ((b"PK\x03\x04", 6), (b"PK\x01\x02", 8)):
        place = data.find(mark) + offset
        data[place : place + 2] = struct.pack("<H", struct.unpack("<H", data[place : place + 2])[0] | 1)
    path.write_bytes(data)
    with pytest.raises(Refusal, match="locked with a password"):
        open_parcel([path])


def test_half_a_zip_is_refused_with_what_to_do(tmp_path):
    path = zipped(tmp_path / "z.zip", [("a.jpg", PICTURE * 400)])
    path.write_bytes(path.read_bytes()[:-40])
    with pytest.raises(Refusal, match=r"not a whole zip .* Download it again"):
        open_parcel([path])


def test_damage_inside_a_zip_is_told_when_the_file_is_copied_out(tmp_path):
    path = zipped(tmp_path / "z.zip", [("a.jpg", bytes(range(256)) * 40)])
    data = bytearray(path.read_bytes())
    data[60] ^= 0xFF
    path.write_bytes(data)
    with pytest.raises(Refusal, match=r"a\.jpg: damaged inside z\.zip"):
        copy_out(open_parcel([path]).entries[0], io.BytesIO())


def test_names_of_another_code_page_become_readable(tmp_path):
    # A zip of a Japanese program: Shift-JIS bytes without the UTF-8 flag (APPNOTE 4.4.4, bit 11).
    wanted = {"q": "現像済み写真フィルム01.jpg", "r": "現像済み写真フィルム02.jpg", "s": "写真一覧.txt"}
    path = tmp_path / "z.zip"
    placeholders = {letter * len(name.encode("shift_jis")): name for letter, name in wanted.items()}
    data = zipped(path, [(placeholder, PICTURE) for placeholder in placeholders]).read_bytes()
    for placeholder, name in placeholders.items():
        data = data.replace(placeholder.encode(), name.encode("shift_jis"))
    path.write_bytes(data)
    assert sorted(names(open_parcel([path]))) == sorted(wanted.values())


def test_a_name_with_stray_bytes_is_text_all_the_same():
    assert "caf" in readable(b"caf\xe9.jpg".decode("utf-8", "surrogateescape"))
    assert readable(b"caf\xe9.jpg".decode("utf-8", "surrogateescape")).encode("utf-8")


def test_a_link_out_of_a_folder_is_not_followed(tmp_path):
    (tmp_path / "outside.jpg").write_bytes(PICTURE)
    (tmp_path / "in").mkdir()
    (tmp_path / "in" / "a.jpg").symlink_to(tmp_path / "outside.jpg")
    assert asides(open_parcel([tmp_path / "in"])) == {"a.jpg": "a link that leads out of the folder"}


def test_a_path_that_is_not_there_is_not_found(tmp_path):
    with pytest.raises(NotFound, match="there is no such file or folder"):
        open_parcel([tmp_path / "nothing.zip"])
