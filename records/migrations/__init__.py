"""The book's formats, one migration after the other; run by `records.migrate`."""
