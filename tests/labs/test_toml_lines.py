"""Lines of keys in TOML, over long strings, lists and comments."""

from __future__ import annotations

from dryside.labs.toml_lines import toml_lines

TEXT = '''\
# name = "no key"
name = "Quay"   # a comment with = in it
notes = """
price = "not a key"
"""
closed_dates = [
  2026-12-24,  # key = 1
  2026-12-31,
]

[[develop]]
process = "c41"
formats = ["135",
  "120"]
price = "7.00"
[[develop]]
"process" = "bw"
notes = 'a " quote ['
price = "9.00"
'''


def test_a_key_is_found_in_its_table():
    lines = toml_lines(TEXT)
    assert lines.line("name") == 2
    assert lines.line("closed_dates") == 6
    assert lines.line("process", table="develop", index=0) == 12
    assert lines.line("price", table="develop", index=0) == 15
    assert lines.line("process", table="develop", index=1) == 17
    assert lines.line("price", table="develop", index=1) == 19


def test_a_missing_key_is_told_at_its_table_and_at_the_top_nowhere():
    lines = toml_lines(TEXT)
    assert lines.line("working_days", table="develop", index=1) == 16
    assert lines.line("currency") is None


def test_what_stands_in_long_strings_and_comments_is_no_key():
    lines = toml_lines(TEXT)
    assert lines.line("price") is None
    assert lines.line("key") is None
