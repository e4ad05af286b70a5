"""How exactly a frame's time is known, its own exposure index, and the index that `find` reads."""

# ruff: noqa: S608 (every statement is made of the constants here)
from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None

# Marks are words of the index that no text has (they begin with U+E000, which is in nobody's caption): camera, lens,
# stock, owner, each rating up to the frame's, not printed, negatives still at the lab, year, month, day, and squares of
# the map of 10, 1, 0.1 and 0.01 degrees. So every filter is one more list of the full-text index to walk along.
_SQUARE = (
    "coalesce(' ' || char(57344) || '{mark}' || CAST((f.latitude + 90) * {per_degree} AS INTEGER)"
    " || 'x' || CAST((f.longitude + 180) * {per_degree} AS INTEGER), '')"
)
_MARKS = " || ".join(
    [
        "coalesce(' ' || char(57344) || 'c' || r.camera_id, '')",
        "coalesce(' ' || char(57344) || 's' || r.stock_id, '')",
        "coalesce(' ' || char(57344) || 'o' || r.owner_id, '')",
        "coalesce(' ' || char(57344) || 'l' || f.lens_id, '')",
        "CASE WHEN f.printed THEN '' ELSE ' ' || char(57344) || 'n' END",
        "CASE WHEN r.state IN ('at the lab', 'scans back') THEN ' ' || char(57344) || 'w' ELSE '' END",
        *(f"CASE WHEN f.rating >= {stars} THEN ' ' || char(57344) || 'r{stars}' ELSE '' END" for stars in range(1, 6)),
        "coalesce(' ' || char(57344) || 'y' || substr(f.taken_at, 1, 4), '')",
        "coalesce(' ' || char(57344) || 'm' || substr(f.taken_at, 1, 4) || substr(f.taken_at, 6, 2), '')",
        "coalesce(' ' || char(57344) || 'd' || substr(f.taken_at, 1, 4) || substr(f.taken_at, 6, 2)"
        " || substr(f.taken_at, 9, 2), '')",
        *(
            _SQUARE.format(mark=mark, per_degree=per_degree)
            for mark, per_degree in (("ga", 0.1), ("gb", 1), ("gc", 10), ("gd", 100))
        ),
    ]
)
_COLUMNS = "caption, keywords, place, person, notes, title, marks"
_FRAME_COLUMNS = (
    "caption, keywords, place, person, notes, lens_id, rating, printed, taken_at, latitude, longitude, roll_id"
)
_ROLL_COLUMNS = ("title", "camera_id", "stock_id", "owner_id", "state")
_ROLL_CHANGED = " OR ".join(f"old.{name} IS NOT new.{name}" for name in _ROLL_COLUMNS)
_FORGET = f"INSERT INTO frame_words(frame_words, rowid, {_COLUMNS}) SELECT 'delete', id, {_COLUMNS} FROM frame_search"
_LEARN = f"INSERT INTO frame_words(rowid, {_COLUMNS}) SELECT id, {_COLUMNS} FROM frame_search"

SQLITE = (
    "CREATE VIEW frame_search AS SELECT f.id, f.roll_id, f.caption, f.keywords, f.place, f.person, f.notes, r.title,"
    f" {_MARKS} AS marks FROM frames f JOIN rolls r ON r.id = f.roll_id",
    f"CREATE VIRTUAL TABLE frame_words USING fts5({_COLUMNS}, content='frame_search', content_rowid='id',"
    " tokenize='unicode61 remove_diacritics 2')",
    f"CREATE TRIGGER frame_words_added AFTER INSERT ON frames BEGIN {_LEARN} WHERE id = new.id; END",
    f"CREATE TRIGGER frame_words_removed BEFORE DELETE ON frames BEGIN {_FORGET} WHERE id = old.id; END",
    f"CREATE TRIGGER frame_words_before BEFORE UPDATE OF {_FRAME_COLUMNS} ON frames"
    f" BEGIN {_FORGET} WHERE id = old.id; END",
    f"CREATE TRIGGER frame_words_after AFTER UPDATE OF {_FRAME_COLUMNS} ON frames"
    f" BEGIN {_LEARN} WHERE id = new.id; END",
    f"CREATE TRIGGER frame_words_roll_before BEFORE UPDATE OF {', '.join(_ROLL_COLUMNS)} ON rolls WHEN {_ROLL_CHANGED}"
    f" BEGIN {_FORGET} WHERE roll_id = old.id; END",
    f"CREATE TRIGGER frame_words_roll_after AFTER UPDATE OF {', '.join(_ROLL_COLUMNS)} ON rolls WHEN {_ROLL_CHANGED}"
    f" BEGIN {_LEARN} WHERE roll_id = new.id; END",
    "INSERT INTO frame_words(frame_words) VALUES ('rebuild')",
)

# PostgreSQL: a column of words kept by triggers. Accents are folded by a table, as SQLite's tokenizer does, since the
# extension for it is not everywhere.
_ACCENTED = "áàâäãåāăąçćčďéèêëēėęěğíìîïīįĺľñńňóòôöõōőŕřśšşťţúùûüūůűųýÿžźż"
_PLAIN = "aaaaaaaaacccdeeeeeeeegiiiiiillnnnooooooorrsssttuuuuuuuuyyzzz"
# A word between the fields, so that no phrase runs from one into the next.
_WORDS = " || ' xqfieldendsqx ' || ".join(
    f"coalesce(NEW.{name}, '')" for name in ("caption", "keywords", "place", "person", "notes")
)
POSTGRESQL = (
    "CREATE FUNCTION plain_words(words text) RETURNS tsvector IMMUTABLE PARALLEL SAFE LANGUAGE SQL AS"
    f" $$ SELECT to_tsvector('simple'::regconfig, translate(lower(words), '{_ACCENTED}', '{_PLAIN}')) $$",
    "CREATE FUNCTION km_between(a float8, b float8, c float8, d float8) RETURNS float8 IMMUTABLE PARALLEL SAFE"
    " LANGUAGE SQL AS $$ SELECT 2 * 6371.0088 * asin(least(1, sqrt(sin(radians(c - a) / 2) ^ 2"
    " + cos(radians(a)) * cos(radians(c)) * sin(radians(d - b) / 2) ^ 2))) $$",
    "ALTER TABLE frames ADD COLUMN words tsvector",
    "CREATE FUNCTION frame_words_kept() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN NEW.words := plain_words("
    f"{_WORDS} || ' xqfieldendsqx ' || coalesce((SELECT title FROM rolls WHERE id = NEW.roll_id), ''));"
    " RETURN NEW; END $$",
    "CREATE TRIGGER frame_words_kept BEFORE INSERT OR UPDATE ON frames"
    " FOR EACH ROW EXECUTE FUNCTION frame_words_kept()",
    "CREATE FUNCTION roll_title_kept() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN"
    " UPDATE frames SET roll_id = roll_id WHERE roll_id = NEW.id; RETURN NEW; END $$",
    "CREATE TRIGGER roll_title_kept AFTER UPDATE OF title ON rolls"
    " FOR EACH ROW WHEN (OLD.title IS DISTINCT FROM NEW.title) EXECUTE FUNCTION roll_title_kept()",
    "UPDATE frames SET roll_id = roll_id",
    "CREATE INDEX ix_frames_words ON frames USING gin (words)",
)


def upgrade() -> None:
    """Add two columns and the search index."""
    op.add_column("frames", sa.Column("taken_to", sa.String))
    op.add_column("frames", sa.Column("exposure_index", sa.Integer))
    statements = SQLITE if op.get_bind().dialect.name == "sqlite" else POSTGRESQL
    for statement in statements:
        op.get_bind().exec_driver_sql(statement)
