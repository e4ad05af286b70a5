import json

import tifffile

from negatives.drawn_roll import strip, write_frames, write_strip


def test_a_strip_on_the_command_line_gives_one_document_and_files(dryside, tmp_path):
    write_strip(tmp_path)
    answer = dryside(
        *(
            "invert",
            tmp_path / "capture-1.tif",
            "--process",
            "c41",
            "--format",
            "135",
            "--flat",
            tmp_path / "flat.tiff",
        ),
        *("--rendering", "scene", "--out", tmp_path / "out", "--overlay", "--report", tmp_path / "roll.pdf", "--json"),
    )
    (capture,) = json.loads(answer.out)["captures"]
    assert [frame["label"] for frame in capture["frames"]] == [frame.label for frame in strip().frames]
    assert tifffile.imread(capture["frames"][0]["positive"]).dtype == "uint16"
    assert (tmp_path / "roll.pdf").read_bytes().startswith(b"%PDF")
    assert (tmp_path / "out" / "capture-1.overlay.jpg").exists()


def test_a_bad_file_in_a_folder_is_named_and_the_exit_status_says_so(dryside, tmp_path):
    paths = write_frames(tmp_path / "in", 3)
    paths[1].write_bytes(b"")
    answer = dryside("invert", tmp_path / "in", "--process", "c41", "--whole", "--out", tmp_path / "out", status=2)
    assert "frame-02.tif: empty: 0 bytes" in answer.err
    assert len(list((tmp_path / "out").glob("*.tif"))) == 2


def test_film_of_several_sizes_is_refused_with_them(dryside, tmp_path):
    (path,) = write_frames(tmp_path / "in", 1)
    answer = dryside("invert", path, "--process", "c41", "--format", "120", "--out", tmp_path / "out", status=2)
    assert "120-6x6" in answer.err


def test_a_place_for_the_positives_is_asked_for(dryside, tmp_path):
    (path,) = write_frames(tmp_path / "in", 1)
    answer = dryside("invert", path, "--process", "c41", status=2)
    assert "Give --out DIR" in answer.err
