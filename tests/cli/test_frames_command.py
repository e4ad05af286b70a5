"""`dryside frames` and `find`: a note typed in the field, places by a track, and the way back to the negative."""

import pytest

NOTE = """Camera: Ondine 35
14 July 2026
1  1/250 f8 50mm harbour wall, sun behind
2 1/60 f4 14:02 gulls #birds ***
3-4 same but f5.6
5 1/25o f8 crane
"""
GPX = """<gpx version="1.1" creator="t" xmlns="http://www.topografix.com/GPX/1/1"><trk><trkseg>
<trkpt lat="41.0" lon="-8.0"><ele>100</ele><time>2026-07-14T12:00:00Z</time></trkpt>
<trkpt lat="41.1" lon="-8.2"><ele>200</ele><time>2026-07-14T12:04:00Z</time></trkpt>
</trkseg></trk></gpx>"""


@pytest.fixture
def loaded(dryside, tmp_path):
    dryside("roll", "load", "--process", "c41", "--name", "H7", "--on", "2026-07-01")
    (tmp_path / "note.txt").write_text(NOTE, "utf-8")
    (tmp_path / "walk.gpx").write_text(GPX, "utf-8")
    return dryside


def test_nothing_is_imported_until_every_line_is_read_or_the_person_says_so(loaded, tmp_path):
    said = loaded("frames", "import", "H7", tmp_path / "note.txt", status=2)
    assert said.err == (
        "line 6: '1/25o': it looks like an exposure and is none. Write it like 1/250 f8.\n"
        "dryside: note.txt: 1 line could not be read; nothing was imported. Mend the file, or add --keep-going to"
        " import the rest.\n"
    )
    assert loaded.json("frames", "list", "H7")["frames"] == []
    assert "4 frames added" in loaded("frames", "import", "H7", tmp_path / "note.txt", "--keep-going").out
    again = loaded("frames", "import", "H7", tmp_path / "note.txt", "--keep-going")
    assert "the book has all of it already" in again.out


def test_places_come_from_the_track_by_time(loaded, tmp_path):
    report = loaded.json(
        "frames", "import", "H7", tmp_path / "note.txt", "--keep-going", "--gpx", tmp_path / "walk.gpx",
        "--offset", "+02:00",
    )  # fmt: skip
    second = report["frames"][1]
    assert (second["latitude"], second["longitude"], second["altitude_m"]) == (41.05, -8.1, 150.0)
    assert report["imported"] == 4
    found = loaded.json("find", "--near", "41.05,-8.1", "--within", "2")["frames"]
    assert [one["label"] for one in found] == ["2"]
    assert loaded.json("book", "show")["book"]["counts"]["files"] == 2  # note and track are kept


def test_a_dry_run_shows_and_imports_nothing(loaded, tmp_path):
    said = loaded("frames", "import", "H7", tmp_path / "note.txt", "--dry-run")
    assert "     2  1/60, f/4, gulls, ***\n" in said.out
    assert "4 frames would be added" in said.out
    assert loaded.json("frames", "list", "H7")["frames"] == []


def test_a_sheet_comes_in_by_a_mapping(loaded, tmp_path):
    (tmp_path / "log.csv").write_text("nr;zeit;blende;was war da\n1;1/60;5,6;Möwen\n", "utf-8")
    report = loaded.json("frames", "import", "H7", tmp_path / "log.csv", "--map", "caption=was war da")
    assert report["frames"][0]["caption"] == "Möwen"
    assert "--map caption" in loaded("frames", "import", "H7", tmp_path / "log.csv", "--map", "caption", status=2).err


def test_one_frame_is_logged_from_the_line(loaded):
    assert (
        "1: 1/250, f/8, 50 mm, harbour wall"
        in loaded("frames", "add", "H7", "1/250", "f8", "50mm", "harbour", "wall").out
    )
    assert loaded.json("frames", "add", "H7", "12 blank")["frames"][0]["blank"] is True
    assert "it may be 1/8 s or 8 s" in loaded("frames", "add", "H7", "13", "8", "f11", status=2).err
    assert "keeps it" in loaded("frames", "add", "H7", "1 1/60 f8").out
    changed = loaded.json("frames", "set", "H7", "1", "--rating", "4", "--caption", "pier")["frame"]
    assert (changed["rating"], changed["caption"]) == (4, "pier")
    assert "nothing to change" in loaded("frames", "set", "H7", "1", status=2).err


def test_finding_answers_with_the_frame_and_where_its_film_is(loaded, tmp_path):
    loaded("frames", "import", "H7", tmp_path / "note.txt", "--keep-going")
    said = loaded("find", "gulls", "--rating", "3")
    assert said.out.startswith("26-001-N frame 2: 2026-07-14, gulls, ***\n    the roll is in a camera\n")
    assert [one["label"] for one in loaded.json("find", "birds")["frames"]] == ["4", "3", "2"]
    page = loaded.json("find", "harbour wall", "--limit", "1")
    assert (page["frames"][0]["label"], page["after"]) == ("1", None)
    assert loaded("find", "walrus").out == "Nothing found.\n"
    assert len(loaded.json("find", "h7")["frames"]) == 4
    assert loaded.json("find", "--camera", "ondine 35", "--from", "2026-07-14", "--to", "2026-07-14")["frames"]
    more = loaded("find", "--limit", "2")
    assert "There is more: add --after 3." in more.out
    assert "this is no place" in loaded("find", "--near", "here", status=2).err


def test_a_file_that_is_not_there_is_said(loaded, tmp_path):
    assert "no such file" in loaded("frames", "import", "H7", tmp_path / "none.txt", status=3).err
    (tmp_path / "walk.txt").write_text("no track")
    said = loaded("frames", "import", "H7", tmp_path / "note.txt", "--gpx", tmp_path / "walk.txt", status=2)
    assert "this is no GPX file" in said.err
