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


def has_no_sideways_scroll(page) -> bool:
    """Whether the page fits its width."""
    return page.evaluate("document.documentElement.scrollWidth <= innerWidth")


def until(page, script: str, argument=None, seconds: float = 20.0) -> None:
    """Wait until a script is true. (The browser's own wait evaluates text, which the pages' policy forbids.)"""
    wait_for(lambda: page.evaluate(script, argument), seconds)
