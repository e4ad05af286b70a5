"""Uploads in a browser: the line cut in mid-file, the page loaded again, the server killed; folders of phone shots."""

from __future__ import annotations

import re
import zipfile
from urllib.parse import parse_qs, urlsplit

import numpy as np
import pytest

from dryside.web import uploads
from scans.pictures import drawn, write_jpeg
from scans.test_matching import scan_of, shot_of
from web.browsing import DESK, PHONE, page_of, until
from web.made_book import TODAY, delivery, jpeg
from web.serving import Process, served

pytestmark = [pytest.mark.browser, pytest.mark.slow, pytest.mark.xdist_group("second browser")]


def watch_pieces(page, *, at_piece: int = 0, then=None) -> list[int]:
    """Where each piece that is sent begins; at one of them something happens instead of its being sent."""
    begins: list[int] = []

    def see(route):
        begins.append(int(parse_qs(urlsplit(route.request.url).query)["at"][0]))
        if then and len(begins) == at_piece:
            then()
            route.abort()
        else:
            route.continue_()

    page.route(re.compile(r"/uploads/[0-9a-f]+\?at="), see)
    return begins


@pytest.mark.parametrize("size", [PHONE, DESK], ids=["phone", "desk"])
def test_an_upload_whose_line_is_cut_goes_on_by_itself_and_after_the_page_was_loaded_again(
    folder, chromium, size, tmp_path, monkeypatch
):
    monkeypatch.setattr(uploads, "PIECE_BYTES", 20_000)
    sent = delivery(tmp_path / "fair.zip", "1003", 6, first=40)
    with served(folder, today=TODAY) as server, page_of(chromium, server.address, size=size) as page:
        page.goto("/back")
        before = watch_pieces(page, at_piece=4, then=lambda: page.context.set_offline(True))
        page.set_input_files("#delivery-files", str(sent))
        page.get_by_role("button", name="Take it in").click()
        page.wait_for_selector("#take-in-said:has-text('The line is broken')")
        assert 0 < page.locator(".files progress").evaluate("one => one.value") < sent.stat().st_size
        page.unroute_all()
        later = watch_pieces(page)
        page.context.set_offline(False)
        while len(later) < 3:
            page.wait_for_timeout(20)
        assert later[0] == before[-1]
        page.goto("/back")
        page.wait_for_selector("#unfinished li:has-text('fair.zip')")
        here = uploads.unfinished(server.book, "delivery")[0].received
        assert here > later[0]
        page.unroute_all()
        last = watch_pieces(page)
        page.set_input_files("#delivery-files", str(sent))
        page.get_by_role("button", name="Take it in").click()
        page.get_by_role("link", name="See it").click(timeout=40_000)
        page.wait_for_selector("h1:has-text('fair')")
        assert last[0] == here
        assert last == sorted(set(last))
        page.goto("/back")
        assert page.locator("#unfinished").count() == 0


def test_an_unfinished_upload_is_dropped(folder, chromium):
    with served(folder, today=TODAY) as server, page_of(chromium, server.address, size=PHONE) as page:
        begun = uploads.begin(server.book, kind="delivery", name="fair.zip", size=100_000)
        uploads.add_piece(server.book, begun.id, 0, b"PK\x03\x04" + bytes(1000))
        page.goto("/back")
        page.get_by_role("button", name=re.compile("Drop it.*fair.zip")).click()
        until(page, "!document.getElementById('unfinished')")
        assert uploads.unfinished(server.book, "delivery") == []


def test_an_upload_goes_on_when_a_killed_server_is_back(folder, chromium, tmp_path):
    sent = delivery(tmp_path / "fair.zip", "1003", 6, first=40)
    with zipfile.ZipFile(sent, "a") as packed:
        packed.writestr("1003/other.bin", np.random.default_rng(1).bytes(9 << 20))
    server = Process(folder, environment={"DRYSIDE_TODAY": TODAY.isoformat()})
    server.start()
    try:
        with page_of(chromium, server.address) as page:
            page.goto("/back")
            begins = watch_pieces(page, at_piece=2, then=server.kill)
            page.set_input_files("#delivery-files", str(sent))
            page.get_by_role("button", name="Take it in").click()
            page.wait_for_selector("#take-in-said:has-text('The line is broken')")
            server.start()
            page.get_by_role("link", name="See it").click(timeout=40_000)
            page.wait_for_selector("h1:has-text('fair')")
            assert begins == [0, 4 << 20, 4 << 20, 8 << 20]
    finally:
        server.kill()


@pytest.mark.parametrize("size", [PHONE, DESK], ids=["phone", "desk"])
def test_a_folder_of_phone_shots_is_laid_beside_scans_and_log(folder, chromium, size, tmp_path):
    sent, shots = tmp_path / "allotment.zip", tmp_path / "phone" / "June"
    with zipfile.ZipFile(sent, "w") as packed:
        for number in range(1, 7):
            scene = drawn(60 + number, width=480, height=320)
            packed.writestr(f"1004/1004_{number:02}.jpg", jpeg(scan_of(scene, number)))
            write_jpeg(shots / f"shot-{20 + number}.jpg", shot_of(scene, number))
    (shots / "notes.txt").write_text("not a picture")
    with served(folder, today=TODAY) as server, page_of(chromium, server.address, size=size) as page:
        page.goto("/back")
        page.set_input_files("#delivery-files", str(sent))
        page.get_by_text("Phone shots made beside the frames").click()
        if size is DESK:
            page.set_input_files("#phone-folder", str(shots.parent))
            page.wait_for_selector("li:has-text('1 of other kinds is left out')")
        else:
            page.set_input_files("#phone-files", [str(path) for path in sorted(shots.glob("*.jpg"))])
        page.get_by_role("button", name="Take it in").click()
        page.get_by_role("link", name="See it").click(timeout=40_000)
        page.wait_for_selector("h1:has-text('allotment')")
        matched = page.locator(".match")
        assert matched.count() == 6
        assert page.locator(".match .phone img").count() == 6
        first = matched.first
        assert "Frame 1" in first.inner_text()
        assert "quay, low water" in first.inner_text()
        until(page, "[...document.querySelectorAll('.matches > li:first-child img')].every((one) => one.naturalWidth)")
        boxes = [one.bounding_box() for one in (first.locator(".marked img"), first.locator(".phone img"))]
        assert boxes[0]["x"] + boxes[0]["width"] <= boxes[1]["x"]
        page.get_by_role("button", name="Accept all that is sure").click()
        page.wait_for_selector(".said:has-text('Accepted: ')")
