"""A real Chromium for journeys through the pages."""

from __future__ import annotations

import os
from contextlib import contextmanager
from pathlib import Path

import pytest

from web.serving import wait_for

CHROMIUM = Path("/usr/bin/chromium")
ARGUMENTS = ["--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
             "--disable-background-networking", "--disable-component-update", "--disable-sync"]  # fmt: skip
PHONE = {"width": 360, "height": 780}
DESK = {"width": 1440, "height": 900}
WIDE = {"width": 2560, "height": 1300}


def need_chromium() -> None:
    """Skip where there is no Chromium; in CI that is a fault."""
    if CHROMIUM.exists():
        return
    message = "Chromium is not at /usr/bin/chromium (Debian's package: chromium)"
    if os.environ.get("CI") == "true":
        pytest.fail(message)
    pytest.skip(message)


@contextmanager
def browser():
    """One Chromium."""
    from playwright.sync_api import sync_playwright

    need_chromium()
    with sync_playwright() as play:
        started = play.chromium.launch(executable_path=str(CHROMIUM), args=ARGUMENTS)
        try:
            yield started
        finally:
            started.close()


@contextmanager
def page_of(chromium, address: str, *, size=DESK, **options):
    """A page of its own session; faults of scripts fail the test."""
    context = chromium.new_context(viewport=size, base_url=address, **options)
    context.set_default_timeout(20_000)
    page = context.new_page()
    faults: list[str] = []
    page.on("pageerror", lambda error: faults.append(str(error)))
    page.on("console", lambda said: faults.append(said.text) if "Content Security Policy" in said.text else None)
    try:
        yield page
    finally:
        context.close()
    assert faults == []


WATCH_SHIFTS = """
window.moved = [];
new PerformanceObserver((list) => list.getEntries().forEach((one) => {
    const parts = one.sources.map((each) => each.node?.outerHTML?.slice(0, 90));
    if (!one.hadRecentInput) window.moved.push([one.value, parts]);
})).observe({ type: 'layout-shift', buffered: true });
"""
DRAWN = "document.fonts.ready.then(() => new Promise((next) => requestAnimationFrame(() => setTimeout(next, 30))))"
LONG_LINES = """[...document.querySelectorAll('p, li, dd, figcaption, .hint, summary')].filter((one) => {
    const isLong = [...one.childNodes].some((each) => each.nodeType === 3 && each.data.trim().length > 90);
    const wide_em = one.getBoundingClientRect().width / parseFloat(getComputedStyle(one).fontSize);
    return isLong && wide_em > 45;
}).map((one) => one.outerHTML.slice(0, 90))"""
AXE_RULES = {
    "runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"],
    "resultTypes": ["violations"],
}
"""WCAG 2.2 A and AA as axe-core checks them, and its advice."""


def layout_faults(page) -> list[tuple]:
    """What is wrong with how the page lies: wider than the window, lines too long to read, parts that moved.

    Layout shift is what the browser measures (Layout Instability, W3C draft), scrolled to the end.
    """
    if not page.evaluate("window.watched"):
        page.context.add_init_script(f"window.watched = true; {WATCH_SHIFTS}")
        page.reload()
    page.evaluate(DRAWN)
    found: list[tuple] = []
    if page.evaluate("document.documentElement.scrollWidth > innerWidth"):
        found.append(("scrolls sideways",))
    found += [("a long line", one) for one in page.evaluate(LONG_LINES)]
    page.evaluate("scrollTo(0, document.body.scrollHeight)")
    page.wait_for_timeout(60)
    return found + [("moved", one) for one in page.evaluate("window.moved")]


def until(page, script: str, argument=None, seconds: float = 20.0) -> None:
    """Wait until a script is true. (The browser's own wait evaluates text, which the pages' policy forbids.)"""
    wait_for(lambda: page.evaluate(script, argument), seconds)
