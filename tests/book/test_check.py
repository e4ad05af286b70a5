"""Check: what is lost, changed or left over is named, and mended where there is a backup."""

import os
import time

import pytest

from book.kept_book import fill
from dryside.book import check as check_module
from dryside.book.backup import back_up
from dryside.book.check import PROGRESS_FILE, caption_of_sidecar, check_book, size_to_check
from dryside.book.files import original_path, put_picture, store_original
from dryside.book.schema import files, frames
from dryside.film.refusal import NotFound


@pytest.fixture
def full(book):
    fill(book)
    return book


def first_original(book):
    with book.read() as conn:
        return original_path(book, conn.execute(files.select().order_by(files.c.id)).first().sha256)


def spoil(path, at=50):
    path.chmod(0o644)
    content = bytearray(path.read_bytes())
    content[at] ^= 1
    path.write_bytes(content)


def kinds(report):
    return sorted(one.kind for one in report.findings)


def test_a_sound_book_has_nothing_to_say(full):
    report = check_book(full)
    assert report.findings == ()
    assert report.is_whole
    assert report.files == 10
    assert report.bytes_read > size_to_check(full)  # originals, and pictures too


def test_one_changed_bit_is_found_whatever_the_length(full):
    spoil(first_original(full))
    report = check_book(full)
    (finding,) = report.findings
    assert (finding.kind, finding.path) == ("changed", first_original(full).relative_to(full.root).as_posix())
    assert "its bytes are not those that were kept" in finding.found
    assert not report.is_whole


def test_what_is_missing_or_cut_short_is_found(full):
    first_original(full).unlink()
    (full.pictures / "26-001-N" / "02.jpg").unlink()
    cut = full.pictures / "26-001-N" / "03.jpg"
    cut.write_bytes(cut.read_bytes()[:-1])
    assert kinds(check_book(full)) == ["changed", "missing", "missing"]


def test_a_backup_mends_and_the_damaged_file_is_put_aside(full, tmp_path):
    back_up(full, tmp_path / "backup")
    spoil(first_original(full))
    (full.pictures / "26-001-N" / "02.jpg").unlink()
    report = check_book(full, backup=tmp_path / "backup")
    assert [one.mended for one in report.findings] == [True, True]
    assert report.is_whole
    assert check_book(full).findings == ()
    assert len(list((full.root / "damaged").iterdir())) == 1
    assert first_original(full).stat().st_mode & 0o222 == 0
    with pytest.raises(NotFound, match="no backup here"):
        check_book(full, backup=tmp_path / "nowhere")


def test_files_that_no_row_speaks_of_are_named_and_kept(full):
    import io

    orphan = store_original(full, io.BytesIO(b"received and then killed")).path
    put_picture(full, "stray.jpg", b"x")
    report = check_book(full)
    assert kinds(report) == ["not in the book", "not in the book"]
    assert report.is_whole
    assert orphan.exists()


def test_leftovers_are_removed_once_they_are_old(full):
    young, old = full.originals / "incoming-1.part", full.originals / "incoming-2.part"
    young.write_bytes(b"somebody is at it")
    old.write_bytes(b"long dead")
    os.utime(old, (time.time() - 7200, time.time() - 7200))
    (finding,) = check_book(full).findings
    assert (finding.kind, finding.mended) == ("unfinished", True)
    assert young.exists()
    assert not old.exists()


def test_sidecars_are_held_against_picture_and_book(full):
    xmp = (
        '<x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#">'
        '<rdf:Description xmlns:dc="http://purl.org/dc/elements/1.1/"><dc:description><rdf:Alt>'
        '<rdf:li xml:lang="x-default">{}</rdf:li></rdf:Alt></dc:description></rdf:Description></rdf:RDF></x:xmpmeta>'
    )
    put_picture(full, "26-001-N/01.jpg.xmp", xmp.format("gulls &amp; &lt;b&gt;terns&lt;/b&gt;").encode())
    put_picture(full, "26-001-N/02.jpg.xmp", xmp.format("something else").encode())
    put_picture(full, "26-001-N/03.jpg.xmp", b"<broken")
    put_picture(full, "26-001-N/99.jpg.xmp", b"<x/>")
    said = {one.path.rpartition("/")[2]: one.found for one in check_book(full).findings}
    assert set(said) == {"02.jpg.xmp", "03.jpg.xmp", "99.jpg.xmp"}
    assert said["02.jpg.xmp"] == "it says 'something else', the book '=1+1'"
    assert "cannot be read" in said["03.jpg.xmp"]
    assert said["99.jpg.xmp"] == "its picture is not there"


def test_a_sidecar_that_defines_entities_is_not_followed(tmp_path):
    (tmp_path / "a.xmp").write_text('<!DOCTYPE x [<!ENTITY e SYSTEM "file:///etc/passwd">]><x>&e;</x>')
    with pytest.raises(ValueError, match="defines entities"):
        caption_of_sidecar(tmp_path / "a.xmp")


def test_a_frame_that_shows_a_picture_which_is_gone_is_named(full):
    with full.write() as conn:
        conn.execute(frames.update().where(frames.c.id == 2).values(picture_sha256="0" * 64))
    (finding,) = check_book(full).findings
    assert finding.kind == "database"
    assert "frame 2 (row 2) shows a picture that is gone" in finding.found


def test_a_check_that_was_cut_short_goes_on_where_it_was(full, monkeypatch):
    def stop(size, name, seen=[]):  # noqa: B006
        seen.append(name)
        if len(seen) == 5:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        check_book(full, step=stop)
    assert (full.root / PROGRESS_FILE).exists()
    report = check_book(full)
    assert report.resumed >= 4
    assert report.findings == ()
    assert not (full.root / PROGRESS_FILE).exists()
    assert check_book(full).resumed == 0


def test_a_file_that_changed_after_it_was_read_is_read_again(full):
    def stop(size, name, seen=[]):  # noqa: B006
        seen.append(name)
        if len(seen) == 9:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        check_book(full, step=stop)
    spoil(first_original(full))
    assert kinds(check_book(full)) == ["changed"]


def test_checking_anew_reads_everything(full):
    (full.root / PROGRESS_FILE).write_text("something\n")
    assert check_book(full, anew=True).resumed == 0
    assert check_module.READERS >= 1
