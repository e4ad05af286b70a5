"""What somebody who means harm would try: other names and origins, bodies that are huge or slow, bombs, many guesses.

Ways after the OWASP Web Security Testing Guide (host header, request forgery, upload of malicious files, brute force).
"""

from __future__ import annotations

import io
import re
import shutil
import socket
import struct
import threading
import time
import zipfile
import zlib
from concurrent.futures import ThreadPoolExecutor
from urllib.parse import urlsplit

import httpx
import pytest

from dryside.web import passwords, security
from web.made_book import TODAY, jpeg, picture
from web.serving import served, wait_for
from web.test_security import PASSWORD_TEXT, token_of


@pytest.fixture(scope="module")
def server(template_book, tmp_path_factory):
    """One server for all tests of the module: they harm nothing, which is the point."""
    folder = tmp_path_factory.mktemp("attacked") / "book"
    shutil.copytree(template_book, folder)
    with served(folder, today=TODAY) as found:
        yield found


@pytest.fixture(scope="module")
def guarded(template_book, tmp_path_factory):
    folder = tmp_path_factory.mktemp("guarded") / "book"
    shutil.copytree(template_book, folder)
    with served(folder, today=TODAY, password_digest=passwords.digest(PASSWORD_TEXT)) as found:
        yield found


@pytest.fixture
def client(server):
    with httpx.Client(base_url=server.address, follow_redirects=True, timeout=60) as found:
        yield found


def headers_of(client) -> dict[str, str]:
    return {"x-dryside-token": token_of(client), "accept": "application/json"}


def said_raw(server, request: bytes, *, seconds: float = 10.0) -> bytes:
    """What the server answers to bytes that no client library would send."""
    where = urlsplit(server.address)
    with socket.create_connection((where.hostname, where.port), timeout=seconds) as line:
        line.sendall(request)
        found = b""
        while block := line.recv(65536):
            found += block
        return found


# --- names and origins --------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "host",
    ["book.evil.example", "127.0.0.1.evil.example", "localhost.evil.example:8137", "evil.example:80", "[::1", "",
     "127.0.0.1@evil.example", "evil.example@127.0.0.1", "127.0.0.1, evil.example", "localhost:1:2", "0x7f000001"],
)  # fmt: skip
def test_a_name_that_is_not_the_servers_is_turned_away(server, host):
    """As after DNS rebinding, where a stranger's name leads to this machine."""
    answer = said_raw(server, f"GET /rolls HTTP/1.1\r\nHost: {host}\r\nConnection: close\r\n\r\n".encode())
    assert answer.split(b" ", 2)[1] in (b"421", b"400"), answer[:200]
    assert b"Quay" not in answer


@pytest.mark.parametrize("host", ["localhost", "LOCALHOST:9", "127.0.0.1:65000", "[::1]:80"])
def test_the_servers_own_names_are_taken(server, host):
    answer = said_raw(server, f"GET /rolls HTTP/1.1\r\nHost: {host}\r\nConnection: close\r\n\r\n".encode())
    assert answer.startswith(b"HTTP/1.1 200"), answer[:200]


@pytest.mark.parametrize(
    "origin", ["https://evil.example", "null", "http://127.0.0.1", "http://127.0.0.1:1", "http://[::1", "file://"]
)
def test_a_change_from_a_second_origin_is_refused(client, server, origin):
    """Another port of this machine is another origin, though browsers send it the cookie."""
    data = {"to": "lost", "token": token_of(client)}
    answer = client.post("/rolls/26-004-H/move", data=data, headers={"origin": origin})
    assert answer.status_code == 403
    assert "access-control-allow-origin" not in answer.headers


def test_no_other_protocol_is_spoken(server):
    request = ("GET /jobs/1/events HTTP/1.1\r\nHost: localhost\r\nUpgrade: websocket\r\nConnection: Upgrade\r\n"
               "Sec-WebSocket-Key: AAAAAAAAAAAAAAAAAAAAAA==\r\nSec-WebSocket-Version: 13\r\n\r\n")  # fmt: skip
    assert not said_raw(server, request.encode()).startswith(b"HTTP/1.1 101")


# --- strangers ----------------------------------------------------------------------------------------------------


def test_every_page_picture_stream_and_call_asks_a_stranger_for_the_password(guarded):
    from dryside.web import rooms

    routes = [route for router in rooms.routers() for route in router.routes]
    open_to_all = ("/login", "/trust", "/trust/certificate.crt", "/field.webmanifest", "/field-worker.js")
    with httpx.Client(base_url=guarded.address) as client:
        for route in routes:
            if route.path in open_to_all:
                continue
            for method in route.methods - {"HEAD"}:
                answer = client.request(method, re.sub(r"\{[^}]+\}", "1", route.path))
                assert answer.status_code in (303, 401), (method, route.path, answer.status_code)
                assert answer.headers.get("location", "/login").startswith("/login")
        assert client.get("/api/openapi.json").status_code == 401
        assert "event-stream" not in client.get("/jobs/1/events").headers.get("content-type", "")


def test_a_stranger_with_a_made_up_session_or_token_is_still_one(guarded):
    cookies = {"dryside-session": "x" * 43}
    for headers in ({}, {"authorization": "Bearer x"}, {"authorization": "Basic eDp4"}, {"x-dryside-token": "0" * 64}):
        answer = httpx.post(f"{guarded.address}/api/undo/1", headers=headers, cookies=cookies)
        assert answer.status_code == 401


def test_guesses_sent_all_at_once_are_counted_one_by_one(guarded):
    with httpx.Client(base_url=guarded.address, timeout=60) as client:
        token = re.search(r'content="([0-9a-f]{64})"', client.get("/login").text)[1]
        headers, cookies = {"origin": guarded.address}, dict(client.cookies)

    def guess(number: int) -> int:
        data = {"password": f"guess {number}", "token": token}
        return httpx.post(
            f"{guarded.address}/login", data=data, headers=headers, cookies=cookies, timeout=60
        ).status_code

    with ThreadPoolExecutor(12) as many:
        answers = list(many.map(guess, range(12)))
    assert answers.count(403) <= passwords.FREE_ATTEMPTS
    assert answers.count(403) + answers.count(429) == 12


# --- bodies -------------------------------------------------------------------------------------------------------


def test_a_body_that_stops_coming_is_not_waited_for(server, monkeypatch):
    monkeypatch.setattr(security, "LONGEST_SILENCE_S", 0.4)
    with httpx.Client(base_url=server.address) as client:
        token, session = token_of(client), client.cookies["dryside-session"]
    request = (f"POST /uploads HTTP/1.1\r\nHost: localhost\r\nX-Dryside-Token: {token}\r\n"
               f"Cookie: dryside-session={session}\r\n"
               "Content-Type: application/json\r\nContent-Length: 900\r\nConnection: close\r\n\r\n{")  # fmt: skip
    assert said_raw(server, request.encode(), seconds=20).startswith(b"HTTP/1.1 408")


def test_slow_senders_keep_nobody_else_out(server):
    """Forty connections that send a byte now and then, as long as the pages of others take."""
    where, stop = urlsplit(server.address), threading.Event()
    head = b"POST /uploads HTTP/1.1\r\nHost: localhost\r\nContent-Length: 100000\r\n"
    lines = [socket.create_connection((where.hostname, where.port)) for _ in range(40)]
    try:
        for line in lines:
            line.sendall(head)
        for _ in range(5):
            assert httpx.get(f"{server.address}/rolls", timeout=20).status_code == 200
    finally:
        stop.set()
        for line in lines:
            line.close()


@pytest.mark.parametrize("kind", ["urlencoded", "multipart", "many fields", "deep json", "wide json"])
def test_a_form_or_call_that_is_huge_is_refused_in_words(client, kind):
    headers = headers_of(client)
    if kind == "urlencoded":
        answer = client.post("/rolls/26-004-H/line", data={"line": "1 " + "x" * (20 << 20)}, headers=headers)
    elif kind == "multipart":
        answer = client.post("/rolls/26-004-H/note", files={"note": (None, b"1 " + b"x" * (20 << 20))}, headers=headers)
    elif kind == "many fields":
        answer = client.post("/prints", files=[("frame", (None, b"1"))] * 3000, headers=headers)
    else:
        content = b"[" * 200_000 if kind == "deep json" else b'{"entries": [' + b"{}," * 200_000 + b"{}]}"
        answer = client.post("/field/frames", content=content, headers={**headers, "content-type": "application/json"})
    assert 400 <= answer.status_code < 500, answer.text[:300]
    assert answer.json()["refused"]["found"]


def test_paths_in_names_of_files_lead_nowhere(client, server):
    headers = headers_of(client)
    content = jpeg(picture(3))
    before = {path.name for path in server.book.root.parent.iterdir()}
    for name in ("../../../evil.jpg", "..\\..\\evil.jpg", "/etc/evil.jpg", "a\x00b.jpg", "con.jpg", "." * 200 + ".jpg"):
        made = client.post("/uploads", json={"kind": "delivery", "name": name, "size": len(content)}, headers=headers)
        path = f"/uploads/{made.json()['id']}"
        assert client.put(f"{path}?at=0", content=content, headers=headers).status_code == 200
        folder = server.book.root / "web" / "uploads" / made.json()["id"]
        assert sorted(one.name for one in folder.iterdir()) == ["about.json", "data.jpg"]
        assert client.delete(path, headers=headers).status_code == 200
    assert {path.name for path in server.book.root.parent.iterdir()} == before
    for path in ("/uploads/..%2f..", "/orders/..%2f1", "/papers/%2fetc%2fpasswd", "/papers/..%5cbook.db",
                 "/static/%2e%2e/app.py", "/static//etc/passwd", "/sleeves/..%2f../1"):  # fmt: skip
        assert client.get(path).status_code in (404, 405, 422), path
    assert client.delete("/uploads/..%2f..%2f", headers=headers).status_code in (404, 405)
    assert server.book.root.is_dir()


def test_a_file_that_is_not_what_its_name_says_is_refused_by_its_first_bytes(client):
    headers = headers_of(client)
    kinds = {
        "delivery": ("a.zip", "a.jpg", "a.tif", "a.png", "a.heic", "a.webp"),
        "capture": ("a.dng", "a.cr3", "a.raf"),
    }
    for kind, names in kinds.items():
        for name in names:
            made = client.post("/uploads", json={"kind": kind, "name": name, "size": 4096}, headers=headers).json()
            answer = client.put(f"/uploads/{made['id']}?at=0", content=b"MZ\x90\x00" + bytes(4092), headers=headers)
            assert answer.status_code == 422, name
            client.delete(f"/uploads/{made['id']}", headers=headers)


# --- bombs --------------------------------------------------------------------------------------------------------


def bomb_png(side: int) -> bytes:
    """A PNG of a few kilobytes that unpacks to side x side pixels."""

    def chunk(kind: bytes, content: bytes) -> bytes:
        return struct.pack(">I", len(content)) + kind + content + struct.pack(">I", zlib.crc32(kind + content))

    packer = zlib.compressobj(9)
    row = b"\x00" + bytes(3 * side)
    rows = b"".join(packer.compress(row) for _ in range(side)) + packer.flush()
    head = struct.pack(">IIBBBBB", side, side, 8, 2, 0, 0, 0)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", rows) + chunk(b"IEND", b"")


def test_a_picture_that_unpacks_beyond_measure_harms_nobody(client, server):
    photo = bomb_png(14_000)
    assert len(photo) < 1 << 20
    data = {"token": token_of(client), "receipt_number": "815"}
    answer = client.post(
        "/orders/O26-001/receipt", data=data, files={"photo": ("receipt.png", photo, "image/png")},
        headers={"origin": server.address},
    )  # fmt: skip
    assert answer.status_code < 500
    shown = re.search(r"/originals/\d+/640\.jpg", answer.text)
    if shown:
        assert client.get(shown[0], timeout=90).status_code in (200, 422)
    assert client.get("/orders/O26-001").status_code == 200


def test_a_zip_that_unpacks_beyond_measure_leaves_nothing_in_the_book(client, server):
    headers = headers_of(client)
    held = io.BytesIO()
    with zipfile.ZipFile(held, "w", zipfile.ZIP_DEFLATED, compresslevel=9) as packed:
        for number in range(3):
            with packed.open(f"scan-{number}.jpg", "w") as entry:
                for _ in range(160):
                    entry.write(bytes(1 << 20))
    bomb = held.getvalue()
    made = client.post(
        "/uploads", json={"kind": "delivery", "name": "a.zip", "size": len(bomb)}, headers=headers
    ).json()
    client.put(f"/uploads/{made['id']}?at=0", content=bomb, headers=headers)
    before = sum(path.stat().st_size for path in server.book.originals.rglob("*") if path.is_file())
    job = client.post("/back", json={"uploads": [made["id"]]}, headers=headers).json()

    def over():
        found = client.get(f"/jobs/{job['id']}").json()
        return found if found["state"] in ("done", "failed") else None

    found = wait_for(over, 60)
    after = sum(path.stat().st_size for path in server.book.originals.rglob("*") if path.is_file())
    assert after - before < 10 << 20
    assert found["state"] == "failed", found


def test_an_endless_stream_of_progress_ends_with_its_reader(client, server):
    """Readers of progress that go away leave nothing behind that works on."""
    from dryside.web.jobs import ask_for, cancel

    job = ask_for(server.book, "count slowly", {"roll": "none", "marks": "/nowhere", "steps": 1, "seconds": 1})
    cancel(server.book, job.id)
    began = time.monotonic()
    with client.stream("GET", f"/jobs/{job.id}/events") as answer:
        assert answer.headers["content-type"].startswith("text/event-stream")
        assert "cancelled" in answer.read().decode()
    assert time.monotonic() - began < 20
