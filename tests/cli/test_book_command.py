"""`dryside book` and `check`: made, backed up, destroyed, brought back, packed, exported, imported."""

import json
import shutil

import pytest

from cli.running import Command


@pytest.fixture
def full(dryside, tmp_path):
    dryside("book", "new")
    dryside("book", "add-person", "Ida", "--keeper")
    dryside("book", "add-camera", "Ondine 35", "--maker", "Ondine Works", "--owner", "Ida")
    dryside("book", "add-lens", "Nightjar 50", "--focal", "50")
    dryside("roll", "load", "--process", "c41", "--camera", "Ondine 35", "--owner", "Ida", "--on", "2026-07-01")
    (tmp_path / "note.txt").write_text("1 1/250 f8 gulls\n2 f4 1/60 =1+1\n")
    dryside("frames", "import", "26-001-N", tmp_path / "note.txt")
    return dryside


def test_people_cameras_and_lenses_are_listed(full):
    assert full.json("book", "people")["people"][0]["is_keeper"] is True
    assert "Ondine Works" in full("book", "cameras").out
    assert full.json("book", "lenses")["lenses"][0]["focal_mm"] == 50.0
    assert "already in this book" in full("book", "add-person", "Ida", status=2).err
    counts = full.json("book", "show")["book"]["counts"]
    assert (counts["rolls"], counts["frames"]) == (1, 2)
    assert "schema" in full("book", "new").out


def test_the_book_is_destroyed_and_comes_back(full, tmp_path, capsys):
    if "--files" in full.options:
        pytest.skip("the folder is the book only with SQLite")
    said = full.json("book", "backup", tmp_path / "backup")
    assert said["backup"]["files"] == 1
    assert "0 bytes of it new" in full("book", "backup", tmp_path / "backup", "--verify").out
    thinned = full.json("book", "backup", tmp_path / "backup", "--keep", "1d")
    assert (len(thinned["thinned"]["dropped"]), len(thinned["snapshots"])) == (2, 1)
    assert "no period" in full("book", "backup", tmp_path / "backup", "--keep", "soon", status=2).err
    shutil.rmtree(tmp_path / "book")
    full("book", "restore", tmp_path / "backup")
    assert full.json("find", "gulls")["frames"][0]["caption"] == "gulls"
    assert "never writes over a book" in full("book", "restore", tmp_path / "backup", status=2).err
    assert "0 to mend" in full("check").out


def test_check_ends_with_1_where_something_is_lost_and_mends_from_a_backup(full, tmp_path):
    full("book", "backup", tmp_path / "backup")
    for path in (tmp_path / "book" / "originals").rglob("*"):
        if path.is_file():
            path.unlink()
    assert "missing: originals/" in full("check", status=1).out
    assert full.json("check", status=1)["is_whole"] is False
    assert full.json("check", "--backup", tmp_path / "backup")["is_whole"] is True


def test_a_year_is_packed_as_a_bag(full, tmp_path):
    assert "valid" in full("book", "pack", tmp_path / "bag", "--year", "2026").out
    assert full.json("book", "validate", tmp_path / "bag")["is_valid"] is True
    info = (tmp_path / "bag" / "bag-info.txt").read_text("utf-8")
    assert "Bagging-Date: 2026-07-20" in info
    assert "Payload-Oxum" in info
    assert "Give either --roll or --year" in full("book", "pack", tmp_path / "bag2", status=2).err
    (tmp_path / "bag" / "data" / "index.html").write_text("changed")
    assert "this bag is not valid" in full("book", "validate", tmp_path / "bag", status=2).err


def test_export_and_import_go_round(full, tmp_path, capsys):
    full("book", "export", tmp_path / "out")
    assert "'=1+1" in (tmp_path / "out" / "frames.csv").read_text("utf-8-sig")
    assert json.loads((tmp_path / "out" / "frames.json").read_text("utf-8"))[1]["caption"] == "=1+1"
    other = Command(capsys, tmp_path / "other", None)
    assert len(other.json("book", "import", "rolls", tmp_path / "out" / "log-of-rolls.csv")["rolls"]) == 1
    assert other.json("book", "import", "frames", tmp_path / "out" / "log-of-frames.csv")["imported"] == 2
    assert other.json("book", "import", "frames", tmp_path / "out" / "log-of-frames.csv")["imported"] == 0
    assert other.json("frames", "list", "26-001-N")["frames"][1]["caption"] == "=1+1"


def test_an_import_with_lines_that_cannot_be_read_changes_nothing_unless_told(full, tmp_path):
    (tmp_path / "rolls.csv").write_text("roll,process\nA1,c41\nA2,c99\n")
    said = full("book", "import", "rolls", tmp_path / "rolls.csv", status=2)
    assert "line 3" in said.err
    assert "1 line could not be read; nothing was imported" in said.err
    assert len(full.json("roll", "list")["rolls"]) == 1
    assert "1 roll would be added" in full("book", "import", "rolls", tmp_path / "rolls.csv", "--dry-run").out
    assert len(full.json("roll", "list")["rolls"]) == 1
    assert "1 roll added" in full("book", "import", "rolls", tmp_path / "rolls.csv", "--keep-going").out
    assert full.json("roll", "show", "a1")["names"] == ["A1"]
    assert "neither rolls nor frames" in full("book", "import", "labs", tmp_path / "rolls.csv", status=2).err
