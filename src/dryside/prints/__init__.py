"""Print sizes that the pixels and the shape bear; print files and sheets."""
