"""Notes of frames as people keep them: plain text, sheets, GPS tracks. Text in, dataclasses out; no book, no clock."""
