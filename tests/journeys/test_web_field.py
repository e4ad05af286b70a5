"""In the field: frames logged with the network cut are kept on the phone and sent once when it is back."""

from __future__ import annotations

import pytest

from web.browsing import DESK, PHONE, page_of, until
from web.made_book import TODAY
from web.serving import Process, served, wait_for

pytestmark = [pytest.mark.browser, pytest.mark.slow, pytest.mark.xdist_group("second browser")]

ROLL = "26-006-D"


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


def test_two_tabs_and_a_hasty_finger_give_no_number_twice(folder, chromium):
    with served(folder, today=TODAY) as server, page_of(chromium, server.address, size=PHONE) as page:
        page.goto("/field")
        page.wait_for_selector("#reach.good")
        page.evaluate("navigator.serviceWorker.ready.then(() => true)")
        other = page.context.new_page()
        other.goto("/field")
        other.wait_for_selector("#reach.good")
        page.context.set_offline(True)
        for one in (page, other):  # three presses at once in each tab, while neither waits for the other
            one.evaluate("for (let n = 0; n < 3; n++) document.getElementById('log-form').requestSubmit()")
        until(page, "document.querySelectorAll('#logged .mark').length === 6")
        page.context.set_offline(False)
        for one in (page, other):
            one.evaluate("dispatchEvent(new Event('online'))")
        until(other, "document.querySelectorAll('#logged .mark.good').length === 6")
        assert [label for label, _ in captions(server)] == [str(number) for number in range(1, 7)]


def test_a_tab_that_is_closed_while_it_sends_loses_and_doubles_nothing(folder, chromium):
    with served(folder, today=TODAY) as server, page_of(chromium, server.address, size=PHONE) as page:
        page.goto("/field")
        page.wait_for_selector("#reach.good")
        other = page.context.new_page()
        other.goto("/field")
        other.wait_for_selector("#reach.good")
        held = []
        other.route("**/field/frames", lambda route: held.append(route))
        log_frame(other, "weir")
        while not held:
            other.wait_for_timeout(20)
        held[0].fetch()  # the server took it, and the tab is gone before it hears so
        other.close()
        assert captions(server) == [("1", "weir")]
        page.reload()
        page.wait_for_selector("#logged .mark.good")
        log_frame(page, "lock gate")
        until(page, "document.querySelectorAll('#logged .mark.good').length === 2")
        assert captions(server) == [("1", "weir"), ("2", "lock gate")]


def test_two_phones_that_logged_the_same_number_out_of_reach_both_keep_theirs(folder, chromium):
    with (
        served(folder, today=TODAY) as server,
        page_of(chromium, server.address, size=PHONE) as one,
        page_of(chromium, server.address, size=PHONE) as two,
    ):
        for phone, words in ((one, "weir"), (two, "lock gate")):
            phone.goto("/field")
            phone.wait_for_selector("#reach.good")
            phone.context.set_offline(True)
            log_frame(phone, words)
            assert phone.locator("#logged li strong").inner_text() == "1"
        for phone in (one, two):
            phone.context.set_offline(False)
            phone.evaluate("dispatchEvent(new Event('online'))")
            phone.wait_for_selector("#logged .mark.good")
        assert captions(server) == [("1", "weir"), ("2", "lock gate")]
        assert two.locator("#logged li strong").inner_text() == "2"
        assert "Frame 1 was logged before" in two.locator("#logged").inner_text()
        two.fill("#note", "1 1/60 f4 another weir")
        two.get_by_role("button", name="Put into the log").click()
        two.wait_for_selector("#note-said:has-text('says otherwise of 1')")
        assert two.locator("#note").input_value() == "1 1/60 f4 another weir"


def test_a_phone_whose_clock_is_wrong_logs_by_the_book_s(folder, chromium):
    from datetime import datetime, timedelta

    from dryside.book.frames import list_frames
    from dryside.book.rolls import find_roll

    now = datetime.now().astimezone()
    with served(folder) as server, page_of(chromium, server.address, size=PHONE) as page:
        page.clock.set_system_time(now - timedelta(days=400))
        page.goto("/field")
        page.wait_for_selector("#clock:visible")
        page.context.set_offline(True)
        log_frame(page, "weir")
        page.context.set_offline(False)
        page.evaluate("dispatchEvent(new Event('online'))")
        page.wait_for_selector("#logged .mark.good")
        with server.book.read() as conn:
            taken = list_frames(conn, find_roll(conn, ROLL).id)[0].taken_at
    assert abs(datetime.fromisoformat(taken) - now) < timedelta(minutes=3)


@pytest.mark.parametrize("reach", ["in reach", "out of reach"])
def test_a_frame_logged_by_mistake_is_taken_out_and_put_back(folder, chromium, reach):
    with served(folder, today=TODAY) as server, page_of(chromium, server.address, size=PHONE) as page:
        page.goto("/field")
        page.wait_for_selector("#reach.good")
        if reach == "out of reach":
            page.context.set_offline(True)
        log_frame(page, "my pocket")
        if reach == "in reach":
            page.wait_for_selector("#logged .mark.good")
        page.locator("#log-said").get_by_role("button", name="Undo").click()
        until(page, "document.getElementById('next-label').textContent === '1'")
        page.context.set_offline(False)
        page.evaluate("dispatchEvent(new Event('online'))")
        wait_for(lambda: captions(server) == [])
        page.locator("#log-said").get_by_role("button", name="Undo").click()
        page.wait_for_selector("#logged .mark.good")
        assert captions(server) == [("1", "my pocket")]


def test_a_place_that_is_refused_keeps_no_frame_back(folder, chromium):
    with served(folder, today=TODAY) as server, page_of(chromium, server.address, size=PHONE) as page:
        page.goto("/field")
        page.wait_for_selector("#reach.good")
        page.get_by_label("With the place").check()
        log_frame(page, "weir")
        page.wait_for_selector("#place-said:has-text('does not allow the place')")
        page.wait_for_selector("#logged .mark.good")
        assert captions(server) == [("1", "weir")]
        page.reload()
        page.wait_for_selector("#reach.good")
        assert page.get_by_label("With the place").is_checked()


def test_one_thumb_hits_everything_on_a_small_phone(folder, chromium):
    """44 px: WCAG 2.2's target size (enhanced); the button that logs stays in sight while the fields are filled in."""
    small_phone = {"size": {"width": 320, "height": 568}, "has_touch": True}
    with served(folder, today=TODAY) as server, page_of(chromium, server.address, **small_phone) as page:
        page.goto("/field")
        page.wait_for_selector("#reach.good")
        small = page.evaluate(
            """[...document.querySelectorAll('main :is(button, input, select, textarea, label.check, .camera)')]
                .filter((one) => one.offsetParent && !one.matches('label input, .camera input'))
                .map((one) => [one.outerHTML.slice(0, 80), one.getBoundingClientRect()])
                .filter(([, box]) => box.height < 44 || box.width < 44).map(([words]) => words)"""
        )
        assert small == []
        button = page.locator("#log-button")
        page.locator("#shutter").scroll_into_view_if_needed()
        box = button.bounding_box()
        assert box["y"] + box["height"] <= 568
        button.tap()
        page.wait_for_selector("#log-said:has-text('Frame 1 is logged')")
