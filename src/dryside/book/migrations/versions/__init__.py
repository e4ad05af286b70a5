"""One module a version."""
