"""The whole way, from shelf to sleeve, by the real command line; each result is looked at."""

import io
import json
import os
import random
import signal
import subprocess
import sys
import time
from pathlib import Path

import pypdf
import pypdfium2
import pytest
import zxingcpp
from PIL import Image

from journeys.book_dump import differences, dump

pytestmark = [pytest.mark.slow, pytest.mark.xdist_group("season")]

DRYSIDE = Path(sys.executable).with_name("dryside")
SEASON_DAY = "2026-06-05"
ROLLS = ("26-001-N", "26-002-L", "26-003-J", "26-004-H", "26-005-F", "26-006-D", "26-007-B")


def environment(home: Path) -> dict[str, str]:
    """A person's surroundings without our own settings."""
    kept = {name: value for name, value in os.environ.items() if not name.startswith("DRYSIDE_")}
    return kept | {"HOME": str(home), "XDG_DATA_HOME": str(home / "data"), "TZ": "Europe/Lisbon"}


def run_demo(out: Path, home: Path, *words: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [DRYSIDE, "demo", "--out", out, *words], env=environment(home), capture_output=True, text=True, check=False
    )


@pytest.fixture(scope="module")
def season(tmp_path_factory):
    """The demo, run once; the folder with its book and its desk, and what it printed."""
    out = tmp_path_factory.mktemp("season")
    done = run_demo(out, out)
    assert done.returncode == 0, done.stderr[-4000:]
    return out, done.stdout


@pytest.fixture(scope="module")
def ask(season):
    """Run one command on the season's book and read its JSON."""
    out, _ = season

    def asked(*words: str):
        done = subprocess.run(
            [DRYSIDE, "--book", out / "book", *words, "--json"],
            env=environment(out) | {"DRYSIDE_TODAY": SEASON_DAY},
            capture_output=True,
            text=True,
            check=False,
        )
        assert done.returncode == 0, done.stderr
        return json.loads(done.stdout)

    return asked


def test_each_command_is_printed_as_a_person_would_type_it(season):
    _, printed = season
    for command in ("roll load", "frames import", "plan", "dropoff record", "receive", "tag", "invert", "sleeve file"):
        assert f"$ dryside {command}" in printed


def test_it_says_at_the_end_what_it_made_and_where(season):
    out, printed = season
    end = printed[printed.index("Where everything is:") :]
    assert str(out / "book") in end
    assert str(out / "book" / "pictures" / "positives") in end


def test_rolls_stand_where_the_season_left_them(ask):
    found = {roll["code"]: roll["state"] for roll in ask("roll", "list")["rolls"]}
    assert found == dict.fromkeys(ROLLS[:3], "sleeved") | dict.fromkeys(ROLLS[3:6], "scans back") | {
        ROLLS[6]: "exposed"
    }


def test_develop_and_scan_of_a_colour_roll_costs_about_12_and_a_4r_half_a_unit(season):
    # Common practice, no source: colour develop-and-scan of a 135 or 120 roll about 12, a 4R print about 0.50.
    out, _ = season
    lines = json.dumps(dump(out / "book")["order_lines"])
    assert [amount for amount in ('"7.00"', '"5.00"', '"2.00"') if amount not in lines] == []  # four 4R at 0.50


def test_slide_film_and_cine_film_went_to_the_lab_that_takes_them(ask):
    orders = ask("dropoff", "list")
    text = json.dumps(orders)
    assert "North Quay Photographic" in text
    assert "Harbour Lane Film" in text


def test_scans_carry_date_camera_exposure_and_caption_and_never_the_day_of_the_scan(season):
    import pyexiv2

    out, _ = season
    picture = next(path for path in sorted((out / "book" / "pictures").rglob("*.jpg")) if "26-001-N" in path.name)
    with pyexiv2.Image(str(picture)) as image:
        exif, xmp = image.read_exif(), image.read_xmp()
    assert exif["Exif.Photo.DateTimeOriginal"].startswith("2026:04:11")
    assert exif["Exif.Image.Model"] == "Halden 35"
    assert exif["Exif.Photo.ExposureTime"] == "1/125"
    assert "2026:05" not in exif["Exif.Photo.DateTimeOriginal"]
    assert "chart" in json.dumps(xmp)


def test_labels_carry_codes_that_an_outside_reader_reads(season):
    out, _ = season
    page = pypdfium2.PdfDocument(next((out / "book" / "paper").glob("O26-001*labels.pdf")))[0]
    read = {code.text for code in zxingcpp.read_barcodes(page.render(scale=4).to_pil())}
    assert {code for code in ROLLS[:3] if any(code in text for text in read)} == set(ROLLS[:3])


@pytest.mark.parametrize(
    ("pattern", "words"),
    [
        ("O26-001*2026-05-12.pdf", ("26-001-N", "C-41", "B&W", "42.00", "Ines Falk")),
        ("O26-002*2026-05-12.pdf", ("26-004-H", "ECN-2", "E-6", "push", "54.00")),
        ("contact-26-001-N.pdf", ("26-001-N", "Halden 35", "harbour wall")),
        ("cut plans/26-001-N.pdf", ("26-001-N", "24")),
        ("inserts/*001.pdf", ("26-001-N", "Negatives 2026")),
    ],
)
def test_papers_say_what_they_must(season, pattern, words):
    out, _ = season
    text = "".join(page.extract_text() for page in pypdf.PdfReader(next((out / "book" / "paper").glob(pattern))).pages)
    flat = " ".join(text.split())
    assert [word for word in words if word.lower() not in flat.lower()] == []


def test_positives_are_16_bit_and_labelled_as_the_film_is(season):
    import tifffile

    out, _ = season
    found = sorted((out / "book" / "pictures" / "positives").rglob("*.tif"))
    assert len(found) == 8
    picture = tifffile.imread(found[0])
    assert picture.dtype == "uint16"
    assert picture.shape[2] == 3
    with Image.open(found[0].with_suffix(".jpg")) as jpeg:
        assert jpeg.info["icc_profile"]
        assert io.BytesIO(jpeg.info["icc_profile"]).read(4)


def test_a_picture_is_found_by_words_with_the_way_to_its_strip(ask):
    text = json.dumps(ask("find", "harbour", "wall"))
    assert "26-001-N" in text
    assert "Negatives 2026" in text


def test_due_names_the_negatives_that_must_be_fetched_and_the_roll_that_waits(ask):
    text = json.dumps(ask("due"))
    assert "O26-002" in text


def test_every_file_agrees_with_its_checksum(ask):
    ask("check")


def test_a_second_run_adds_nothing(season):
    out, _ = season
    before = dump(out / "book")
    again = run_demo(out, out, "--json")
    assert again.returncode == 0, again.stderr[-2000:]
    assert json.loads(again.stdout)["ran"] == []
    assert differences(before, dump(out / "book")) == {}


def test_a_demo_that_is_killed_again_and_again_ends_in_the_same_book(season, tmp_path):
    out, _ = season
    chance = random.Random(20260605)
    for _ in range(6):
        running = subprocess.Popen(
            [DRYSIDE, "demo", "--out", tmp_path, "--quiet"],
            env=environment(tmp_path),
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        time.sleep(chance.uniform(1.5, 8.0))
        running.send_signal(signal.SIGKILL)
        running.wait()
    done = run_demo(tmp_path, tmp_path, "--quiet")
    assert done.returncode == 0, done.stderr[-2000:]
    assert differences(_placeless(dump(out / "book"), out), _placeless(dump(tmp_path / "book"), tmp_path)) == {}


def _placeless(book: dict[str, list], folder: Path) -> dict[str, list]:
    """The same content with the folder's own path taken out."""
    return {name: sorted(repr(row).replace(str(folder), "OUT") for row in rows) for name, rows in book.items()}
