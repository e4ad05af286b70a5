"""Tables of the book. One place for every column; migrations are made from here.

Conventions: `id` is the row's own number; instants are ISO 8601 text with an offset, as the person's clock stood, and
where they must be sorted a `*_utc` column holds seconds since 1970 beside them; days are ISO 8601 text `YYYY-MM-DD`;
money is a decimal string with its ISO 4217 code beside it; JSON columns hold plain data.
"""

from __future__ import annotations

from sqlalchemy import (
    JSON,
    Boolean,
    CheckConstraint,
    Column,
    Float,
    ForeignKey,
    Index,
    Integer,
    MetaData,
    String,
    Table,
    Text,
    UniqueConstraint,
)

metadata = MetaData(
    naming_convention={
        "ix": "ix_%(table_name)s_%(column_0_N_name)s",
        "uq": "uq_%(table_name)s_%(column_0_N_name)s",
        "ck": "ck_%(table_name)s_%(constraint_name)s",
        "fk": "fk_%(table_name)s_%(column_0_N_name)s",
        "pk": "pk_%(table_name)s",
    }
)


def _id() -> Column[int]:
    return Column("id", Integer, primary_key=True)


def _to(name: str, target: str, *, required: bool = False, index: bool = True) -> Column[int]:
    return Column(name, Integer, ForeignKey(f"{target}.id"), nullable=not required, index=index)


# --- who, with what, on what -------------------------------------------------------------------------------------

people = Table(
    "people",
    metadata,
    _id(),
    Column("name", String, nullable=False, unique=True),
    Column("email", String),
    Column("phone", String),
    Column("address", Text),
    Column("is_keeper", Boolean, nullable=False, default=False),  # the person whose book this is
)

stocks = Table(
    "stocks",
    metadata,
    _id(),
    Column("name", String, nullable=False, unique=True),
    Column("process", String, nullable=False),  # c41 | ecn2 | bw | e6
    Column("kind", String, nullable=False),  # film.processes.StockKind
    Column("iso", Integer, nullable=False),
    Column("remjet", String, nullable=False, default="no"),  # yes | no | unknown
    Column("base", String, nullable=False, default="unknown"),  # acetate | polyester | nitrate | unknown
    Column("dx_part1", Integer),
    Column("dx_part2", Integer),
    Column("reciprocity", String),  # name of a law in film.reciprocity
    Column("notes", Text),
)

shelf = Table(
    "shelf",
    metadata,
    _id(),
    _to("stock_id", "stocks", required=True),
    Column("format", String, nullable=False),
    Column("exposures", Integer),
    Column("quantity", Integer, nullable=False),
    Column("bought_on", String),
    Column("expires_on", String),
    Column("price_each", String),
    Column("currency", String),
    Column("kept", String, nullable=False, default="room"),  # room | cool | cold | frozen
    Column("notes", Text),
    CheckConstraint("quantity >= 0", name="quantity"),
)

cameras = Table(
    "cameras",
    metadata,
    _id(),
    Column("name", String, nullable=False, unique=True),
    Column("maker", String),
    Column("model", String),
    Column("format", String),
    _to("owner_id", "people"),
    Column("notes", Text),
)

lenses = Table(
    "lenses",
    metadata,
    _id(),
    Column("name", String, nullable=False, unique=True),
    Column("maker", String),
    Column("focal_mm", Float),
    Column("focal_max_mm", Float),
    Column("widest_aperture", Float),
    _to("camera_id", "cameras"),
)

# --- rolls and frames --------------------------------------------------------------------------------------------

rolls = Table(
    "rolls",
    metadata,
    _id(),
    Column("code", String, nullable=False, unique=True),  # year, number, check character: 26-014-D
    _to("owner_id", "people"),
    _to("stock_id", "stocks"),
    _to("camera_id", "cameras"),
    Column("format", String, nullable=False),
    Column("process", String, nullable=False),  # what it shall go through, not always the stock's own
    Column("cross_process", Boolean, nullable=False, default=False),
    Column("exposures", Integer),
    Column("exposure_index", Integer),
    Column("push_stops", Float, nullable=False, default=0.0),
    Column("state", String, nullable=False),  # place on the journey, kept in step with events
    Column("loaded_on", String),
    Column("exposed_on", String),
    Column("expires_on", String),
    Column("irreplaceable", String),  # the `apart` word: rolls that share it never travel in one order
    Column("title", String),
    Column("notes", Text),
    Column("changed_at", String, nullable=False),
    Index("ix_rolls_state", "state"),
)

roll_names = Table(  # a photographer's own numbers from before, any scheme
    "roll_names",
    metadata,
    _id(),
    _to("roll_id", "rolls", required=True),
    Column("name", String, nullable=False, unique=True),
)

frames = Table(
    "frames",
    metadata,
    _id(),
    _to("roll_id", "rolls", required=True, index=False),
    Column("position", Integer, nullable=False),  # order along the roll, from 0
    Column("label", String, nullable=False),  # 00, 0, 1, 1A, 2 ... as on the film's edge or in the notes
    Column("client_id", String, unique=True),  # id given by a phone that logged it out of reach
    Column("taken_at", String),
    Column("taken_utc", Float),
    Column("taken_to", String),  # how exactly taken_at is known: day (it is then noon) | minute | second
    Column("shutter", String),  # as marked: 1/250
    Column("shutter_s", Float),
    Column("aperture", Float),  # as marked
    Column("focal_mm", Float),
    _to("lens_id", "lenses", index=True),
    Column("exposure_index", Integer),  # where it is not the roll's
    Column("exposure_bias", Float),
    Column("flash", Boolean),
    Column("caption", Text),
    Column("keywords", Text),
    Column("person", Text),  # who is in it, as typed
    Column("latitude", Float),
    Column("longitude", Float),
    Column("altitude_m", Float),
    Column("place", String),
    Column("rating", Integer),
    Column("blank", Boolean, nullable=False, default=False),
    Column("notes", Text),
    Column("picture_sha256", String),  # the picture shown for it: scan or positive
    Column("printed", Boolean, nullable=False, default=False),
    UniqueConstraint("roll_id", "position"),
    UniqueConstraint("roll_id", "label"),
    Index("ix_frames_taken_utc", "taken_utc", "id"),
    Index("ix_frames_latitude", "latitude", "longitude"),
    Index("ix_frames_rating", "rating", "id"),
    Index("ix_frames_printed", "printed", "id"),
)

events = Table(
    "events",
    metadata,
    _id(),
    _to("roll_id", "rolls"),
    Column("at", String, nullable=False),
    Column("at_utc", Float, nullable=False, index=True),
    Column("kind", String, nullable=False),
    Column("who", String),
    Column("from_state", String),
    Column("to_state", String),
    Column("detail", JSON),
)

# --- labs, orders ------------------------------------------------------------------------------------------------

labs = Table(
    "labs",
    metadata,
    _id(),
    Column("name", String, nullable=False, unique=True),
    Column("active", Boolean, nullable=False, default=True),
)

price_lists = Table(  # a lab's TOML as it stood on a day
    "price_lists",
    metadata,
    _id(),
    _to("lab_id", "labs", required=True),
    Column("as_of", String, nullable=False),
    Column("toml", Text, nullable=False),
    Column("added_at", String, nullable=False),
    UniqueConstraint("lab_id", "as_of"),
)

orders = Table(
    "orders",
    metadata,
    _id(),
    _to("lab_id", "labs", required=True),
    _to("price_list_id", "price_lists"),
    Column("number", String, nullable=False, unique=True),  # ours: O26-007
    Column("dropped_on", String, nullable=False),
    Column("ready_on", String),  # promised
    Column("scans_on", String),  # the day the scans came
    Column("ready_real_on", String),
    Column("download_ends_on", String),
    Column("negatives_until", String),  # the lab discards them after this day
    Column("negatives_fetched_on", String),
    Column("prints_fetched_on", String),
    Column("receipt_number", String),
    Column("receipt_sha256", String),
    Column("estimate", String, nullable=False),
    Column("paid", String),
    Column("paid_on", String),
    Column("currency", String, nullable=False),
    Column("calendar_sequence", Integer, nullable=False, default=0),
    Column("notes", Text),
    Index("ix_orders_dropped_on", "dropped_on"),
)

order_lines = Table(
    "order_lines",
    metadata,
    _id(),
    _to("order_id", "orders", required=True),
    _to("roll_id", "rolls"),  # none for postage and top-up
    _to("owner_id", "people"),
    Column("service", String, nullable=False),  # develop | push | scan | print 4R | rush | postage | minimum | other
    Column("quantity", Integer, nullable=False, default=1),
    Column("estimate", String, nullable=False),
    Column("amount", String),  # as the receipt says, where it says
    Column("returns", String),  # strips | uncut | sleeved
    Column("lab_roll_number", String),  # twin check or the lab's own number
)

# --- files, scans, captures --------------------------------------------------------------------------------------

files = Table(
    "files",
    metadata,
    _id(),
    Column("sha256", String, nullable=False, unique=True),
    Column("size", Integer, nullable=False),
    Column("media_type", String, nullable=False),
    Column("name", String, nullable=False),  # as handed in
    Column("kind", String, nullable=False),  # scan | phone shot | capture | flat | receipt | note | track | profile
    Column("added_at", String, nullable=False),
    Column("detail", JSON),
)

deliveries = Table(
    "deliveries",
    metadata,
    _id(),
    _to("order_id", "orders"),
    Column("name", String, nullable=False),
    Column("sha256", String, nullable=False, unique=True),  # of the sorted list of its files' digests
    Column("received_at", String, nullable=False),
    Column("report", JSON),
)

scans = Table(
    "scans",
    metadata,
    _id(),
    _to("file_id", "files", required=True),
    _to("delivery_id", "deliveries"),
    _to("roll_id", "rolls"),
    _to("frame_id", "frames"),
    Column("sequence", Integer, nullable=False),  # place in the delivery
    Column("origin", String, nullable=False),  # lab | own
    Column("name", String, nullable=False),
    Column("width", Integer),
    Column("height", Integer),
    Column("state", String, nullable=False),  # sure | asked | confirmed | none
    Column("confidence", Float),
    Column("reasons", JSON),
    Column("picture", String),  # relative to pictures/
    Column("picture_sha256", String),
    Column("inspection", JSON),
    Column("phone_file_id", Integer, ForeignKey("files.id")),
    UniqueConstraint("file_id", "roll_id"),
)

captures = Table(
    "captures",
    metadata,
    _id(),
    _to("file_id", "files", required=True),
    _to("roll_id", "rolls"),
    Column("flat_sha256", String),
    Column("geometry", JSON),
    Column("settings", JSON),
    Column("made_at", String, nullable=False),
    UniqueConstraint("file_id", "roll_id"),
)

positives = Table(
    "positives",
    metadata,
    _id(),
    _to("capture_id", "captures", required=True),
    _to("frame_id", "frames"),
    Column("frame_index", Integer, nullable=False),
    Column("picture", String, nullable=False),  # relative to pictures/
    Column("sha256", String, nullable=False),
    Column("settings", JSON),
    UniqueConstraint("capture_id", "frame_index"),
)

profiles = Table(
    "profiles",
    metadata,
    _id(),
    _to("stock_id", "stocks"),
    _to("lab_id", "labs"),
    _to("camera_id", "cameras"),
    Column("light", String),
    Column("capture_device", String),
    Column("process", String, nullable=False),
    Column("made_at", String, nullable=False),
    Column("profile", JSON, nullable=False),
)

developments = Table(  # what captures say of a lab's developing: base and contrast, over time
    "developments",
    metadata,
    _id(),
    _to("roll_id", "rolls", required=True),
    Column("base_red", Float),
    Column("base_green", Float),
    Column("base_blue", Float),
    Column("contrast", Float),  # slope of density over a chart's greys
    Column("picture_range", Float),  # of densities, median over the frames; where no chart was on the roll too
    Column("picture_range_error", Float),  # standard error of that
    Column("picture_range_frames", Integer),
    Column("measured_on", String, nullable=False),
    UniqueConstraint("roll_id"),
)

# --- strips, pages, binders, prints ------------------------------------------------------------------------------

binders = Table(
    "binders",
    metadata,
    _id(),
    Column("name", String, nullable=False, unique=True),
    Column("place", String),  # the shelf it stands on
    Column("holds", String, nullable=False, default="acetate"),
    Column("notes", Text),
)

pages = Table(
    "pages",
    metadata,
    _id(),
    _to("binder_id", "binders", required=True, index=False),
    Column("number", Integer, nullable=False),
    Column("layout", String, nullable=False),  # rows x frames per row: 7x5
    UniqueConstraint("binder_id", "number"),
)

strips = Table(
    "strips",
    metadata,
    _id(),
    _to("roll_id", "rolls", required=True),
    Column("number", Integer, nullable=False),  # along the roll, from 1
    Column("first_position", Integer, nullable=False),
    Column("last_position", Integer, nullable=False),
    Column("length_mm", Float),
    _to("page_id", "pages"),
    Column("row", Integer),
    Column("place", Integer),  # first place in the row, from 1
    UniqueConstraint("roll_id", "number"),
    UniqueConstraint("page_id", "row", "place"),
)

frame_strips = Table(  # a frame lies on one strip only
    "frame_strips",
    metadata,
    Column("frame_id", Integer, ForeignKey("frames.id"), primary_key=True),
    _to("strip_id", "strips", required=True),
    Column("place", Integer, nullable=False),  # on the strip, from 1
)

loans = Table(
    "loans",
    metadata,
    _id(),
    _to("strip_id", "strips"),
    _to("page_id", "pages"),
    Column("to_whom", String, nullable=False),
    Column("why", String),
    Column("lent_on", String, nullable=False),
    Column("due_on", String),
    Column("back_on", String),
)

prints = Table(
    "prints",
    metadata,
    _id(),
    _to("frame_id", "frames", required=True),
    _to("order_id", "orders"),
    Column("size", String, nullable=False),
    Column("copies", Integer, nullable=False, default=1),
    Column("fill", String, nullable=False, default="fill"),  # fill | fit
    Column("crop", JSON),
    Column("file", String),  # relative to pictures/ or paper/
    Column("made_on", String),
    Column("notes", Text),
)

# --- work under way ----------------------------------------------------------------------------------------------

undo = Table(  # one command's changes, so that it can be taken back
    "undo",
    metadata,
    _id(),
    Column("at", String, nullable=False),
    Column("what", String, nullable=False),
    Column("changes", JSON, nullable=False),
    Column("undone", Boolean, nullable=False, default=False),
)

jobs = Table(  # long work that survives a restart
    "jobs",
    metadata,
    _id(),
    Column("kind", String, nullable=False),
    Column("arguments", JSON, nullable=False),
    Column("state", String, nullable=False, index=True),  # waiting | running | done | failed | cancelled
    Column("done", Integer, nullable=False, default=0),
    Column("total", Integer, nullable=False, default=0),
    Column("message", Text),
    Column("result", JSON),
    Column("made_at", String, nullable=False),
    Column("changed_at", String, nullable=False),
)

settings = Table(
    "settings",
    metadata,
    Column("name", String, primary_key=True),
    Column("value", JSON, nullable=False),
)
