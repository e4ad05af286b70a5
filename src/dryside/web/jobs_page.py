"""Long work: what waits, runs and ended; progress as server-sent events; cancel; uploads in pieces."""

from __future__ import annotations

import asyncio
import json
from collections.abc import AsyncIterator

from fastapi import APIRouter, Request, Response
from fastapi.responses import JSONResponse, StreamingResponse
from pydantic import BaseModel, Field
from starlette.concurrency import run_in_threadpool

from dryside.book.folder import Book
from dryside.film.refusal import Refusal
from dryside.web import uploads
from dryside.web.forms import Form, text
from dryside.web.jobs import JobRow, ask_again, cancel, get_job, list_jobs
from dryside.web.pages import done, own_path, page, site_of

router = APIRouter()
LOOK_EVERY_S = 0.3
STILL_HERE_S = 15.0


class NewUpload(BaseModel):
    """A file that a browser is about to send."""

    kind: str = Field(max_length=20)
    name: str = Field(max_length=500)
    size: int


@router.get("/jobs")
def jobs_page(request: Request) -> Response:
    """All long work."""
    with site_of(request).book.read() as conn:
        rows = list_jobs(conn)
    return page(request, "jobs.html", title="Long work", rows=rows)


@router.get("/jobs/{job_id}")
def job(request: Request, job_id: int) -> Response:
    """One job as plain data."""
    with site_of(request).book.read() as conn:
        return JSONResponse(get_job(conn, job_id).as_dict())


@router.post("/jobs/{job_id}/cancel")
def stop(request: Request, job_id: int, form: Form) -> Response:
    """Cancel it."""
    row = cancel(site_of(request).book, job_id)
    if "application/json" in request.headers.get("accept", ""):
        return JSONResponse(row.as_dict())
    return done(request, own_path(text(form, "to"), "/jobs"), "Cancelled. What was finished stays.")


@router.post("/jobs/{job_id}/again")
def again(request: Request, job_id: int, form: Form) -> Response:
    """Try once more."""
    site = site_of(request)
    ask_again(site.book, job_id)
    site.wake_jobs()
    return done(request, own_path(text(form, "to"), "/jobs"), "It is in the queue again.")


@router.get("/jobs/{job_id}/events")
async def events(request: Request, job_id: int) -> Response:
    """How far a job is, told whenever it changes, until it is over."""
    book = site_of(request).book
    await run_in_threadpool(_read, book, job_id)  # a job that is not there is refused before the stream begins
    return StreamingResponse(
        _follow(request, book, job_id),
        media_type="text/event-stream",
        headers={"cache-control": "no-store", "x-accel-buffering": "no"},
    )


def _read(book: Book, job_id: int) -> JobRow:
    with book.read() as conn:
        return get_job(conn, job_id)


async def _follow(request: Request, book: Book, job_id: int) -> AsyncIterator[str]:
    told, quiet_s = "", 0.0
    while not await request.is_disconnected():
        row = await run_in_threadpool(_read, book, job_id)
        now = json.dumps(row.as_dict())
        if now != told:
            told, quiet_s = now, 0.0
            yield f"data: {now}\n\n"
        if row.is_over:
            return
        if quiet_s >= STILL_HERE_S:
            quiet_s = 0.0
            yield ": still here\n\n"
        await asyncio.sleep(LOOK_EVERY_S)
        quiet_s += LOOK_EVERY_S


@router.post("/uploads")
def begin_upload(request: Request, new: NewUpload) -> Response:
    """Make room for a file."""
    made = uploads.begin(site_of(request).book, kind=new.kind, name=new.name, size=new.size)
    return JSONResponse({"id": made.id, "received": 0, "piece": uploads.PIECE_BYTES}, status_code=201)


@router.get("/uploads/{upload_id}")
def upload_state(request: Request, upload_id: str) -> Response:
    """How much of a file is here: where a broken upload goes on."""
    known = uploads.get(site_of(request).book, upload_id)
    return JSONResponse({"id": known.id, "received": known.received, "piece": uploads.PIECE_BYTES, "size": known.size})


@router.put("/uploads/{upload_id}")
async def upload_piece(request: Request, upload_id: str, at: int) -> Response:
    """Take one piece."""
    length = request.headers.get("content-length", "")
    if not length.isdecimal() or int(length) > uploads.PIECE_BYTES:
        raise Refusal("piece", f"it is {length or 'of unknown length'}; at most {uploads.PIECE_BYTES} bytes are taken")
    piece = await request.body()
    known = await run_in_threadpool(uploads.add_piece, site_of(request).book, upload_id, at, piece)
    return JSONResponse({"id": known.id, "received": known.received})


@router.delete("/uploads/{upload_id}")
def drop_upload(request: Request, upload_id: str) -> Response:
    """Drop a file that was not used."""
    uploads.forget(site_of(request).book, upload_id)
    return JSONResponse({"id": upload_id})
