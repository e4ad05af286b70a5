"""Every page answers, in words; pictures are sent again only when they changed; changes can be taken back."""

from __future__ import annotations

import re

import pytest

from web.test_security import token_of

PAGES = (
    "/", "/shelf", "/rolls", "/rolls/new", "/rolls/26-001-N", "/rolls/26-006-D", "/field", "/drop-off", "/orders",
    "/orders/O26-001", "/back", "/back/1", "/back/2", "/negatives", "/negatives?roll=26-001-N", "/prints",
    "/prints?roll=26-001-N", "/prints/26-001-N/2", "/sleeves", "/sleeves?roll=26-002-L", "/sleeves/Torva/1", "/labs",
    "/labs/Mill Bridge", "/spending", "/find", "/find?words=hous*", "/jobs", "/trust",
)  # fmt: skip


@pytest.mark.parametrize("path", PAGES)
def test_every_page_answers(reader, path):
    answer = reader.get(path)
    assert answer.status_code == 200, answer.text[:400]
    assert answer.text.count("<h1") == 1


def test_what_is_not_there_is_said_with_the_way_out(reader):
    answer = reader.get("/rolls/26-999-X")
    assert answer.status_code == 404
    assert "26-999-X" in answer.text
    assert "Traceback" not in answer.text


def test_an_empty_book_says_what_to_do_on_every_page(tmp_path):
    import httpx

    from dryside.book.folder import open_book
    from web.serving import served

    open_book(tmp_path / "empty").close()
    with served(tmp_path / "empty") as found, httpx.Client(base_url=found.address) as client:
        for path in ("/", "/shelf", "/rolls", "/drop-off", "/back", "/negatives", "/prints", "/sleeves", "/labs",
                     "/spending", "/orders", "/jobs", "/find"):  # fmt: skip
            answer = client.get(path)
            assert answer.status_code == 200, path
            assert 'class="empty"' in answer.text, path


def test_a_thumbnail_is_sent_once_and_confirmed_by_its_tag_after_that(reader):
    first = reader.get("/frames/1/320.jpg")
    assert first.headers["content-type"] == "image/jpeg"
    again = reader.get("/frames/1/320.jpg", headers={"if-none-match": first.headers["etag"]})
    assert again.status_code == 304
    assert again.content == b""


def test_pictures_come_in_a_few_sizes_only(reader):
    assert reader.get("/frames/1/3333.jpg").status_code == 422


def test_every_picture_says_its_size_so_that_nothing_moves(reader):
    for path in ("/rolls/26-001-N", "/find", "/back/1", "/prints?roll=26-001-N"):
        for image in re.findall(r"<img [^>]*>", reader.get(path).text):
            assert "width=" in image, image
            assert "height=" in image, image


def test_a_frame_typed_anew_can_be_taken_back(person):
    headers = {"x-dryside-token": token_of(person), "accept": "application/json"}
    line = "4 1/30 f2 50mm Mira laughing ****"
    written = person.post("/rolls/26-001-N/line", data={"line": line}, headers=headers).json()
    assert written["label"] == "4"
    assert written["caption"] == "Mira laughing"
    frame = next(one for one in person.get("/api/rolls/26-001-N").json()["frames"] if one["label"] == "4")
    assert (frame["shutter"], frame["rating"], frame["place"]) == ("1/30", 4, None)
    person.post(f"/undo/{written['undo']}", headers=headers)
    frame = next(one for one in person.get("/api/rolls/26-001-N").json()["frames"] if one["label"] == "4")
    assert (frame["shutter"], frame["rating"], frame["place"]) == ("1/60", 5, "Torva")


def test_a_line_that_cannot_be_read_is_refused_with_the_remedy(person):
    headers = {"x-dryside-token": token_of(person), "accept": "application/json"}
    answer = person.post("/rolls/26-001-N/line", data={"line": "4 1/250 f8 f4"}, headers=headers)
    assert answer.status_code == 422
    assert answer.json()["refused"]["remedy"]


def test_the_same_frames_from_a_phone_are_kept_once(person):
    headers = {"x-dryside-token": token_of(person)}
    entry = {"client_id": "11111111-2222", "roll": "26-006-D", "taken_at": "2026-06-01T10:00:00+02:00",
             "words": "1/125 f8 bandstand", "label": "1"}  # fmt: skip
    second = {**entry, "client_id": "33333333-4444", "taken_at": "2026-06-01T10:05:00+02:00", "words": "??? f"}
    first = person.post("/field/frames", json={"entries": [entry]}, headers=headers).json()["kept"]
    again = person.post("/field/frames", json={"entries": [entry, second]}, headers=headers).json()["kept"]
    assert [one["state"] for one in first] == ["kept"]
    assert [(one["state"], one["label"]) for one in again] == [("known", "1"), ("kept", "2")]
    frames = person.get("/api/rolls/26-006-D").json()["frames"]
    assert [(one["label"], one["caption"]) for one in frames] == [("1", "bandstand"), ("2", "??? f")]


def test_frames_of_one_second_keep_the_order_of_their_numbers(person):
    headers = {"x-dryside-token": token_of(person)}
    entries = [
        {"client_id": f"{number:08}", "roll": "26-006-D", "taken_at": "2026-06-01T10:00:00+02:00",
         "words": f"frame {number}", "label": str(number)}
        for number in (3, 1, 2)
    ]  # fmt: skip
    person.post("/field/frames", json={"entries": entries}, headers=headers)
    frames = person.get("/api/rolls/26-006-D").json()["frames"]
    assert [(one["label"], one["client_id"][-1]) for one in frames] == [("1", "1"), ("2", "2"), ("3", "3")]


def test_an_upload_goes_on_where_it_stopped_and_knows_what_it_is(person):
    headers = {"x-dryside-token": token_of(person)}
    content = b"PK\x03\x04" + bytes(range(256)) * 40
    about = {"kind": "delivery", "name": "scans.zip", "size": len(content)}
    made = person.post("/uploads", json=about, headers=headers).json()
    path = f"/uploads/{made['id']}"
    person.put(f"{path}?at=0", content=content[:5000], headers=headers)
    assert person.get(path).json()["received"] == 5000
    assert person.put(f"{path}?at=7000", content=content[7000:], headers=headers).status_code == 422
    person.put(f"{path}?at=0", content=content[:5000], headers=headers)
    assert person.put(f"{path}?at=5000", content=content[5000:], headers=headers).json()["received"] == len(content)
    for wrong in ({**about, "name": "scans.exe"}, {**about, "size": 0}, {**about, "size": 1 << 50}):
        assert person.post("/uploads", json=wrong, headers=headers).status_code == 422
    fake = person.post("/uploads", json=about, headers=headers).json()
    answer = person.put(f"/uploads/{fake['id']}?at=0", content=b"MZ not a zip", headers=headers)
    assert answer.status_code == 422
    assert "no ZIP file" in answer.json()["refused"]["found"]
