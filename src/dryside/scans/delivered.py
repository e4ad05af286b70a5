"""Scans of a delivery side by side with what they may be, and what a person's decision changes."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from dryside.book.frames import find_frame, normal_label
from dryside.book.rolls import get_roll
from dryside.book.schema import deliveries, files, frames, scans
from dryside.film.refusal import NotFound, Refusal

if TYPE_CHECKING:
    from sqlalchemy import Connection


@dataclass(frozen=True)
class Candidate:
    """A frame (None: none of the roll's) that a scan may be, and how sure."""

    label: str | None
    confidence: float


@dataclass(frozen=True)
class DeliveredScan:
    """A scan with its frame, what speaks for it, and its quality.

    Attributes
    ----------
    candidates : tuple of Candidate
        For a doubt: the likeliest first.
    why : tuple of str
        What spoke for the frame.
    inspection : dict or None
        As `inspecting` wrote it.
    """

    id: int
    delivery_id: int | None
    group: int
    file_id: int
    name: str
    width: int
    height: int
    state: str
    confidence: float
    roll_id: int | None
    roll: str | None
    roll_guess: str | None
    frame_id: int | None
    label: str | None
    phone_file_id: int | None
    candidates: tuple[Candidate, ...] = ()
    why: tuple[str, ...] = ()
    inspection: dict[str, Any] | None = field(default=None)

    @property
    def is_asked(self) -> bool:
        """Whether the person must decide."""
        return self.state == "asked"


@dataclass(frozen=True)
class Decision:
    """What a decision changes: the scan's row, and a frame to add where the roll does not have it."""

    scan_id: int
    changes: dict[str, Any]
    says: str


def scans_of_delivery(conn: Connection, delivery_id: int) -> list[DeliveredScan]:
    """Every scan of a delivery, in its order."""
    return _scans(conn, scans.c.delivery_id == delivery_id)


def open_doubts(conn: Connection) -> list[DeliveredScan]:
    """Every scan that waits for a decision, of all deliveries."""
    return _scans(conn, scans.c.state == "asked")


def list_deliveries(conn: Connection, *, most: int = 30) -> list[dict[str, Any]]:
    """The newest deliveries: id, name, when they came, how many pictures, how many doubts."""
    from sqlalchemy import func, select

    count = select(func.count()).where(scans.c.delivery_id == deliveries.c.id)
    columns = (
        deliveries.c.id,
        deliveries.c.name,
        deliveries.c.received_at,
        count.scalar_subquery().label("pictures"),
        count.where(scans.c.state == "asked").scalar_subquery().label("doubts"),
    )
    rows = conn.execute(select(*columns).order_by(deliveries.c.id.desc()).limit(most))
    return [dict(row._mapping) for row in rows]


def get_delivery(conn: Connection, delivery_id: int) -> dict[str, Any]:
    """A delivery's row with its report.

    Raises
    ------
    NotFound
        If there is none.
    """
    row = conn.execute(deliveries.select().where(deliveries.c.id == delivery_id)).mappings().one_or_none()
    if row is None:
        raise NotFound(f"delivery {delivery_id}", "not in this book")
    return dict(row)


def decision_for(conn: Connection, scan_id: int, label: str | None) -> Decision:
    """What it means to say that a scan is a frame (None: it is no frame of the log).

    Parameters
    ----------
    conn : Connection
        To read from.
    scan_id : int
        Row id of the scan.
    label : str or None
        The frame's label.

    Raises
    ------
    NotFound
        If the scan or frame is not in the book.
    Refusal
        If the roll must be said first.
    """
    row = conn.execute(scans.select().where(scans.c.id == scan_id)).mappings().one_or_none()
    if row is None:
        raise NotFound(f"scan {scan_id}", "not in this book")
    if row["roll_id"] is None:
        raise Refusal(row["name"], "which roll it is of is not known", "Say the roll first.")
    chosen = get_roll(conn, row["roll_id"])
    if label is None:
        changes = {"roll_id": chosen.id, "frame_id": None, "state": "none", "confidence": 1.0}
        return Decision(scan_id, changes, f"{row['name']} is none of the frames of {chosen.code}")
    frame = find_frame(conn, chosen.id, normal_label(label))
    changes = {"roll_id": chosen.id, "frame_id": frame.id, "state": "confirmed", "confidence": 1.0}
    return Decision(scan_id, changes, f"{row['name']} is frame {frame.label} of {chosen.code}")


def sure_ones(conn: Connection, delivery_id: int) -> list[Decision]:
    """Decisions that accept everything a delivery is sure of."""
    return [
        Decision(one.id, {"state": "confirmed"}, f"{one.name} is frame {one.label}")
        for one in scans_of_delivery(conn, delivery_id)
        if one.state == "sure"
    ]


def _scans(conn: Connection, *where: Any) -> list[DeliveredScan]:
    from sqlalchemy import select

    from dryside.book.schema import rolls

    joined = (
        scans.join(files, files.c.id == scans.c.file_id)
        .outerjoin(rolls, rolls.c.id == scans.c.roll_id)
        .outerjoin(frames, frames.c.id == scans.c.frame_id)
    )
    rows = conn.execute(
        select(scans, rolls.c.code, frames.c.label)
        .select_from(joined)
        .where(*where)
        .order_by(scans.c.delivery_id, scans.c.sequence, scans.c.id)
    ).mappings()
    return [_one(dict(row)) for row in rows]


def _one(row: dict[str, Any]) -> DeliveredScan:
    reasons = row["reasons"] or {}
    first = [{"frame": reasons.get("frame"), "confidence": row["confidence"] or 0.0}]
    asked = [*first, *reasons.get("others", ())] if row["state"] == "asked" else []
    named = {one["frame"]: float(one["confidence"]) for one in reversed(asked)}
    return DeliveredScan(
        id=row["id"],
        delivery_id=row["delivery_id"],
        group=int(reasons.get("group", 0)),
        file_id=row["file_id"],
        name=row["name"],
        width=row["width"] or 3,
        height=row["height"] or 2,
        state=row["state"],
        confidence=float(row["confidence"] or 0.0),
        roll_id=row["roll_id"],
        roll=row["code"],
        roll_guess=(reasons.get("roll") or {}).get("code"),
        frame_id=row["frame_id"],
        label=row["label"],
        phone_file_id=row["phone_file_id"],
        candidates=tuple(Candidate(label, share) for label, share in sorted(named.items(), key=lambda one: -one[1])),
        why=tuple(str(one["says"]) for one in reasons.get("why", ())),
        inspection=row["inspection"],
    )
