"""Who may talk to the pages. Rules after the OWASP cheat sheets on sessions, request forgery and file upload."""

from __future__ import annotations

import logging
import re

import httpx
import pytest

from dryside.web import passwords, rooms
from dryside.web.settings import API_TOKENS, PASSWORD, new_api_token, read_setting, write_setting
from web.made_book import TODAY
from web.serving import served

PASSWORD_TEXT = "three wet negatives"


def token_of(client) -> str:
    return re.search(r'name="dryside-token" content="([0-9a-f]+)"', client.get("/").text)[1]


@pytest.fixture
def guarded(book_folder):
    with served(book_folder, today=TODAY, password_digest=passwords.digest(PASSWORD_TEXT)) as found:
        yield found


def test_a_page_is_served_on_loopback_without_a_password(reader):
    assert reader.get("/").status_code == 200


def test_a_request_that_names_another_host_is_refused(reader):
    answer = reader.get("/", headers={"host": "book.evil.example"})
    assert answer.status_code == 421
    assert "not a name of this server" in answer.text


def test_every_answer_carries_a_policy_without_inline_scripts_or_styles(reader):
    policy = reader.get("/").headers["content-security-policy"]
    assert "script-src 'self'" in policy
    assert "unsafe" not in policy
    assert reader.get("/").headers["x-content-type-options"] == "nosniff"


def test_no_page_holds_an_inline_script_a_style_or_an_outside_address(reader):
    for path in ("/", "/rolls", "/rolls/26-001-N", "/find", "/field", "/drop-off", "/back", "/negatives", "/prints",
                 "/sleeves", "/sleeves/Torva/1", "/labs", "/spending", "/shelf", "/orders", "/jobs"):  # fmt: skip
        text = reader.get(path).text
        assert not re.search(r"<script(?![^>]*\bsrc=)", text), path
        assert not re.search(r"\sstyle=|<style|\son\w+=", text), path
        assert not re.search(r'(?:src|href|action)="(?:https?:)?//', text), path


def test_the_session_cookie_is_kept_from_scripts_and_other_sites(reader):
    reader.cookies.clear()
    cookie = reader.get("/").headers["set-cookie"]
    assert "HttpOnly" in cookie
    assert "SameSite=Strict" in cookie


def test_a_change_without_a_token_changes_nothing(person, server):
    person.get("/")
    answer = person.post("/rolls/26-004-H/move", data={"to": "lost"})
    assert answer.status_code == 403
    assert person.get("/api/rolls/26-004-H").json()["roll"]["state"] == "exposed"


def test_a_form_with_another_sessions_token_changes_nothing(person, server):
    with httpx.Client(base_url=server.address) as other:
        stolen = token_of(other)
    person.get("/")
    data = {"to": "lost", "token": stolen}
    answer = person.post("/rolls/26-004-H/move", data=data, headers={"origin": server.address})
    assert answer.status_code == 403
    assert person.get("/api/rolls/26-004-H").json()["roll"]["state"] == "exposed"


def test_a_form_from_another_site_changes_nothing_even_with_the_right_token(person):
    data = {"to": "lost", "token": token_of(person)}
    answer = person.post("/rolls/26-004-H/move", data=data, headers={"origin": "https://evil.example"})
    assert answer.status_code == 403


def test_a_form_with_its_own_token_is_taken(person, server):
    data = {"to": "lost", "token": token_of(person)}
    answer = person.post("/rolls/26-004-H/move", data=data, headers={"origin": server.address})
    assert answer.status_code == 200
    assert "26-004-H is lost" in answer.text


def test_every_route_that_changes_something_asks_for_the_token(server):
    safe = {"GET", "HEAD", "OPTIONS"}
    routes = [route for router in rooms.routers() for route in router.routes]
    changing = [(one.path, method) for one in routes for method in one.methods - safe]
    assert len(changing) > 30
    with httpx.Client(base_url=server.address) as client:
        client.get("/")
        for path, method in changing:
            filled = re.sub(r"\{[^}]+\}", "1", path)
            bare = client.request(method, filled, headers={"origin": server.address})
            as_form = client.request(method, filled, data={"x": "1"}, headers={"origin": server.address})
            assert bare.status_code == 403, (method, path, bare.status_code)
            assert as_form.status_code == 403, (method, path, as_form.status_code)


def test_a_stranger_sees_the_door_only(guarded):
    with httpx.Client(base_url=guarded.address) as client:
        answer = client.get("/rolls")
        assert answer.status_code == 303
        assert answer.headers["location"].startswith("/login")
        assert client.get("/api/rolls").status_code == 401
        assert client.get("/frames/1/320.jpg").status_code == 303


def test_the_right_password_opens_and_a_new_session_begins(guarded):
    with httpx.Client(base_url=guarded.address, follow_redirects=True) as client:
        token = re.search(r'content="([0-9a-f]{64})"', client.get("/login").text)[1]
        before = client.cookies["dryside-session"]
        data = {"password": PASSWORD_TEXT, "token": token, "to": "/rolls"}
        answer = client.post("/login", data=data, headers={"origin": guarded.address})
        assert answer.url.path == "/rolls"
        assert client.cookies["dryside-session"] != before


def test_attempts_are_slowed_after_some_wrong_ones(guarded):
    with httpx.Client(base_url=guarded.address) as client:
        token = re.search(r'content="([0-9a-f]{64})"', client.get("/login").text)[1]
        headers = {"origin": guarded.address}
        data = {"password": "wrong", "token": token}
        answers = [client.post("/login", data=data, headers=headers).status_code for _ in range(6)]
        right = client.post("/login", data={**data, "password": PASSWORD_TEXT}, headers=headers)
    assert answers[:4] == [403] * 4
    assert 429 in answers
    assert right.status_code == 429


def test_the_password_is_kept_as_a_digest_only(book_folder, guarded):
    write_setting(guarded.book, PASSWORD, passwords.digest(PASSWORD_TEXT))
    kept = read_setting(guarded.book, PASSWORD)
    assert kept.startswith("$argon2id$")
    assert PASSWORD_TEXT not in kept


def test_a_short_password_is_refused():
    from dryside.film.refusal import Refusal

    with pytest.raises(Refusal, match="10 are needed"):
        passwords.digest("short")


def test_a_token_for_scripts_opens_the_api_and_nothing_else(book_folder):
    from dryside.book.folder import open_book

    with open_book(book_folder) as book:
        token = new_api_token(book, "backup")
        assert token not in str(read_setting(book, API_TOKENS))
    headers = {"authorization": f"Bearer {token}"}
    with served(book_folder, today=TODAY, password_digest=passwords.digest(PASSWORD_TEXT)) as found:
        with httpx.Client(base_url=found.address, headers=headers) as client:
            assert client.get("/api/rolls").status_code == 200
            assert client.post("/api/rolls/26-004-H/move", json={"to": "lost"}).status_code == 200
            assert client.get("/rolls").status_code == 303
        wrong = httpx.get(f"{found.address}/api/rolls", headers={"authorization": "Bearer dryside_no"})
        assert wrong.status_code == 401


def test_a_redirect_after_login_stays_on_these_pages():
    from dryside.web.pages import own_path

    assert own_path("/rolls?x=1", "/") == "/rolls?x=1"
    for elsewhere in ("//evil.example", "/\\evil.example", "https://evil.example", "rolls", "", None, "/a\nb"):
        assert own_path(elsewhere, "/") == "/"


def test_paths_never_come_from_the_client(reader):
    for path in ("/papers/..%2f..%2fbook.db", "/papers/%2e%2e/book.db", "/static/..%2fapp.py",
                 "/rolls/26-001-N/papers/99"):  # fmt: skip
        assert reader.get(path).status_code == 404


def test_a_body_without_end_is_cut_off(reader):
    headers = {"x-dryside-token": token_of(reader)}
    answer = reader.post("/uploads", content=b"x" * (49 << 20), headers=headers)
    assert answer.status_code == 413


def test_no_secret_is_written_to_the_log(guarded, caplog):
    with caplog.at_level(logging.DEBUG), httpx.Client(base_url=guarded.address) as client:
        token = re.search(r'content="([0-9a-f]{64})"', client.get("/login").text)[1]
        data = {"password": PASSWORD_TEXT, "token": token}
        client.post("/login", data=data, headers={"origin": guarded.address})
        secret = client.cookies["dryside-session"]
    own = "\n".join(record.getMessage() for record in caplog.records if record.name.startswith(("dryside", "uvicorn")))
    assert PASSWORD_TEXT not in own
    assert secret not in own
    assert token not in own
