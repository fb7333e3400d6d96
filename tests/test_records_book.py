"""The writer: what it acknowledges is there, what it refuses leaves nothing behind."""

import hashlib
import sqlite3
import struct
import sys
import threading
from contextlib import closing

import numpy as np
import pytest
from records_kit import (
    START,
    batch,
    begin_setup,
    import_another,
    open_book,
    pair_plan,
    tiny_jpeg,
    whole_setup,
    whole_sweep,
)

from readings import BadInputError, BookError, Sample
from records import (
    BookFinishedError,
    BookFullError,
    BookLockedError,
    BookReader,
    book_path,
    check_book,
)
from records.tables import RECORDS


@pytest.fixture
def book(tmp_path):
    with open_book(tmp_path) as opened:
        yield opened


def raw(home):
    return closing(sqlite3.connect(book_path(home)))


def count(home, table):
    with raw(home) as connection:
        return connection.execute(f"SELECT COUNT(*) FROM {table}").fetchone()[0]


def test_a_whole_setup_reads_back_as_it_was_written(book, tmp_path):
    setup_id = whole_setup(book)
    with BookReader.open(tmp_path) as reader:
        shown = reader.show_setup(setup_id)
    assert shown["job"] == "winding gear of the lower lock"
    assert shown["operation"] == "bore the 52 mm seat"
    assert shown["settings"] == {"diameter_mm": 52.0, "layout": "riding"}
    assert (shown["state"], shown["verdict"]) == ("finished", "inside")
    assert shown["instruments"][0]["body"]["checked"] is None
    assert shown["results"][0]["body"]["eccentricity_mm"] == 0.12
    assert [tick["ticked"] for tick in shown["ticks"]] == [True]
    (sweep,) = shown["sweeps"]
    assert (sweep["state"], sweep["refused"], sweep["count"]) == ("complete", 2, 90)
    assert sweep["flags"] == ["one way only"]
    assert sweep["samples"]["value_mm"][0] == 0.4 + 0.12
    (photo,) = shown["photos"]
    assert photo["there"]
    assert photo["sweep_id"] == sweep["id"]


def test_samples_come_back_bit_for_bit_as_a_sweep(book, tmp_path):
    sweep_id = whole_sweep(book, begin_setup(book))
    with BookReader.open(tmp_path) as reader:
        sweep = reader.samples(sweep_id)
    sent = [sample for number in range(3) for sample in batch(number)]
    assert sweep.value_mm.tolist() == [s.value_mm for s in sent]
    assert sweep.sigma_angle_rad.tolist() == [s.sigma_angle_rad for s in sent]
    assert (sweep.sense, sweep.kind, sweep.refused) == ("anticlockwise", "turn", 2)
    assert sweep.flags == ("one way only",)
    assert not sweep.value_mm.flags.writeable


def test_the_blob_is_laid_out_as_documented(book, tmp_path):
    """Decoded with the standard library's struct from the words of records.packing alone."""
    sweep_id = whole_sweep(book, begin_setup(book), batches=1)
    with raw(tmp_path) as connection:
        query = "SELECT count, blob FROM samples WHERE sweep_id = ?"
        n, blob = connection.execute(query, (sweep_id,)).fetchone()
    numbers = struct.unpack(f"<{5 * n}d", blob)
    wanted = batch(0)
    assert numbers[:n] == tuple(s.t_s for s in wanted)
    assert numbers[3 * n : 4 * n] == tuple(s.angle_rad for s in wanted)


def test_the_same_batch_sent_twice_is_acknowledged_and_not_doubled(book, tmp_path):
    sweep_id = book.begin_sweep(begin_setup(book), "fine", None, START)
    book.append_samples(sweep_id, 0, batch(0))
    book.append_samples(sweep_id, 0, batch(0))
    assert count(tmp_path, "samples") == 1
    book.end_sweep(sweep_id, "complete")
    book.append_samples(sweep_id, 0, batch(0))  # the acknowledgement was lost, the end was not
    assert count(tmp_path, "samples") == 1


def test_another_batch_of_the_same_number_is_refused(book, tmp_path):
    sweep_id = book.begin_sweep(begin_setup(book), "fine", None, START)
    book.append_samples(sweep_id, 0, batch(0))
    with pytest.raises(BookError, match=r"Batch 0 of sweep 1 is in the book with other samples"):
        book.append_samples(sweep_id, 0, batch(1))
    with pytest.raises(BookError, match=r"send batch 1 first"):
        book.append_samples(sweep_id, 2, batch(2))
    assert count(tmp_path, "samples") == 1


@pytest.mark.parametrize("bad", [float("nan"), float("inf")])
def test_a_sample_that_is_no_number_is_refused(book, tmp_path, bad):
    sweep_id = book.begin_sweep(begin_setup(book), "fine", None, START)
    with pytest.raises(BadInputError, match=r"Sample 1 has (nan|inf) as its value_mm"):
        book.append_samples(sweep_id, 0, [batch(0)[0], Sample(0.1, bad, 0.001, 0.0, 0.001)])
    with pytest.raises(BadInputError, match="without samples"):
        book.append_samples(sweep_id, 0, [])
    assert count(tmp_path, "samples") == 0


def test_a_finished_setup_is_never_changed(book):
    setup_id = whole_setup(book)
    refused = (
        lambda: book.add_tick(setup_id, "before-hands", "isolated", "someone", True),
        lambda: book.add_result(setup_id, "centring", 1, {}),
        lambda: book.add_photo(setup_id, tiny_jpeg(), "late", "raw", {}),
        lambda: book.add_instrument(setup_id, "dial", {}),
        lambda: book.begin_sweep(setup_id, "fine", None, START),
        lambda: book.finish_setup(setup_id, {"verdict": "inside"}),
        lambda: book.abandon_setup(setup_id, "late"),
        lambda: book.resume_setup(setup_id, {}),
    )
    for attempt in refused:
        with pytest.raises(BookFinishedError, match=r"Setup 1 is finished and never changed"):
            attempt()


def test_the_list_before_power_is_ticked_after_the_finish(book):
    finished, abandoned = whole_setup(book), begin_setup(book)
    book.add_tick(finished, "before-power", "keys-out", "the machinist", True)
    book.abandon_setup(abandoned, "cracked")
    with pytest.raises(BookFinishedError, match="is abandoned"):
        book.add_tick(abandoned, "before-power", "keys-out", "the machinist", True)


def test_a_setup_with_a_running_sweep_is_not_finished(book):
    setup_id = begin_setup(book)
    sweep_id = book.begin_sweep(setup_id, "fine", None, START)
    with pytest.raises(BookError, match=rf"Sweep {sweep_id} of setup {setup_id} was not ended"):
        book.finish_setup(setup_id, {"verdict": "inside"})
    book.end_sweep(sweep_id, "void", flags=("turning too fast",))
    book.finish_setup(setup_id, {"verdict": "cannot tell"})
    assert book.open_setups() == []


def test_a_void_sweep_has_no_result(book, tmp_path):
    sweep_id = book.begin_sweep(begin_setup(book), "fine", None, START)
    with pytest.raises(BadInputError, match="is void and has no result"):
        book.end_sweep(sweep_id, "void", {"eccentricity_mm": 0.49})
    assert count(tmp_path, "sweep_end") == count(tmp_path, "result") == 0


def test_abandoning_ends_the_running_sweep_as_incomplete(book, tmp_path):
    setup_id = begin_setup(book)
    sweep_id = book.begin_sweep(setup_id, "fine", "clockwise", START)
    book.append_samples(sweep_id, 0, batch(0))
    assert [(s.id, s.batches, s.samples) for s in book.open_sweeps()] == [(sweep_id, 1, 30)]
    book.abandon_setup(setup_id, "the casting is cracked")
    assert book.open_sweeps() == []
    with BookReader.open(tmp_path) as reader:
        shown = reader.show_setup(setup_id)
    assert shown["state"] == "abandoned"
    assert shown["events"][0]["body"] == {"reason": "the casting is cracked"}
    assert shown["sweeps"][0]["state"] == "incomplete"


def test_an_unended_sweep_reads_as_incomplete(book, tmp_path):
    sweep_id = book.begin_sweep(begin_setup(book), "fine", "clockwise", START)
    book.append_samples(sweep_id, 0, batch(0))
    with BookReader.open(tmp_path) as reader:
        assert reader.samples(sweep_id).flags == ("incomplete",)


def test_superseding_goes_one_way_and_once(book, tmp_path):
    first, second, third = whole_setup(book), whole_setup(book), begin_setup(book)
    with pytest.raises(BadInputError, match="only a later one supersedes"):
        book.supersede(second, first, "no")
    with pytest.raises(BadInputError, match="is still open"):
        book.supersede(third, third, "no")
    book.supersede(first, second, "the part had moved")
    with pytest.raises(BadInputError, match=r"superseded by setup 2 already"):
        book.supersede(first, third, "again")
    with BookReader.open(tmp_path) as reader:
        assert reader.show_setup(first)["superseded_by"] == second
        assert reader.show_setup(second)["supersedes"] == [first]


def test_jobs_and_parts_are_found_again_by_name(book):
    part = book.ensure_part("winding gear", "gear-case end 1")
    assert book.ensure_part(" winding  gear ", "gear-case end 1") == part
    assert book.ensure_part("winding gear", "gear-case end 2") != part
    with pytest.raises(BadInputError, match="The part has no name"):
        book.ensure_part("winding gear", "  ")
    with pytest.raises(BadInputError, match="There is no part 99"):
        book.ensure_operation(99, "bore")


def test_what_is_not_there_is_named(book):
    with pytest.raises(BadInputError, match="There is no setup 9"):
        book.add_tick(9, "before-hands", "isolated", "someone", True)
    with pytest.raises(BadInputError, match="There is no sweep 9"):
        book.append_samples(9, 0, batch(0))
    with pytest.raises(BadInputError, match="There is no part 9"):
        book.begin_setup(9, "bore-centre", "Centre", 0.01, {})
    mine, other = begin_setup(book), begin_setup(book)
    sweep_id = book.begin_sweep(mine, "fine", None, START)
    with pytest.raises(BadInputError, match=rf"Sweep {sweep_id} is none of setup {other}"):
        book.add_result(other, "centring", 1, {}, sweep_id=sweep_id)


def test_text_and_numbers_that_no_database_takes_are_refused(book, tmp_path):
    setup_id = begin_setup(book)
    with pytest.raises(BadInputError, match="who holds a NUL"):
        book.add_tick(setup_id, "before-hands", "isolated", "a\x00b", True)
    with pytest.raises(BadInputError, match="who holds a character that is no text"):
        book.add_tick(setup_id, "before-hands", "isolated", "\udce4", True)
    part_id = book.ensure_part("winding gear", "gear-case end 1")
    with pytest.raises(BadInputError, match="tolerance_mm is nan"):
        book.begin_setup(part_id, "bore-centre", "Centre", float("nan"), {})
    assert count(tmp_path, "setup") == 1


def test_json_is_strict_and_takes_numpy(book, tmp_path):
    setup_id = begin_setup(book)
    body = {"u_dial_mm": float("nan"), "tir_mm": np.float64(0.25), "stops": np.arange(3)}
    book.add_result(setup_id, "centring", 1, body)
    with raw(tmp_path) as connection:
        (text,) = connection.execute("SELECT body FROM result").fetchone()
    assert text == '{"stops":[0,1,2],"tir_mm":0.25,"u_dial_mm":null}'


def test_photos_are_named_by_their_hash_and_kept_once(book, tmp_path):
    setup_id = begin_setup(book)
    jpeg = tiny_jpeg()
    sha256 = book.add_photo(setup_id, jpeg, "raw", "raw", {})
    assert sha256 == hashlib.sha256(jpeg).hexdigest()
    file = tmp_path / "photos" / f"{sha256}.jpg"
    assert file.read_bytes() == jpeg
    file.write_bytes(b"damaged")
    assert book.add_photo(setup_id, jpeg, "again", "raw", {}) == sha256
    assert file.read_bytes() == jpeg
    assert [p.name for p in file.parent.iterdir()] == [file.name]
    with pytest.raises(BadInputError, match="is a JPEG file"):
        book.add_photo(setup_id, b"GIF89a", "no", "raw", {})


@pytest.fixture(scope="module")
def written(tmp_path_factory):
    home = tmp_path_factory.mktemp("written")
    with open_book(home) as book:
        book.supersede(whole_setup(book), whole_setup(book), "again")
        import_another(book, tmp_path_factory.mktemp("elsewhere"))
        book.keep_plan(pair_plan(), None)
    return home


@pytest.mark.parametrize("table", [*RECORDS, "chain"])
def test_no_record_is_updated_replaced_or_deleted(written, table):
    key = "seq" if table == "chain" else "id"
    statements = (
        f"UPDATE {table} SET {key} = {key} + 100",
        f"DELETE FROM {table}",
        f"INSERT OR REPLACE INTO {table} SELECT * FROM {table} LIMIT 1",
    )
    with raw(written) as connection:
        assert connection.execute(f"SELECT COUNT(*) FROM {table}").fetchone()[0]
        connection.execute("PRAGMA recursive_triggers = ON")
        for statement in statements:
            with pytest.raises(sqlite3.IntegrityError, match=f"{table} is insert only"):
                connection.execute(statement)


def append_until_full(book, sweep_id, first):
    for number in range(first, 100):
        try:
            book.append_samples(sweep_id, number, batch(number))
        except BookFullError:
            return number
    pytest.fail("the disk was never full")


def test_a_full_disk_loses_nothing_that_was_acknowledged(book, tmp_path):
    """SQLite's own limit on pages makes the disk full."""
    sweep_id = book.begin_sweep(begin_setup(book), "fine", None, START)
    book.append_samples(sweep_id, 0, batch(0))
    connection = book._pen.connection
    pages = connection.exec_driver_sql("PRAGMA page_count").scalar()
    connection.exec_driver_sql(f"PRAGMA max_page_count = {pages + 2}")
    connection.rollback()
    acknowledged = append_until_full(book, sweep_id, first=1)
    with pytest.raises(BookFullError, match="everything acknowledged so far is kept"):
        book.append_samples(sweep_id, acknowledged, batch(acknowledged))
    assert count(tmp_path, "samples") == acknowledged
    connection.exec_driver_sql("PRAGMA max_page_count = 1000000")
    connection.rollback()
    book.append_samples(sweep_id, acknowledged, batch(acknowledged))
    assert count(tmp_path, "samples") == acknowledged + 1
    assert check_book(tmp_path) == []


@pytest.mark.skipif(sys.platform == "win32", reason="needs a limit on the size of files")
def test_a_photo_that_finds_no_room_leaves_nothing_behind(book, tmp_path):
    """The system's own limit on the size of a file makes the disk full."""
    import resource

    setup_id = begin_setup(book)
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (200, hard))
    try:
        with pytest.raises(BookFullError, match="make room and do it again"):
            book.add_photo(setup_id, tiny_jpeg(), "raw", "raw", {})
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
    assert list((tmp_path / "photos").iterdir()) == []
    assert count(tmp_path, "photo") == 0
    assert book.add_photo(setup_id, tiny_jpeg(), "raw", "raw", {})


def test_another_program_that_holds_the_book_is_told(book, tmp_path):
    book._pen.connection.exec_driver_sql("PRAGMA busy_timeout = 20")
    book._pen.connection.rollback()
    with raw(tmp_path) as intruder:
        intruder.execute("BEGIN IMMEDIATE")
        with pytest.raises(BookLockedError, match="close it there and try again"):
            book.ensure_job("winding gear")
    assert book.ensure_job("winding gear") == 1


def test_the_book_has_one_writing_thread(book):
    caught = []

    def intrude():
        with pytest.raises(RuntimeError, match="one writing thread") as raised:
            book.ensure_job("winding gear")
        caught.append(raised)

    thread = threading.Thread(target=intrude)
    thread.start()
    thread.join()
    assert caught


def test_the_session_state_is_scratch_outside_the_chain(book, tmp_path):
    sealed = count(tmp_path, "chain")
    assert book.get_session_state("live") is None
    book.put_session_state("live", b"step 1")
    book.put_session_state("live", b"step 2")
    assert book.get_session_state("live") == b"step 2"
    assert count(tmp_path, "chain") == sealed


def test_the_writer_syncs_every_commit(book):
    connection = book._pen.connection
    assert connection.exec_driver_sql("PRAGMA journal_mode").scalar() == "wal"
    assert connection.exec_driver_sql("PRAGMA synchronous").scalar() == 2  # FULL
    assert connection.exec_driver_sql("PRAGMA foreign_keys").scalar() == 1
    connection.rollback()


def test_a_book_goes_on_where_it_was_closed(tmp_path):
    with open_book(tmp_path) as book:
        setup_id = begin_setup(book)
    with open_book(tmp_path) as book:
        assert [line.id for line in book.open_setups()] == [setup_id]
        book.add_tick(setup_id, "before-hands", "isolated", "the machinist", True)
    assert count(tmp_path, "book") == 1
    assert check_book(tmp_path) == []
