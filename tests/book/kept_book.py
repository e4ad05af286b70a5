"""A book with something of everything that is kept, for the tests of backup, check, pack and export."""

import io
from datetime import date

from dryside.book.cameras import add_camera
from dryside.book.files import keep_original, put_paper, put_picture, sha256_of
from dryside.book.frames import add_frames, list_frames
from dryside.book.people import add_person
from dryside.book.rolls import add_roll
from dryside.book.schema import binders, captures, frame_strips, frames, pages, positives, scans, strips
from dryside.book.stocks import add_stock

JPEG = bytes.fromhex(
    "ffd8ffe000104a46494600010100000100010000ffdb004300030202020202030202020303030304060404040404080606050609080a0a0908"
    "0909"
)


def fill(book):
    """Two rolls, scans, a positive, a strip in a binder, a note, a page; returns the first roll."""
    with book.write() as conn:
        add_person(conn, "Ida", is_keeper=True)
        add_camera(conn, "Ondine 35")
        add_stock(conn, "Fennel 400", process="c41", kind="colour negative", iso=400)
        roll = add_roll(
            conn, film_format="135", process="c41", on=date(2026, 7, 1), stock_id=1, camera_id=1, owner_id=1,
            title="Ferry", names=["H7"], loaded_on="2026-07-01",
        )  # fmt: skip
        add_roll(conn, film_format="135", process="bw", on=date(2025, 7, 1), loaded_on="2025-07-01")
        add_frames(
            conn,
            [
                {"roll_id": roll.id, "position": i, "label": str(i + 1), "caption": caption, "shutter": "1/250",
                 "aperture": 8.0, "taken_at": f"2026-07-1{i}T14:30:00+02:00", "taken_to": "minute", "rating": i,
                 "printed": i == 1}
                for i, caption in enumerate(("gulls & <b>terns</b>", "=1+1", "Möwe, 2 m", None))
            ],
        )  # fmt: skip
        known = list_frames(conn, roll.id)
        for i, frame in enumerate(known[:3]):
            file = keep_original(book, io.BytesIO(JPEG + bytes([i]) * 2000), kind="scan", name=f"R{i}.JPG", conn=conn)
            picture = f"{roll.code}/0{i + 1}.jpg"
            path = put_picture(book, picture, JPEG + b"tagged" + bytes([i]))
            conn.execute(
                scans.insert().values(
                    file_id=file.id, roll_id=roll.id, frame_id=frame.id, sequence=i, origin="lab", name=f"R{i}.JPG",
                    state="sure", picture=picture, picture_sha256=sha256_of(path),
                )
            )  # fmt: skip
        own = keep_original(book, io.BytesIO(b"raw capture" * 99), kind="capture", name="R0.JPG", conn=conn)
        conn.execute(captures.insert().values(file_id=own.id, roll_id=roll.id, made_at="2026-08-01T10:00:00+02:00"))
        tiff = put_picture(book, f"{roll.code}/own/04.tif", b"sixteen bits")
        path = put_picture(book, f"{roll.code}/own/04.jpg", JPEG + b"own")
        others = {f"{roll.code}/own/{one.name}": sha256_of(one) for one in (tiff, path)}
        conn.execute(
            positives.insert().values(
                capture_id=1, frame_id=known[3].id, frame_index=0, picture=f"{roll.code}/own/04.jpg",
                sha256=sha256_of(path), settings={"exposure": 0.5, "files": others},
            )
        )  # fmt: skip
        keep_original(
            book, io.BytesIO(b"1 1/250 f8 gulls"), kind="note", name="n.txt", conn=conn, detail={"roll": roll.code}
        )
        put_paper(book, "labels.pdf", b"%PDF-1.7 not much")
        put_picture(book, "thumbnails/ab/cdef.jpg", b"made again when needed")
        conn.execute(binders.insert().values(name="Blue", place="upper shelf"))
        conn.execute(pages.insert().values(binder_id=1, number=3, layout="7x5"))
        conn.execute(
            strips.insert().values(
                roll_id=roll.id, number=1, first_position=0, last_position=3, page_id=1, row=2, place=1
            )
        )
        for place, frame in enumerate(known, start=1):
            conn.execute(frame_strips.insert().values(frame_id=frame.id, strip_id=1, place=place))
        conn.execute(frames.update().where(frames.c.id == known[0].id).values(picture_sha256=None))
        return roll
