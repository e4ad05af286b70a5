"""The image engine: capture -> strip -> frames -> density -> scene -> rendering."""
