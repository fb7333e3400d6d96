"""From the first format to the present one, and on to one that does not exist yet."""

import json
import shutil
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
import sqlalchemy as sa
from alembic.migration import MigrationContext
from make_kept_book import what_it_says
from records_kit import begin_setup, open_book
from sqlalchemy.dialects import postgresql

from readings import BookError
from records import (
    BookDamagedError,
    BookMissingError,
    BookNewerError,
    BookOlderError,
    BookReader,
    book_path,
    check_book,
)
from records.database import writer_engine
from records.migrate import SCRIPTS, bring_up_to_date, known_formats, upgrade_tables
from records.tables import FORMAT, metadata

DATA = Path(__file__).parent / "data"
KEPT = sorted(path.stem for path in DATA.glob("book_v*.sqlite3"))
OLDER = [name for name in KEPT if name != f"book_v{FORMAT}"]

NEXT_FORMAT = """
import sqlalchemy as sa
from alembic import op
revision = "9999"
down_revision = {previous!r}
def upgrade():
    op.add_column("setup", sa.Column("weather", sa.Text, nullable=True))
    {more}
"""


@pytest.fixture
def kept(tmp_path):
    return lay_out(f"book_v{FORMAT}", tmp_path / "kept")


def lay_out(name, home):
    home.mkdir()
    shutil.copy(DATA / f"{name}.sqlite3", book_path(home))
    shutil.copytree(DATA / f"{name}_photos", home / "photos")
    return home


@pytest.fixture
def next_scripts(tmp_path):
    def write(more="pass"):
        scripts = tmp_path / "migrations"
        shutil.copytree(SCRIPTS, scripts, ignore=shutil.ignore_patterns("__pycache__"))
        script = NEXT_FORMAT.format(previous=FORMAT, more=more)
        (scripts / "versions" / "v9999_next.py").write_text(script)
        return scripts

    return write


def migrate(home, scripts):
    engine = writer_engine(book_path(home))
    try:
        with engine.connect() as connection:
            bring_up_to_date(connection, home, scripts=scripts)
    finally:
        engine.dispose()


def columns(path, table="setup"):
    with closing(sqlite3.connect(path)) as connection:
        return [row[1] for row in connection.execute(f"PRAGMA table_info({table})")]


@pytest.mark.parametrize("name", OLDER)
def test_the_kept_book_of_every_format_opens_without_loss(name, tmp_path):
    home = lay_out(name, tmp_path / "kept")
    with open_book(home) as book:
        assert [line.id for line in book.open_setups()] == [4]
        assert book.get_session_state("live") == b'{"step":2}'
    assert check_book(home) == []
    assert what_it_said(home, name) == json.loads((DATA / f"{name}.json").read_text())


def what_it_said(home, name):
    """What the book says, without what its older format had not: there it is empty."""
    says = what_it_says(home)
    assert says.pop("plans") == []
    return says if name == "book_v0002" else without_what_0002_brought(says)


def without_what_0002_brought(says):
    for line in says["lines"]:
        assert line.pop("machine") is None
    for setup in says["setups"]:
        for name in ("machine", "station", "again_of_uid"):
            assert setup.pop(name) is None
        assert setup.pop("sizes") == []
        for instrument in setup["instruments"]:
            assert instrument.pop("name") is None
    return says


def test_there_is_a_kept_book_of_the_present_format(tmp_path):
    home = lay_out(f"book_v{FORMAT}", tmp_path / "kept")
    assert check_book(home) == []
    assert what_it_says(home) == json.loads((DATA / f"book_v{FORMAT}.json").read_text())


def test_the_format_is_the_newest_migration():
    assert known_formats()[0] == FORMAT


def test_the_migrations_make_the_tables_the_program_knows():
    def tables(fill):
        engine = sa.create_engine("sqlite://")
        with engine.begin() as connection:
            fill(connection)
            found = {name: in_short(connection, name) for name in metadata.tables}
        engine.dispose()
        return found

    def in_short(connection, name):
        """Columns in order, what refers, what is unique, what is checked, what is indexed."""
        look = sa.inspect(connection)
        columns = [(c["name"], str(c["type"]), c["nullable"]) for c in look.get_columns(name)]
        named = (
            look.get_foreign_keys(name),
            look.get_unique_constraints(name),
            look.get_check_constraints(name),
            look.get_indexes(name),
        )
        return columns, look.get_pk_constraint(name), *(sorted(map(str, one)) for one in named)

    assert tables(upgrade_tables) == tables(metadata.create_all)


def test_the_tables_suit_postgresql_as_well():
    for table in metadata.sorted_tables:
        text = str(sa.schema.CreateTable(table).compile(dialect=postgresql.dialect()))
        assert text.strip().startswith(f"CREATE TABLE {table.name}")


def test_a_new_format_comes_after_a_verified_backup(kept, next_scripts):
    before = what_it_says(kept)
    migrate(kept, next_scripts())
    (backup,) = (kept / "backups").iterdir()
    assert backup.name == f"before-format-9999-from-{FORMAT}.sqlite3"
    assert "weather" in columns(book_path(kept))
    assert "weather" not in columns(backup)

    old = kept.parent / "old"
    old.mkdir()
    shutil.copy(backup, book_path(old))
    shutil.copytree(kept / "photos", old / "photos")
    assert check_book(old) == []
    assert what_it_says(old) == before


def test_a_new_column_leaves_the_old_hashes_valid(kept, next_scripts):
    migrate(kept, next_scripts())
    with closing(sqlite3.connect(book_path(kept))) as connection, connection:
        connection.execute(f"UPDATE alembic_version SET version_num = '{FORMAT}'")
    assert [d for d in check_book(kept) if d.where != "setup"] == []


@pytest.mark.parametrize(
    "more",
    [
        'op.execute("INSERT INTO no_such_table VALUES (1)")',
        """op.execute("INSERT INTO tick SELECT 99, 99, '', '', '', 1, '' FROM book")""",
    ],
)
def test_a_failed_migration_leaves_the_book_as_it_was(kept, next_scripts, more):
    before = what_it_says(kept)
    with pytest.raises(BookError, match="it is as it was, and a copy is in"):
        migrate(kept, next_scripts(more))
    assert "weather" not in columns(book_path(kept))
    assert check_book(kept) == []
    assert what_it_says(kept) == before
    migrate(kept, SCRIPTS)


def test_a_newer_book_is_neither_read_nor_touched(kept, next_scripts):
    migrate(kept, next_scripts())
    bytes_before = book_path(kept).read_bytes()
    for attempt in (open_book, BookReader.open, check_book):
        with pytest.raises(BookNewerError, match=r"has format 9999.*install a newer Sparehand"):
            attempt(kept)
    assert book_path(kept).read_bytes() == bytes_before


def test_an_older_book_waits_for_a_writer(kept, monkeypatch):
    monkeypatch.setattr("records.migrate.FORMAT", "9999")
    with pytest.raises(BookOlderError, match="start `sparehand run` once"):
        BookReader.open(kept)


def test_another_programs_database_is_left_alone(tmp_path):
    with closing(sqlite3.connect(book_path(tmp_path))) as connection, connection:
        connection.execute("CREATE TABLE tools (name TEXT)")
    with pytest.raises(BookDamagedError, match="not a record book of Sparehand"):
        open_book(tmp_path)
    assert columns(book_path(tmp_path), "tools") == ["name"]


def test_a_book_begun_and_killed_before_its_tables_is_made_whole(tmp_path):
    book_path(tmp_path).touch()
    with open_book(tmp_path) as book:
        begin_setup(book)
    assert check_book(tmp_path) == []


def test_a_missing_folder_and_a_missing_book_are_told_apart(tmp_path):
    with pytest.raises(BookMissingError, match="does not exist: check its name, or plug in"):
        BookReader.open(tmp_path / "gone")
    with pytest.raises(BookMissingError, match=r"There is no record book in .* yet"):
        BookReader.open(tmp_path)
    assert list(tmp_path.iterdir()) == []


def test_a_home_that_is_a_file_is_told(tmp_path):
    home = tmp_path / "home"
    home.write_text("a file")
    with pytest.raises(BookError, match="cannot be used"):
        open_book(home)


def test_alembic_finds_its_own_mark(kept):
    """Read by Alembic itself, not by our own query."""
    engine = sa.create_engine(f"sqlite:///{book_path(kept)}")
    with engine.connect() as connection:
        assert MigrationContext.configure(connection).get_current_revision() == FORMAT
    engine.dispose()
