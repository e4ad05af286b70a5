"""In the field: frames logged with the network cut are kept on the phone and sent once when it is back."""

from __future__ import annotations

import shutil

import pytest

from web.browsing import DESK, PHONE, browser, page_of, until
from web.made_book import TODAY, make_book
from web.serving import Process, served, wait_for

pytestmark = [pytest.mark.browser, pytest.mark.slow, pytest.mark.xdist_group("browser")]

ROLL = "26-006-D"


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    folder = tmp_path_factory.mktemp("field")
    (folder / "files").mkdir()
    make_book(folder / "book", folder / "files")
    return folder / "book"


@pytest.fixture
def folder(made, tmp_path):
    shutil.copytree(made, tmp_path / "book")
    return tmp_path / "book"


@pytest.fixture(scope="module")
def chromium():
    with browser() as found:
        yield found


def captions(server) -> list[tuple[str, str | None]]:
    from dryside.book.frames import list_frames
    from dryside.book.rolls import find_roll

    with server.book.read() as conn:
        return [(one.label, one.caption) for one in list_frames(conn, find_roll(conn, ROLL).id)]


def log_frame(page, words: str) -> None:
    before = page.locator("#next-label").inner_text()
    page.fill("#words", words)
    page.locator("#log-button").click()
    until(page, "(before) => document.getElementById('next-label').textContent !== before", before)


@pytest.mark.parametrize("size", [PHONE, DESK], ids=["phone", "desk"])
def test_frames_logged_out_of_reach_are_sent_once_when_the_network_is_back(folder, chromium, size):
    with served(folder, today=TODAY) as server, page_of(chromium, server.address, size=size) as page:
        page.goto("/field")
        page.wait_for_selector("#reach.good")
        until(page, "!!navigator.serviceWorker")
        page.evaluate("navigator.serviceWorker.ready.then(() => true)")
        page.fill("#shutter", "1/250")
        page.fill("#aperture", "8")
        log_frame(page, "weir")
        page.wait_for_selector("#logged .mark.good")
        page.context.set_offline(True)
        log_frame(page, "lock gate")
        assert page.locator("#shutter").input_value() == "1/250"
        page.reload()
        page.wait_for_selector("#logged li:has-text('lock gate') .mark:text-is('on the phone')")
        log_frame(page, "bargee's dog")
        assert captions(server) == [("1", "weir")]
        page.context.set_offline(False)
        page.evaluate("dispatchEvent(new Event('online'))")
        wait_for(lambda: len(captions(server)) == 3)
        page.evaluate("dispatchEvent(new Event('online'))")
        page.reload()
        until(page, "document.querySelectorAll('#logged .mark.good').length === 3")
        assert captions(server) == [("1", "weir"), ("2", "lock gate"), ("3", "bargee's dog")]


def test_an_answer_that_got_lost_doubles_nothing(folder, chromium):
    with served(folder, today=TODAY) as server, page_of(chromium, server.address, size=PHONE) as page:
        page.goto("/field")
        page.wait_for_selector("#reach.good")
        lose = {"answers": 1}

        def maybe_lose(route):
            if lose["answers"]:
                lose["answers"] -= 1
                route.fetch()  # the server took it
                route.abort()  # and the phone never heard
            else:
                route.continue_()

        page.route("**/field/frames", maybe_lose)
        log_frame(page, "weir")
        page.wait_for_selector("#logged .mark.good")
        assert captions(server) == [("1", "weir")]


def test_plain_text_and_the_place_go_into_the_log(folder, chromium):
    where = {"latitude": 43.9012, "longitude": -11.5034}
    options = {"geolocation": where, "permissions": ["geolocation"]}
    with served(folder, today=TODAY) as server, page_of(chromium, server.address, size=PHONE, **options) as page:
        page.goto("/field")
        page.wait_for_selector("#reach.good")
        page.get_by_label("With the place").check()
        log_frame(page, "weir")
        page.wait_for_selector("#logged .mark.good")
        page.fill("#note", "1 June 2026\n2 1/125 f8 towpath\n3 same but f4")
        page.get_by_role("button", name="Put into the log").click()
        wait_for(lambda: len(captions(server)) == 3)
        with server.book.read() as conn:
            from dryside.book.frames import find_frame
            from dryside.book.rolls import find_roll

            frame = find_frame(conn, find_roll(conn, ROLL).id, "1")
        assert (frame.latitude, frame.longitude) == (43.9012, -11.5034)


def test_the_page_can_be_installed(folder, chromium):
    with served(folder, today=TODAY) as server, page_of(chromium, server.address, size=PHONE) as page:
        page.goto("/field")
        page.wait_for_selector("#reach.good")
        page.evaluate("navigator.serviceWorker.ready.then(() => true)")
        session = page.context.new_cdp_session(page)
        manifest = session.send("Page.getAppManifest")
        assert manifest["errors"] == []
        errors = session.send("Page.getInstallabilityErrors")["installabilityErrors"]
        assert [one["errorId"] for one in errors if one["errorId"] != "in-incognito"] == []


def test_a_server_that_was_killed_and_started_again_loses_no_frame(folder, chromium):
    server = Process(folder, environment={"DRYSIDE_TODAY": "2026-06-05"})
    server.start()
    try:
        with page_of(chromium, server.address, size=PHONE) as page:
            page.goto("/field")
            page.wait_for_selector("#reach.good")
            server.kill()
            log_frame(page, "weir")
            page.wait_for_selector("#logged .mark:text-is('on the phone')")
            server.start()
            page.evaluate("dispatchEvent(new Event('online'))")
            page.wait_for_selector("#logged .mark.good", timeout=20_000)
    finally:
        server.kill()
