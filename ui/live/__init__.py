"""The live block of the dashboard: its Python wrapper, what it says, and its page files."""
