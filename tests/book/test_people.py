"""People, cameras, lenses: names once, found in any case, the keeper one."""

import pytest

from dryside.book.cameras import (
    add_camera,
    add_lens,
    find_or_add_camera,
    find_or_add_lens,
    get_camera,
    get_lens,
    update_camera,
)
from dryside.book.people import add_person, find_or_add_person, get_person, keeper, update_person
from dryside.film.refusal import NotFound, Refusal


def test_a_new_keeper_takes_over(book):
    with book.write() as conn:
        assert keeper(conn) is None
        add_person(conn, "Ida", is_keeper=True)
        add_person(conn, "Noor", is_keeper=True, email="noor@example.org")
        assert keeper(conn).name == "Noor"
        assert update_person(conn, 1, phone="1").phone == "1"
        assert find_or_add_person(conn, " Ida ").id == 1
        with pytest.raises(NotFound, match=r"person Tomas: not in this book\. In it: Ida, Noor"):
            get_person(conn, "Tomas")


@pytest.mark.parametrize("name", ["", "  "])
def test_nobody_and_nothing_is_without_a_name(book, name):
    for add in (add_person, add_camera, add_lens):
        with pytest.raises(Refusal, match="the name is empty"), book.write() as conn:
            add(conn, name)


def test_a_camera_and_a_lens_are_found_in_any_case_and_never_twice(book):
    with book.write() as conn:
        camera, lens = add_camera(conn, "Ondine 35", model="35"), add_lens(conn, "Nightjar", focal_mm=50.0)
        assert get_camera(conn, "ONDINE 35") == find_or_add_camera(conn, "ondine 35") == camera
        assert get_lens(conn, lens.id) == find_or_add_lens(conn, "NIGHTJAR") == lens
        assert update_camera(conn, camera.id, format="half").format == "half"
        with pytest.raises(Refusal, match="camera ondine 35: already in this book"):
            add_camera(conn, "ondine 35")
        with pytest.raises(NotFound, match=r"lens Plover: not in this book\. In it: Nightjar"):
            get_lens(conn, "Plover")
