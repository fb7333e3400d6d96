"""The columns of the exported tables, with their units: the tables are written from here."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Column:
    """One column: its name, its unit ("" where it has none), what it says."""

    name: str
    unit: str
    meaning: str


_SETUP = Column("setup", "", "number of the setup within this archive, in the order begun")
_SWEEP = Column("sweep", "", "number of the sweep within this archive")
_AT = Column("at_utc", "ISO 8601, UTC", "when it was written into the book")

TABLES: dict[str, tuple[Column, ...]] = {
    "setups": (
        _SETUP,
        Column("uid", "", "name of the setup that no other in the world has"),
        Column("part", "", "the part"),
        Column("operation", "", "what the part was set up for"),
        Column("guide", "", "the guided setup used"),
        Column("title", "", "the same in words"),
        Column("machine", "", "the machine, where it was named"),
        Column("tolerance_mm", "mm", "tolerance that the verdict is against"),
        Column("tolerance_source", "", "where the tolerance comes from"),
        Column("begun_utc", "ISO 8601, UTC", "when it was begun"),
        Column("ended_utc", "ISO 8601, UTC", "when it was finished or given up"),
        Column("state", "", "finished or abandoned"),
        Column("verdict", "", "inside, outside or cannot tell"),
        Column("superseded_by", "", "the later setup that counts in its place"),
        Column("again_of_uid", "", "uid of the setup that it repeats on another part"),
        Column("program_version", "", "the version of Sparehand that began it"),
    ),
    "sweeps": (
        _SETUP,
        _SWEEP,
        Column("purpose", "", "turns, or check after locking"),
        Column("kind", "", "turn: a continuous pass; stops: still places"),
        Column("sense", "", "sense of turning, seen from above"),
        Column("state", "", "complete, incomplete or void"),
        Column("begun_utc", "ISO 8601, UTC", "wall time at its first sample"),
        Column("ended_utc", "ISO 8601, UTC", "when it ended"),
        Column("samples", "", "how many samples it has"),
        Column("refused", "", "pictures in its span that gave no reading"),
        Column("flags", "", "what stood out, separated by ;"),
    ),
    "samples": (
        _SETUP,
        _SWEEP,
        Column("n", "", "number of the sample in its sweep, from 0"),
        Column("t_s", "s", "the camera's own seconds"),
        Column("value_mm", "mm", "reading of the dial; rises as the stylus is pushed in"),
        Column("sigma_mm", "mm", "standard uncertainty of the reading (k = 1)"),
        Column("angle_deg", "deg", "angle as the collar showed it, turns counted on"),
        Column("sigma_angle_deg", "deg", "standard uncertainty of the angle (k = 1)"),
        Column("theta_deg", "deg", "stylus from +X, anticlockwise seen from above, if known"),
    ),
    "results": (
        _SETUP,
        _SWEEP,
        Column("result", "", "number of the result within this archive"),
        Column("kind", "", "what was found: sweep, centring, tram, bar and so on"),
        _AT,
        Column("quantity", "", "name of the number"),
        Column("label", "", "the same in words"),
        Column("value", "as told by unit", "the number"),
        Column("unit", "", "unit of value and u"),
        Column("u", "as told by unit", "standard uncertainty (k = 1); empty where not told"),
        Column("verdict", "", "verdict of the result, where it has one"),
    ),
    "budgets": (
        _SETUP,
        Column("result", "", "number of the result within this archive"),
        Column("contribution", "", "what contributes to the uncertainty of what was judged"),
        Column("u_mm", "mm", "its standard uncertainty on that (k = 1)"),
    ),
    "sizes": (
        _SETUP,
        Column("key", "", "name of the size"),
        Column("label", "", "the same in words"),
        Column("value", "as told by unit", "as it was entered by hand"),
        Column("unit", "", "its unit"),
        Column("tool", "", "what it was taken with"),
        _AT,
    ),
    "checklists": (
        _SETUP,
        Column("list", "", "which checklist"),
        Column("line", "", "which line of it"),
        Column("text", "", "what the line said in the version that exported it"),
        Column("who", "", "who touched it; lapsed where nobody did and the tick lapsed"),
        Column("ticked", "1 or 0", "1: ticked, 0: taken back"),
        _AT,
    ),
    "instruments": (
        _SETUP,
        Column("kind", "", "dial, camera, collar and so on"),
        Column("name", "", "its name"),
        Column("known", "JSON", "all that was known of it then, its calibration included"),
        _AT,
    ),
    "photos": (
        _SETUP,
        _SWEEP,
        Column("file", "", "the file within the archive, named by its SHA-256"),
        Column("kind", "", "raw: as taken; annotated: with what was read drawn on it"),
        Column("caption", "", "what it shows"),
        Column("size_bytes", "bytes", "size of the file"),
        _AT,
    ),
}  # fmt: skip

DESCRIPTION = ("table", "column", "unit", "meaning")


def names(table: str) -> tuple[str, ...]:
    """Return the names of a table's columns, in order."""
    return tuple(column.name for column in TABLES[table])


def described() -> list[dict[str, str]]:
    """Return a row of `DESCRIPTION` for each column of each table."""
    return [
        {"table": table, "column": column.name, "unit": column.unit, "meaning": column.meaning}
        for table, columns in TABLES.items()
        for column in columns
    ]
