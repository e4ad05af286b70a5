"""The pages over a PostgreSQL book: each answers, changes are kept and taken back, a job runs in its own process."""

from __future__ import annotations

import httpx
import pytest

from web.made_book import TODAY, make_book
from web.serving import served, wait_for
from web.test_pages import PAGES
from web.test_security import token_of

pytestmark = pytest.mark.slow


@pytest.fixture
def person(postgresql_url, tmp_path):
    (tmp_path / "handed-in").mkdir()
    make_book(postgresql_url, tmp_path / "handed-in", book_files=tmp_path / "book")
    with (
        served(postgresql_url, files=tmp_path / "book", today=TODAY) as found,
        httpx.Client(base_url=found.address, follow_redirects=True, timeout=30) as client,
    ):
        yield client


def test_pages_api_and_jobs_run_on_it(person):
    for path in PAGES:
        answer = person.get(path)
        assert answer.status_code == 200, (path, answer.text[-600:])
    description = person.get("/api/openapi.json").json()["paths"]
    for path in [one for one, ways in description.items() if "get" in ways and "{" not in one]:
        assert person.get(path).status_code == 200, path
    headers = {"x-dryside-token": token_of(person), "accept": "application/json"}
    written = person.post("/rolls/26-001-N/line", data={"line": "4 1/30 f2 Mira laughing"}, headers=headers).json()
    assert written["caption"] == "Mira laughing"
    assert person.post(f"/undo/{written['undo']}", headers=headers).status_code == 200
    entry = {"client_id": "11111111-2222", "roll": "26-006-D", "taken_at": "2026-06-01T10:00:00+02:00"}
    for state in ("kept", "known"):
        kept = person.post("/field/frames", json={"entries": [entry]}, headers=headers).json()["kept"]
        assert [one["state"] for one in kept] == [state]
    person.post("/back/2/tag", data={"roll": "26-002-L"}, headers=headers)
    job = wait_for(lambda: next((one for one in jobs(person) if one["state"] in ("done", "failed")), None), 40)
    assert (job["kind"], job["state"]) == ("tag", "done"), job


def jobs(person) -> list[dict]:
    return person.get("/api/jobs").json()["jobs"]
