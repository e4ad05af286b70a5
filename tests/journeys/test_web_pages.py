"""Journeys through the pages in a real Chromium, at a phone's and a desk's width, with clicks, keys, drags, uploads."""

from __future__ import annotations

import shutil

import pytest

from dryside.book.folder import open_book
from dryside.web import find_page, passwords
from dryside.web.certificate import certificate_for
from web.browsing import AXE_RULES, DESK, PHONE, WIDE, layout_faults, page_of, until
from web.made_book import TODAY, delivery, make_book
from web.serving import served, wait_for

pytestmark = [pytest.mark.browser, pytest.mark.slow, pytest.mark.xdist_group("browser")]

PLACES = (
    "/", "/shelf", "/rolls", "/rolls/new", "/rolls/26-001-N#frame-2", "/rolls/26-006-D", "/field", "/drop-off",
    "/orders", "/orders/O26-001", "/back", "/back/1", "/back/2", "/negatives", "/negatives?roll=26-001-N", "/prints",
    "/prints?roll=26-001-N", "/prints/26-001-N/2", "/sleeves?roll=26-002-L", "/sleeves?find=26-001-N/2",
    "/sleeves/Torva/1", "/labs", "/labs/Mill Bridge", "/spending", "/find", "/find?words=nowhere", "/jobs", "/trust",
    "/rolls/26-999-X", "/login", "/nowhere",
)  # fmt: skip
EMPTY = ("/", "/shelf", "/rolls", "/rolls/new", "/field", "/drop-off", "/orders", "/back", "/negatives", "/prints",
         "/sleeves", "/labs", "/spending", "/find", "/jobs")  # fmt: skip
"""Pages as they are in a book with nothing in it."""
SMALL = {"width": 320, "height": 640}


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    folder = tmp_path_factory.mktemp("journey")
    (folder / "files").mkdir()
    make_book(folder / "book", folder / "files")
    return folder


@pytest.fixture(scope="module")
def looked_at(made, chromium):
    """A server for journeys that change nothing."""
    with served(made / "book", today=TODAY) as found:
        yield found


@pytest.fixture(scope="module")
def empty(tmp_path_factory):
    """A server over a book with nothing in it."""
    folder = tmp_path_factory.mktemp("empty")
    open_book(folder / "book").close()
    with served(folder / "book", today=TODAY) as found:
        yield found


@pytest.fixture(scope="module")
def guarded(made, tmp_path_factory):
    """A server that asks for a password, over TLS as far as its pages know."""
    folder = tmp_path_factory.mktemp("guarded")
    shutil.copytree(made / "book", folder / "book")
    with served(folder / "book", today=TODAY, password_digest=passwords.digest("three wet negatives")) as found:
        found.site.certificate = certificate_for(folder / "book" / "web", ["192.0.2.7"])[0]
        yield found


@pytest.fixture
def server(made, tmp_path):
    shutil.copytree(made / "book", tmp_path / "book")
    with served(tmp_path / "book", today=TODAY) as found:
        yield found


def every_page(chromium, looked_at, empty, guarded, **options):
    """Each page of a filled book, of an empty one, and those that a stranger sees, in turn."""
    for book, places in ((looked_at, PLACES), (empty, EMPTY), (guarded, ("/login", "/trust"))):
        with page_of(chromium, book.address, **options) as page:
            for place in places:
                page.goto(place)
                page.wait_for_load_state("load")
                yield page, f"{place} of {book.book.root.parent.name}"
            if book is guarded:
                page.goto("/login")
                page.fill("#password", "wrong password")
                page.get_by_role("button", name="Come in").click()
                page.wait_for_selector(".refusal")
                yield page, "the wrong password"


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_no_page_breaks_a_rule_of_accessible_content(looked_at, empty, guarded, chromium, scheme):
    """WCAG 2.2 A and AA as axe-core checks them, at both widths' common layout."""
    from axe_playwright_python.sync_playwright import Axe

    axe = Axe()
    found = []
    size = PHONE if scheme == "dark" else DESK
    options = {"size": size, "color_scheme": scheme, "bypass_csp": True, "reduced_motion": "reduce"}
    for page, place in every_page(chromium, looked_at, empty, guarded, **options):
        page.evaluate("document.querySelectorAll('details').forEach((one) => { one.open = true; })")
        broken = axe.run(page, options=AXE_RULES).response["violations"]
        found += [(place, one["id"], one["nodes"][0]["html"][:160]) for one in broken]
    assert found == []


@pytest.mark.parametrize("size", [SMALL, DESK, WIDE], ids=["small", "desk", "wide"])
def test_every_page_fits_its_width_keeps_lines_short_and_moves_nothing(looked_at, empty, guarded, chromium, size):
    """Layout shift as the browser measures it (Layout Instability, W3C draft): none at all, scrolled to the end."""
    found = []
    for page, place in every_page(chromium, looked_at, empty, guarded, size=size):
        found += [(place, *one) for one in layout_faults(page)]
    assert not found, "\n".join(str(one) for one in found)


def test_motion_is_left_out_where_it_is_not_wanted(looked_at, chromium):
    moving = """[...document.querySelectorAll('*')].map((one) => getComputedStyle(one)).filter((look) =>
        parseFloat(look.transitionDuration) > 0 || look.animationName !== 'none' || look.scrollBehavior === 'smooth'
    ).length"""
    for wanted, count in (("reduce", 0), ("no-preference", 1)):
        with page_of(chromium, looked_at.address, reduced_motion=wanted) as page:
            page.goto("/rolls/26-001-N")
            assert min(page.evaluate(moving), 1) == count


def test_what_has_the_focus_is_seen_on_every_page(looked_at, chromium):
    look = """() => { const one = document.activeElement; if (!one || one === document.body) return null;
        const style = getComputedStyle(one), inner = one.querySelector('.plot-dot, .film-frame, rect');
        const box = one.getBoundingClientRect();
        const outlined = style.outlineStyle !== 'none' && parseFloat(style.outlineWidth) >= 2;
        const stroked = inner && parseFloat(getComputedStyle(inner).strokeWidth) >= 2;
        return [one.outerHTML.slice(0, 80), outlined || stroked, box.width > 0 && box.height > 0]; }"""
    found = []
    with page_of(chromium, looked_at.address) as page:
        for place in ("/", "/rolls/26-001-N", "/drop-off", "/back/1", "/sleeves/Torva/1", "/prints?roll=26-001-N",
                      "/labs", "/field"):  # fmt: skip
            page.goto(place)
            for _ in range(32):
                page.keyboard.press("Tab")
                seen = page.evaluate(look)
                if seen and not (seen[1] and seen[2]):
                    found.append((place, seen[0]))
    assert found == []


def test_the_first_page_is_small(looked_at, chromium):
    with page_of(chromium, looked_at.address) as page:
        session = page.context.new_cdp_session(page)
        session.send("Network.enable")
        sizes = []
        session.on("Network.loadingFinished", lambda event: sizes.append(event["encodedDataLength"]))
        page.goto("/")
        page.wait_for_load_state("networkidle")
        assert sum(sizes) < 100_000


def test_today_leads_on_and_the_whole_journey_is_reached_by_keys(looked_at, chromium):
    with page_of(chromium, looked_at.address) as page:
        page.goto("/")
        page.keyboard.press("Tab")
        assert page.evaluate("document.activeElement.className") == "skip"
        page.keyboard.press("Enter")
        assert page.evaluate("document.activeElement.id") == "content"
        page.get_by_role("link", name="Decide").click()
        assert page.url.endswith("/back")
        for name in ("Rolls", "Sleeves", "Spending"):
            link = page.get_by_role("navigation").get_by_role("link", name=name, exact=True)
            link.focus()
            page.keyboard.press("Enter")
            page.wait_for_selector(f"h1:text-is('{name}')")


@pytest.mark.parametrize("size", [PHONE, DESK], ids=["phone", "desk"])
def test_a_roll_is_walked_by_keys_and_a_frame_typed_in_place_and_taken_back(server, chromium, size):
    with page_of(chromium, server.address, size=size) as page:
        page.goto("/rolls/26-001-N")
        page.get_by_role("button", name="Frame 1: quay, low water").click()
        page.keyboard.press("ArrowRight")
        page.keyboard.press("ArrowRight")
        page.wait_for_selector("#frame-title:text-is('Frame 3: crane against the sky')")
        page.keyboard.press("Enter")
        assert page.evaluate("document.activeElement.id") == "line"
        page.keyboard.press("ControlOrMeta+a")
        page.keyboard.type("3 1/500 f11 two cranes ****")
        page.keyboard.press("Enter")
        page.wait_for_selector("#line-said:has-text('Frame 3 is written')")
        page.get_by_role("button", name="Frame 3: two cranes").wait_for()
        page.get_by_role("button", name="Undo").click()
        page.get_by_role("button", name="Frame 3: crane against the sky").wait_for()


def test_a_roll_is_loaded_from_the_shelf(server, chromium):
    with page_of(chromium, server.address, size=PHONE) as page:
        page.goto("/shelf")
        before = int(page.locator(".lots .big").first.inner_text())
        page.goto("/rolls/new")
        page.select_option("#stock", "Almen Colour 200")
        page.fill("#camera", "Almen 2")
        page.fill("#title", "Ferry")
        page.get_by_role("button", name="Load it").click()
        page.wait_for_selector("h1:text-is('Ferry')")
        page.goto("/shelf")
        assert int(page.locator(".lots .big").first.inner_text()) == before - 1
        page.fill(".lots input[name=quantity]", "30")
        page.get_by_role("button", name="Correct").first.click()
        page.wait_for_selector(".lots .big:text-is('30')")
        page.get_by_role("button", name="Undo").click()
        page.wait_for_selector(f".lots .big:text-is('{before - 1}')")


@pytest.mark.parametrize("size", [PHONE, DESK], ids=["phone", "desk"])
def test_a_drop_off_is_planned_changed_printed_recorded_and_its_receipt_kept(server, chromium, size, tmp_path):
    photo = tmp_path / "receipt.jpg"
    from web.made_book import jpeg, picture

    photo.write_bytes(jpeg(picture(99)))
    with page_of(chromium, server.address, size=size) as page:
        page.goto("/drop-off")
        total = page.locator("#hand-total strong")
        cheapest = total.inner_text()
        page.get_by_label("Lab for 26-004-H").select_option("Mill Bridge")
        until(page, "(before) => document.querySelector('#hand-total strong').textContent !== before",
                               cheapest)  # fmt: skip
        page.goto("/drop-off")
        if page.locator(".plot a").count() > 1:
            page.locator(".plot a").nth(1).click()
            page.wait_for_selector("tr.chosen:has-text('Plan 2')")
        page.get_by_role("button", name="Print order sheets and labels").click()
        page.wait_for_selector("#papers a", timeout=30_000)
        page.get_by_role("button", name="I handed them in").click()
        page.wait_for_url("**/orders**", timeout=30_000)
        page.goto("/orders/O26-002")
        page.fill("#receipt_number", "815")
        page.fill("#paid", "18.00")
        page.set_input_files("#photo", str(photo))
        page.get_by_role("button", name="Note the receipt").click()
        page.wait_for_selector(".receipt")
        assert page.locator("#paid").input_value() == "18.00"


@pytest.mark.parametrize("size", [PHONE, DESK], ids=["phone", "desk"])
def test_a_delivery_is_uploaded_matched_and_its_doubt_decided_by_a_key(server, chromium, size, tmp_path):
    sent = delivery(tmp_path / "fair.zip", "1003", 6, first=40)
    with page_of(chromium, server.address, size=size) as page:
        page.goto("/back")
        if size is DESK:
            content = list(sent.read_bytes())
            page.evaluate(
                """([name, bytes]) => {
                    const transfer = new DataTransfer();
                    transfer.items.add(new File([new Uint8Array(bytes)], name, { type: "application/zip" }));
                    const drop = document.querySelector(".drop[data-kind=delivery]");
                    const options = { dataTransfer: transfer, bubbles: true, cancelable: true };
                    drop.dispatchEvent(new DragEvent("drop", options));
                }""",
                [sent.name, content],
            )
        else:
            page.set_input_files("#delivery-files", str(sent))
        page.get_by_role("button", name="Take it in").click()
        page.get_by_role("link", name="See it").click(timeout=40_000)
        page.wait_for_selector("h1:has-text('fair')")
        page.goto("/back/1")
        doubt = page.locator(".doubt").first
        doubt.focus()
        if size is PHONE:
            doubt.get_by_role("button", name="Frame 6").click()
        else:
            page.keyboard.press("1")
        page.wait_for_selector(".doubt[data-decided]")
        page.get_by_role("button", name="Accept all that is sure").click()
        page.wait_for_selector(".said:has-text('Accepted: ')")
        page.get_by_role("button", name="Undo").click()
        page.wait_for_selector(".said:has-text('Taken back')")


def test_quality_is_looked_at_and_its_remarks_are_marked(server, chromium):
    with page_of(chromium, server.address) as page:
        page.goto("/back/2")
        page.get_by_role("button", name="Look at the quality of 26-002-L").click()
        page.wait_for_selector(".job[data-state=done]", timeout=40_000)
        page.reload()
        page.wait_for_selector(".remarks .mark")


@pytest.mark.parametrize("size", [PHONE, DESK], ids=["phone", "desk"])
def test_negatives_are_fetched_cut_sleeved_and_found_again(server, chromium, size):
    with page_of(chromium, server.address, size=size) as page:
        page.goto("/orders/O26-001")
        page.get_by_role("button", name="I fetched the negatives").click()
        page.wait_for_selector(".said")
        page.goto("/sleeves")
        page.get_by_role("link", name="Cut plan of 26-002-L").click()
        page.wait_for_selector(".cut-drawing")
        page.get_by_role("button", name="It lies there now").click()
        page.wait_for_selector(".sleeve-page")
        assert page.locator(".sleeve-page image").count() >= 5
        page.goto("/sleeves")
        page.fill("#find", "26-002-L/3")
        page.keyboard.press("Enter")
        page.wait_for_selector("li:has-text('Torva')")
        page.get_by_text("Lend negatives").click()
        page.fill("#what", "26-002-L")
        page.fill("#to_whom", "Ole Vinter")
        page.get_by_role("button", name="Lend", exact=True).click()
        page.get_by_role("button", name="It is back").first.click()
        page.wait_for_selector(".said:has-text('back from Ole Vinter')")


@pytest.mark.parametrize("size", [PHONE, DESK], ids=["phone", "desk"])
def test_a_print_is_laid_out_and_its_file_made(server, chromium, size):
    with page_of(chromium, server.address, size=size) as page:
        page.goto("/prints")
        page.get_by_role("link", name="Quay").click()
        page.get_by_role("link", name="Frame 2").click()
        page.get_by_role("link", name="8R", exact=True).click()
        page.wait_for_selector("figcaption:has-text('8R')")
        page.get_by_role("button", name="Make the file").click()
        page.wait_for_selector(".job[data-state=done]", timeout=40_000)
        page.reload()
        page.get_by_role("link", name=".zip").first.wait_for()


def test_pictures_are_found_and_the_list_goes_on_as_its_end_comes_into_sight(looked_at, chromium, monkeypatch):
    monkeypatch.setattr(find_page, "PAGE", 8)
    with page_of(chromium, looked_at.address, size=PHONE) as page:
        page.goto("/find")
        page.fill("#words", "hous*")
        page.keyboard.press("Enter")
        page.wait_for_selector("#found li:has-text('painted houses')")
        assert page.locator("#found li").count() == 5
        page.goto("/find")
        while page.locator("#found li.more").count():
            page.evaluate("scrollTo(0, document.body.scrollHeight)")
            page.wait_for_timeout(30)
        assert page.locator("#found li").count() == 30
        assert len({one.get_attribute("href") for one in page.locator("#found a").all()}) == 30


@pytest.mark.parametrize("size", [PHONE, DESK], ids=["phone", "desk"])
def test_labs_and_spending_say_what_they_know(server, chromium, size):
    with page_of(chromium, server.address, size=size) as page:
        page.goto("/labs")
        page.get_by_text("Fill in its prices").click()
        page.fill("#name", "Low “Wharf” \\ Film")
        page.fill("#develop-c41", "6,50")
        page.fill("#days-c41", "7")
        page.fill("#scan-price-0", "4")
        page.fill("#scan-edge-0", "3000")
        page.fill("#print-price-0", "0.55")
        page.get_by_role("button", name="Put the lab in the book").click()
        page.get_by_role("heading", name="Low “Wharf” \\ Film").wait_for()
        assert "135, 120: 6.50 EUR, no push, 7 open days" in page.locator(".facts").inner_text()
        page.get_by_text("Write a new list").click()
        new = page.locator("#toml").input_value().replace('"6.50"', '"6.90"').replace("2026-06-05", "2026-06-06")
        page.fill("#toml", new)
        page.get_by_role("button", name="Keep it as the new list").click()
        page.wait_for_selector(".said:has-text('prices as of')")
        page.get_by_role("button", name="Leave it out of plans").click()
        page.wait_for_selector(".said:has-text('left out of plans')")
        page.goto("/spending")
        page.select_option("#by", "lab")
        page.wait_for_selector("td:text-is('Quarry Street')")


def test_what_is_refused_is_said_in_words(server, chromium):
    with page_of(chromium, server.address) as page:
        page.goto("/rolls/new")
        page.select_option("#stock", "Almen Colour 200")
        page.fill("#push", "lots")
        page.get_by_role("button", name="Load it").click()
        page.wait_for_selector("h1:text-is('That was not done')")
        assert wait_for(lambda: page.locator(".refusal").inner_text())
