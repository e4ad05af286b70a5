"""`dryside serve` as a process: on loopback, and in the household's network over TLS with a certificate of its own."""

from __future__ import annotations

import json
import os
import re
import ssl
import subprocess
import sys

import httpx
import pytest

PASSWORD = "three wet negatives"


def started(folder, *words, **environment):
    """The process and the addresses it prints."""
    command = [
        sys.executable,
        "-m",
        "dryside.cli.main",
        "--book",
        str(folder),
        "serve",
        "--json",
        "--port",
        "0",
        *words,
    ]
    process = subprocess.Popen(
        command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, env={**os.environ, **environment}
    )
    text = ""
    while not text.rstrip().endswith("}"):
        line = process.stdout.readline()
        if not line:
            break
        text += line
    return process, (json.loads(text).get("addresses") if text else None)


def ended(process) -> str:
    process.terminate()
    _, said = process.communicate(timeout=20)
    return said


def test_the_household_reaches_it_over_tls_with_a_password(book_folder):
    process, addresses = started(book_folder, "--lan", DRYSIDE_PASSWORD=PASSWORD)
    try:
        assert addresses[0].startswith("https://")
        port = addresses[0].rstrip("/").rsplit(":", 1)[1]
        trusted = ssl.create_default_context(cafile=str(book_folder / "web" / "certificate.pem"))
        with httpx.Client(base_url=addresses[0], verify=trusted, follow_redirects=True) as client:
            page = client.get("/rolls")
            assert page.url.path == "/login"
            token = re.search(r'content="([0-9a-f]{64})"', page.text)[1]
            data = {"password": PASSWORD, "token": token, "to": "/rolls"}
            inside = client.post("/login", data=data, headers={"origin": addresses[0].rstrip("/")})
            assert inside.url.path == "/rolls"
            assert "Secure" in inside.history[0].headers["set-cookie"]
            trust = client.get("/trust").text
            assert "<svg" in trust
            assert re.search(r"(?:[0-9A-F]{2}:){31}[0-9A-F]{2}", trust)
            assert client.get("/trust/certificate.crt").headers["content-type"] == "application/x-x509-ca-cert"
        assert port.isdecimal()
    finally:
        said = ended(process)
    assert PASSWORD not in said
    assert oct((book_folder / "web" / "key.pem").stat().st_mode & 0o777) == "0o600"


def test_without_a_password_no_other_machine_is_let_near(book_folder):
    environment = {key: value for key, value in os.environ.items() if key != "DRYSIDE_PASSWORD"}
    command = [sys.executable, "-m", "dryside.cli.main", "--book", str(book_folder), "serve", "--host", "0.0.0.0"]
    command += ["--port", "0"]
    done = subprocess.run(
        command, capture_output=True, text=True, env=environment, stdin=subprocess.DEVNULL, timeout=60
    )
    assert done.returncode == 2
    assert "it has no password" in done.stderr


def test_the_certificate_is_kept_until_a_name_is_missing(tmp_path):
    from dryside.web.certificate import certificate_for, fingerprint

    first, _ = certificate_for(tmp_path, ["192.0.2.7", "box.local"])
    known = fingerprint(first)
    certificate_for(tmp_path, ["box.local"])
    assert fingerprint(first) == known
    certificate_for(tmp_path, ["198.51.100.3"])
    assert fingerprint(first) != known


@pytest.mark.parametrize("kind", ["memory", "time"])
def test_a_reader_that_goes_wild_ends_its_own_process_only(kind):
    from dryside.film.refusal import Refusal
    from dryside.web.apart import Apart

    apart = Apart(memory_bytes=1 << 30)
    try:
        with pytest.raises(Refusal, match=r"memory allowed|longer than"):
            if kind == "memory":
                apart.run("picture", bytearray, 8 << 30, timeout_s=30)
            else:
                import time

                apart.run("picture", time.sleep, 60, timeout_s=2)
        assert apart.run("picture", len, "still there", timeout_s=30) == 11
    finally:
        apart.close()


def test_what_is_read_beside_a_file_that_breaks_the_reader_is_read_again():
    import os
    import time
    from concurrent.futures import ThreadPoolExecutor

    from dryside.film.refusal import Refusal
    from dryside.web.apart import Apart

    apart = Apart(workers=2)
    try:
        assert apart.run("picture", len, "warm") == 4
        with ThreadPoolExecutor(1) as beside:
            innocent = beside.submit(apart.run, "picture", time.sleep, 1.0)
            time.sleep(0.3)
            with pytest.raises(Refusal, match="memory allowed"):
                apart.run("bad picture", os._exit, 1)
            assert innocent.result(30) is None
    finally:
        apart.close()
