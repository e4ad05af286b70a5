"""File formats, read and written in rows so that no whole picture need stand in memory."""
