"""One writer at a time, killed in the middle of its work: real child processes."""

import json
import signal
import subprocess
import sys
import textwrap
from pathlib import Path

import pytest
from records_kit import batch, open_book

from records import BookLockedError, BookReader, check_book
from records.lock import LOCK_NAME

HERE = Path(__file__).parent

WRITER = """
    import itertools, sys
    from pathlib import Path
    from records_kit import START, batch, begin_setup, open_book
    book = open_book(Path(sys.argv[1]))
    sweep = book.begin_sweep(begin_setup(book), "fine", "clockwise", START)
    for number in itertools.count():
        book.append_samples(sweep, number, batch(number))
        sys.stdout.write(f"{number}\\n")
        sys.stdout.flush()
"""


def start(code, *arguments):
    """Start a real process that finds the rooms where this one found them."""
    paths = json.dumps([str(HERE), *sys.path])
    program = f"import sys; sys.path[:] = {paths}\n" + textwrap.dedent(code)
    return subprocess.Popen(
        [sys.executable, "-c", program, *arguments], stdout=subprocess.PIPE, text=True
    )


@pytest.fixture
def writer(tmp_path):
    process = start(WRITER, str(tmp_path))
    yield process
    process.kill()
    process.wait()
    process.stdout.close()


def test_every_acknowledged_batch_outlives_kill_9(writer, tmp_path):
    acknowledged = [int(writer.stdout.readline()) for _ in range(20)]
    writer.send_signal(signal.SIGKILL)
    acknowledged += [int(line) for line in writer.stdout if line.endswith("\n")]
    assert writer.wait() == -signal.SIGKILL

    with BookReader.open(tmp_path) as reader:
        (sweep,) = reader.open_sweeps()
        kept = reader.samples(sweep.id)
        assert reader.check() == []
    assert acknowledged == list(range(len(acknowledged)))
    assert len(acknowledged) <= sweep.batches <= len(acknowledged) + 1
    sent = [s.value_mm for number in range(sweep.batches) for s in batch(number)]
    assert kept.value_mm.tolist() == sent

    with open_book(tmp_path) as book:  # the dead writer's lock holds nobody up
        last = sweep.batches - 1
        book.append_samples(sweep.id, last, batch(last))
        book.append_samples(sweep.id, last + 1, batch(last + 1))
        assert book.open_sweeps()[0].batches == last + 2
    assert check_book(tmp_path) == []


def test_a_second_writer_is_told_who_writes(writer, tmp_path):
    writer.stdout.readline()
    with pytest.raises(BookLockedError) as caught:
        open_book(tmp_path)
    sentence = str(caught.value)
    assert f"process {writer.pid} (Sparehand 0.1.0 since 2026-03-02T08:00:00" in sentence
    assert "stop that one first" in sentence
    assert "--home" in sentence


def test_a_reader_reads_while_another_process_writes(writer, tmp_path):
    writer.stdout.readline()
    with BookReader.open(tmp_path) as reader:
        for _ in range(10):
            acknowledged = int(writer.stdout.readline())
            assert reader.open_sweeps()[0].samples >= 30 * (acknowledged + 1)
        assert reader.check() == []
        assert [line.state for line in reader.list_setups()] == ["open"]


def test_two_books_in_one_process_are_one_too_many(tmp_path):
    with open_book(tmp_path), pytest.raises(BookLockedError, match="one at a time may write"):
        open_book(tmp_path)
    with open_book(tmp_path):
        pass


def test_a_lock_file_left_behind_locks_nobody_out(tmp_path):
    (tmp_path / LOCK_NAME).write_text("no note of ours")
    with open_book(tmp_path) as book:
        note = json.loads((tmp_path / LOCK_NAME).read_text())
        assert note["program_version"] == "0.1.0"
        book.ensure_job("winding gear")
    assert (tmp_path / LOCK_NAME).read_text() == ""


def test_a_failed_opening_lets_the_lock_go(tmp_path):
    (tmp_path / "book.sqlite3").mkdir()
    for _ in range(2):
        with pytest.raises(Exception, match="cannot be opened"):
            open_book(tmp_path)
