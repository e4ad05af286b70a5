"""Negatives in the browser: captures added, a corner dragged, controls moved, the roll queued; jobs that survive."""

from __future__ import annotations

import re
import shutil

import httpx
import pytest

from dryside.book.folder import open_book
from dryside.scans.delivered import scans_of_delivery
from dryside.web.jobs import ask_for, get_job
from web.browsing import AXE_RULES, DESK, PHONE, WIDE, layout_faults, page_of, until
from web.made_book import TODAY, draw_strip, make_book, picture
from web.serving import Process, served, wait_for

pytestmark = [pytest.mark.browser, pytest.mark.slow, pytest.mark.xdist_group("browser")]


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    folder = tmp_path_factory.mktemp("negatives")
    (folder / "files").mkdir()
    make_book(folder / "book", folder / "files")
    return folder


@pytest.fixture(scope="module")
def strip(made):
    return draw_strip(made / "files" / "strip-1.tif")


@pytest.fixture(scope="module")
def server(made, strip):
    shutil.copytree(made / "book", made / "served")
    with served(made / "served", today=TODAY) as found:
        yield found


@pytest.fixture(scope="module")
def looked(server, chromium, strip):
    """The address of a capture that was added through the page."""
    with page_of(chromium, server.address) as page:
        page.goto("/negatives?roll=26-001-N")
        page.set_input_files("#capture-files", str(strip))
        page.get_by_role("button", name="Add them").click()
        page.wait_for_selector(".captures img", timeout=60_000)
        return page.locator(".captures a").first.get_attribute("href")


def shown(page) -> int:
    return int(page.locator("#made").get_attribute("data-shown") or 0)


@pytest.mark.parametrize("size", [PHONE, DESK], ids=["phone", "desk"])
def test_the_positive_follows_the_controls_for_the_roll_and_for_one_frame(server, chromium, looked, size):
    with page_of(chromium, server.address, size=size) as page:
        page.goto(looked)
        page.wait_for_selector("#made[data-shown]", timeout=30_000)
        assert page.locator(".found-frame").count() == 3
        assert page.locator(".hole").count() > 20
        before = shown(page)
        slider = page.get_by_label("Lighter")
        slider.focus()
        for _ in range(4):
            page.keyboard.press("ArrowRight")
        wait_for(lambda: shown(page) > before)
        page.wait_for_selector("#controls-said:has-text('Kept for the whole roll')")
        page.get_by_label("this frame").check()
        page.get_by_label("Contrast").focus()
        page.keyboard.press("ArrowRight")
        page.wait_for_selector("#controls-said:has-text('Kept for this frame')")
        page.get_by_role("button", name="As found").click()
        page.get_by_role("button", name="Undo").click()
        until(page, "Number(document.getElementById('c-contrast').value) > 0")
        page.get_by_role("button", name="Tap a grey").click()
        page.locator("#made").click(position={"x": 60, "y": 60})
        until(page, "document.getElementById('neutral').getAttribute('aria-pressed') === 'false'")


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_page_of_a_capture_breaks_no_rule_of_accessible_content(server, chromium, looked, scheme):
    from axe_playwright_python.sync_playwright import Axe

    size = PHONE if scheme == "dark" else DESK
    with page_of(chromium, server.address, size=size, color_scheme=scheme, bypass_csp=True) as page:
        for place in (looked, "/negatives?roll=26-001-N"):
            page.goto(place)
            page.wait_for_selector("#made[data-shown], .captures img")
            broken = Axe().run(page, options=AXE_RULES).response["violations"]
            assert [(one["id"], one["nodes"][0]["html"][:160]) for one in broken] == []


@pytest.mark.parametrize("size", [PHONE, DESK, WIDE], ids=["phone", "desk", "wide"])
def test_the_page_of_a_capture_fits_and_moves_nothing_while_its_positive_comes(server, chromium, looked, size):
    with page_of(chromium, server.address, size=size) as page:
        page.goto(looked)
        layout_faults(page)
        page.goto(looked)
        page.wait_for_selector("#made[data-shown]")
        assert layout_faults(page) == []


def test_a_corner_is_dragged_and_moved_by_keys_and_a_frame_added(server, chromium, looked):
    with page_of(chromium, server.address) as page:
        page.goto(looked)
        page.wait_for_selector("#made[data-shown]", timeout=30_000)
        corner = page.locator(".corner").nth(2)
        before = corner_x(corner)
        box = corner.bounding_box()
        assert min(box["width"], box["height"]) >= 44
        page.mouse.move(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
        page.mouse.down()
        page.mouse.move(box["x"] - 12, box["y"] - 4, steps=4)
        page.mouse.up()
        moved = corner_x(page.locator(".corner").nth(2))
        assert moved < before - 5
        page.locator(".corner").nth(2).focus()
        page.keyboard.press("Shift+ArrowLeft")
        assert corner_x(page.locator(".corner").nth(2)) == pytest.approx(moved - 10, abs=0.1)
        page.get_by_role("button", name="Take this frame out").click()
        page.get_by_role("button", name="Add a frame").click()
        page.get_by_label("Its number").fill("5")
        page.get_by_role("button", name="As they were").click()
        page.locator(".found-frame").nth(1).click()
        page.locator(".corner").nth(0).focus()
        page.keyboard.press("ArrowRight")
        page.get_by_role("button", name="Keep these frames").click()
        page.wait_for_url("**?frame=1", timeout=30_000)
        page.wait_for_selector("#made[data-shown]", timeout=30_000)
        kept = page.locator(".found-frame").nth(1).get_attribute("points")
        page.get_by_role("button", name="Undo").click()
        page.wait_for_selector(".said:has-text('Taken back: the frames of strip-1.tif')")
        page.wait_for_selector("#made[data-shown]", timeout=30_000)
        assert page.locator(".found-frame").nth(1).get_attribute("points") != kept


def test_frames_are_drawn_by_hand_where_no_film_is_seen(server, chromium, made):
    """A capture that shows a picture and nothing of the film's edges."""
    import tifffile

    pixels = (picture(3, width=900, height=600).astype("uint16") * 180) + 4000
    tifffile.imwrite(made / "files" / "close.tif", pixels, photometric="rgb", metadata=None)
    with page_of(chromium, server.address) as page:
        page.goto("/negatives?roll=26-002-L")
        page.set_input_files("#capture-files", str(made / "files" / "close.tif"))
        page.get_by_role("button", name="Add them").click()
        page.wait_for_selector(".no-picture:text-is('no film found')", timeout=60_000)
        page.locator(".captures a").first.click()
        page.wait_for_selector(".refusal:has-text('Or draw the frames yourself')")
        page.get_by_role("button", name="Add a frame").click()
        page.get_by_label("Its number").fill("3")
        page.get_by_role("button", name="Keep these frames").click()
        page.wait_for_selector("#made[data-shown]", timeout=60_000)
        assert page.locator(".found-label").text_content() == "3"
        page.wait_for_selector("#positive-words:has-text('Frame 3')")
        page.goto("/negatives?roll=26-002-L")
        page.get_by_role("button", name="Make all positives").click()
        page.wait_for_selector(".job:has-text('1 positive is made')", timeout=90_000)


@pytest.mark.parametrize("size", [PHONE, DESK], ids=["phone", "desk"])
def test_a_slider_lays_the_lab_s_scan_over_the_positive_of_the_same_frame(server, chromium, looked, size):
    with page_of(chromium, server.address, size=size) as page:
        page.goto(looked)
        page.wait_for_selector("#made[data-shown]", timeout=30_000)
        assert page.locator(".found-label").all_text_contents() == ["1", "2", "3"]
        slider = page.get_by_label("The lab’s scan from the left")
        slider.focus()
        page.keyboard.press("End")
        until(page, "document.getElementById('lab-scan').naturalWidth > 0")
        assert uncovered(page) == 1.0
        page.keyboard.press("Home")
        assert uncovered(page) == 0.0
        box = slider.bounding_box()
        page.mouse.click(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
        assert uncovered(page) == pytest.approx(0.5, abs=0.06)
        made, scan = (page.locator(one).bounding_box() for one in ("#made", "#lab-scan"))
        assert scan == pytest.approx(made, abs=0.2)
        page.locator(".found-frame").nth(1).click()
        page.wait_for_selector("#positive-words:has-text('Frame 2')")
        with server.book.read() as conn:
            scans = {one.label: one.id for one in scans_of_delivery(conn, 1)}
        assert page.locator("#lab-scan").get_attribute("src") == f"/scans/{scans['2']}/1600.jpg"


def corner_x(corner) -> float:
    return float(re.match(r"translate\(([\d.]+) ", corner.get_attribute("transform"))[1])


def uncovered(page) -> float:
    """How much of the width shows the lab's scan."""
    clip = page.locator("#lab-scan").evaluate("one => getComputedStyle(one).clipPath")
    sides = re.match(r"inset\(0(?:px)?(?: ([\d.]+)(?:%|px)(?: 0(?:px)? 0(?:px)?)?)?\)", clip)
    return 1.0 - float(sides[1] or 0) / 100


def test_small_frames_that_were_dropped_are_made_again_when_they_are_looked_at(server, looked):
    kept = server.book.root / "web" / "small" / looked.rsplit("/", 1)[1]
    before = sorted(path.name for path in kept.iterdir())
    shown = httpx.get(f"{server.address}{looked}/frames/1/positive.jpg")
    for path in kept.iterdir():
        path.unlink()
    again = httpx.get(f"{server.address}{looked}/frames/1/positive.jpg", timeout=60)
    assert again.status_code == 200
    assert sorted(path.name for path in kept.iterdir()) == before
    assert abs(len(again.content) - len(shown.content)) < 0.01 * len(shown.content)
    assert httpx.get(f"{server.address}{looked}/picture.jpg").status_code == 200


def test_the_roll_is_queued_and_its_positives_are_filed(server, chromium, looked):
    with page_of(chromium, server.address) as page:
        page.goto("/negatives?roll=26-001-N")
        page.get_by_role("button", name="Make all positives").click()
        page.get_by_role("link", name="See it").wait_for(timeout=90_000)
        assert page.locator(".job").first.get_attribute("data-state") == "done"


def test_a_job_survives_a_killed_server_and_goes_on_where_it_was(made, tmp_path, chromium):
    folder, marks = tmp_path / "book", tmp_path / "marks"
    shutil.copytree(made / "book", folder)
    marks.mkdir()
    server = Process(folder, environment={"DRYSIDE_TRY_JOBS": "yes"})
    server.start()
    try:
        with open_book(folder) as book, page_of(chromium, server.address) as page:
            job = ask_for(book, "count slowly", {"steps": 12, "seconds": 0.3, "marks": str(marks)})
            page.goto("/jobs")
            wait_for(lambda: len(list(marks.iterdir())) >= 3)
            page.reload()
            page.wait_for_selector(".job[data-state=running] progress")
            server.kill()
            left = len(list(marks.iterdir()))
            server.start()
            page.reload()
            page.wait_for_selector(".job[data-state=done]", timeout=30_000)
            makers = [mark.read_text() for mark in sorted(marks.iterdir(), key=lambda mark: int(mark.name))]
            assert len(makers) == 12
            assert len(set(makers[:left])) == 1
            assert makers[-1] != makers[0]
            with book.read() as conn:
                assert get_job(conn, job.id).done == 12
    finally:
        server.kill()


def test_a_job_is_cancelled_and_tried_again(made, tmp_path, chromium):
    folder, marks = tmp_path / "book", tmp_path / "marks"
    shutil.copytree(made / "book", folder)
    marks.mkdir()
    server = Process(folder, environment={"DRYSIDE_TRY_JOBS": "yes"})
    server.start()
    try:
        with open_book(folder) as book, page_of(chromium, server.address, size=PHONE) as page:
            ask_for(book, "count slowly", {"steps": 30, "seconds": 0.2, "marks": str(marks)})
            page.goto("/jobs")
            wait_for(lambda: list(marks.iterdir()))
            page.get_by_role("button", name="Cancel").click()
            page.get_by_role("button", name="Try again").wait_for()
            stopped = len(list(marks.iterdir()))
            page.wait_for_timeout(900)
            assert len(list(marks.iterdir())) <= stopped + 1
            page.get_by_role("button", name="Try again").click()
            page.wait_for_selector(".job[data-state=done]", timeout=30_000)
    finally:
        server.kill()
