"""A person with an empty book and a phone walks the whole way in the browser: from the shelf to the sleeve and back."""

from __future__ import annotations

import pytest

from dryside.book.folder import open_book
from web.browsing import PHONE, browser, page_of
from web.made_book import delivery, draw_strip, jpeg, picture
from web.serving import served

pytestmark = [pytest.mark.browser, pytest.mark.slow, pytest.mark.xdist_group("second browser")]

LINES = (
    "1 1/125 f8 50mm quay, low water #harbour",
    "1/250 f8 painted houses ***",
    "crane against the sky",
    "1/60 f2.8 Mira by the window *****",
    "stairs",
    "blank",
)


def press(page, name: str, *, role: str = "button") -> None:
    page.get_by_role(role, name=name).first.click()


def test_from_an_empty_book_to_a_picture_found_again(tmp_path):
    open_book(tmp_path / "book").close()
    (tmp_path / "receipt.jpg").write_bytes(jpeg(picture(5)))
    with (
        browser() as chromium,
        served(tmp_path / "book") as server,
        page_of(chromium, server.address, size=PHONE) as page,
    ):
        page.goto("/")
        press(page, "Put film on the shelf", role="link")
        shoot(page)
        at_the_lab(page, tmp_path)
        come_back(page, tmp_path)
        sleeve_and_find(page)


def shoot(page) -> None:
    """Film on the shelf, a roll loaded, its frames written, full."""
    page.fill("#name", "Almen Colour 200")
    page.fill("#iso", "200")
    press(page, "Add it")
    page.fill("#quantity", "5")
    press(page, "Put it there")
    page.wait_for_selector(".lots .big:text-is('5')")
    page.goto("/rolls/new")
    page.select_option("#stock", "Almen Colour 200")
    page.fill("#camera", "Almen 2")
    page.fill("#title", "Quay")
    press(page, "Load it")
    page.wait_for_selector("h1:text-is('Quay')")
    for number, line in enumerate(LINES, start=1):
        page.fill("#line", line)
        press(page, "Write")
        page.wait_for_selector(f"#frame-{number}")
    press(page, "It is full")
    page.wait_for_selector(".said:has-text('exposed and not yet at a lab')")


def at_the_lab(page, folder) -> None:
    """Two labs, a plan, papers, the record, the receipt."""
    press(page, "Plan its drop-off", role="link")
    press(page, "Add a lab", role="link")
    for name, price, days in (("Mill Bridge", "7", "3"), ("Quarry Street", "9", "1")):
        page.goto("/labs")
        if not page.locator("#name").is_visible():
            page.get_by_text("Fill in its prices").click()
        for field, value in (("#name", name), ("#develop-c41", price), ("#days-c41", days), ("#scan-price-0", "4")):
            page.fill(field, value)
        press(page, "Put the lab in the book")
        page.wait_for_selector(f"h1:text-is('{name}')")
    page.goto("/")
    press(page, "Plan the drop-off", role="link")
    page.locator(".wishes summary").click()
    page.locator("select[name=scan]").select_option("standard")
    press(page, "Keep")
    page.wait_for_selector("#hand-total:has-text('11.00 EUR')")
    assert page.locator(".plot-dot").count() == 2
    press(page, "Print order sheets and labels")
    page.wait_for_selector("#papers a", timeout=30_000)
    press(page, "I handed them in")
    page.wait_for_url("**/orders/**")
    page.fill("#receipt_number", "815")
    page.fill("#paid", "11,00")
    page.set_input_files("#photo", str(folder / "receipt.jpg"))
    press(page, "Note the receipt")
    page.wait_for_selector(".receipt")


def come_back(page, folder) -> None:
    """The zip taken in, a doubt decided, negatives fetched, captured and made positives."""
    page.goto("/")
    press(page, "They are here", role="link")
    page.set_input_files("#delivery-files", str(delivery(folder / "scans.zip", "0815", 6)))
    press(page, "Take it in")
    page.get_by_role("link", name="See it").click(timeout=40_000)
    page.locator(".doubt").get_by_role("button", name="Frame 6").click()
    page.wait_for_selector(".doubt[data-decided]")
    press(page, "Accept all that is sure")
    page.wait_for_selector(".said:has-text('Accepted')")
    page.goto("/orders")
    press(page, "O2", role="link")
    press(page, "I fetched the negatives")
    page.wait_for_selector(".said:has-text('Fetched')")
    page.goto("/negatives")
    press(page, "Quay", role="link")
    page.set_input_files("#capture-files", str(draw_strip(folder / "strip-1.tif")))
    press(page, "Add them")
    page.wait_for_selector(".captures img", timeout=60_000)
    press(page, "Make all positives")
    page.get_by_role("link", name="See it").click(timeout=90_000)


def sleeve_and_find(page) -> None:
    """Cut, into the binder; found by a word and by its place; a print made."""
    press(page, "Cut and sleeve it", role="link")
    page.fill("#binder", "2026")
    press(page, "It lies there now")
    page.wait_for_selector(".sleeve-page image")
    page.goto("/find?words=crane")
    press(page, "crane against the sky", role="link")
    page.wait_for_selector("#frame-title:text-is('Frame 3: crane against the sky')")
    press(page, "Print from it", role="link")
    page.locator("input[name=frame]").nth(2).check()
    press(page, "Make them")
    page.wait_for_selector(".job[data-state=done]", timeout=60_000)
    page.goto("/spending")
    page.wait_for_selector(".sum:has-text('11.00')")
