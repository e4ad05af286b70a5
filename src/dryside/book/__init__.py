"""The book: one folder with the database, the originals, the pictures and the papers."""
