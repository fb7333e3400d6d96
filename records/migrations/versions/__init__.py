"""One module a format, frozen once released."""
