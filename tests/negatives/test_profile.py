"""Profiles on disk."""

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dryside.film.refusal import Refusal
from dryside.negatives.profile import Profile, read_profile, summary, write_profile

PROFILE = Profile(
    process="c41",
    target="chart",
    base_density=(0.2, 0.5, 0.8),
    vector=tuple(0.1 * i for i in range(23)),
    differences=tuple(float(i) for i in range(24)),
    way={"capture": "strip-04.tif", "frame": "12"},
)


def test_a_profile_is_read_as_it_was_written(tmp_path):
    write_profile(PROFILE, tmp_path / "deep" / "a.json")
    assert read_profile(tmp_path / "deep" / "a.json", "c41") == PROFILE
    assert [path.name for path in (tmp_path / "deep").iterdir()] == ["a.json"]


@given(st.lists(st.floats(-5, 5), min_size=23, max_size=23))
def test_numbers_survive_exactly(tmp_path_factory, vector):
    path = tmp_path_factory.mktemp("profile") / "p.json"
    write_profile(Profile("e6", "wedge", (0.0, 0.1, 0.2), tuple(vector)), path)
    assert read_profile(path).vector == tuple(vector)


def changed(path, **values):
    document = json.loads(path.read_text())
    document.update(values)
    path.write_text(json.dumps(document))
    return path


@pytest.mark.parametrize(
    ("values", "message"),
    [
        ({"kind": "something"}, "this is not a profile"),
        ({"version": 9}, "written by a newer Dryside"),
        ({"vector": [1.0, 2.0]}, "2 numbers, 23 are needed"),
        ({"vector": ["x"] * 23}, "this profile is damaged"),
        ({"base_density": [0.1, 0.2]}, "this profile is damaged"),
        ({"base_density": [0.1, 0.2, float("nan")]}, "a number is not finite"),
    ],
)
def test_what_is_no_profile_is_refused_in_words(tmp_path, values, message):
    path = tmp_path / "p.json"
    write_profile(PROFILE, path)
    with pytest.raises(Refusal, match=message):
        read_profile(changed(path, **values))


def test_a_profile_for_another_process_is_refused(tmp_path):
    write_profile(PROFILE, tmp_path / "p.json")
    with pytest.raises(Refusal, match="it was made for c41, the film here is e6"):
        read_profile(tmp_path / "p.json", "e6")


def test_a_cut_file_is_refused(tmp_path):
    path = tmp_path / "p.json"
    write_profile(PROFILE, path)
    path.write_bytes(path.read_bytes()[:60])
    with pytest.raises(Refusal, match="cannot be read"):
        read_profile(path)


def test_a_place_that_cannot_be_written_is_refused(tmp_path):
    (tmp_path / "file").write_text("")
    with pytest.raises(Refusal, match="cannot be written"):
        write_profile(PROFILE, tmp_path / "file" / "p.json")


def test_the_summary_names_the_worst_patch_first():
    told = summary(PROFILE, [f"patch {i}" for i in range(24)])
    assert told["patches"][0] == {"name": "patch 23", "off": 23.0}
    assert told["median"] == 11.5
    assert told["measure"] == "CIEDE2000"
