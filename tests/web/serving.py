"""A real server over a book, in a thread or as a process of its own."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import threading
import time
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

import uvicorn

from dryside.book.folder import Book, open_book
from dryside.web.app import Site, create_app
from dryside.web.network import LOOPBACK, Place
from dryside.web.server import bind, make_site


@dataclass
class Served:
    """A book that is being served."""

    address: str
    book: Book
    site: Site


@contextmanager
def served(where: Path | str, *, files: Path | None = None, today=None, password_digest: str | None = None):
    """Serve the book at `where` (a folder, or a database with the folder `files`) from a thread of this process."""
    listening = bind("127.0.0.1", 0)
    address = f"http://127.0.0.1:{listening.getsockname()[1]}"
    place = Place(listening, (f"{address}/",), LOOPBACK, password_digest is not None)
    with open_book(where, files=files, create=False) as book:
        site = make_site(book, place, password_digest=password_digest, today=today)
        server = uvicorn.Server(
            uvicorn.Config(create_app(site), log_level="error", access_log=False, timeout_graceful_shutdown=1)
        )
        thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]}, daemon=True)
        thread.start()
        wait_for(lambda: server.started)
        try:
            yield Served(address, book, site)
        finally:
            server.should_exit = True
            thread.join(10)


@dataclass
class Process:
    """`dryside serve` as a process that can be killed."""

    folder: Path
    port: int = 0
    environment: dict[str, str] = field(default_factory=dict)
    process: subprocess.Popen | None = None
    address: str = ""

    def start(self) -> None:
        """Start it, and again after `kill` on the same port."""
        command = [sys.executable, "-m", "dryside.cli.main", "--book", str(self.folder), "serve", "--json"]
        command += ["--port", str(self.port)]
        self.process = subprocess.Popen(
            command, stdout=subprocess.PIPE, text=True, env={**os.environ, **self.environment}
        )
        text = ""
        while not text.rstrip().endswith("}"):
            line = self.process.stdout.readline()
            if not line:
                raise RuntimeError(f"the server ended: {text}")
            text += line
        self.address = json.loads(text)["addresses"][0].rstrip("/")
        self.port = int(self.address.rsplit(":", 1)[1])

    def kill(self) -> None:
        """kill -9."""
        self.process.kill()
        self.process.wait()
        self.process.stdout.close()


def wait_for(met, seconds: float = 20.0):
    """Wait until `met()` is true and return what it gave."""
    until = time.monotonic() + seconds
    while time.monotonic() < until:
        if found := met():
            return found
        time.sleep(0.05)
    raise AssertionError(f"{met} did not come true in {seconds} s")
