"""The book's troubles and the clocks': told within two seconds, and over without a restart."""

import os
import shutil
import sqlite3
import subprocess
import time
from contextlib import contextmanager, suppress

import pytest
from stream_paper import BEGIN
from stream_process import end, kill, prepare_turns, running, start, wait_until
from test_service_faults import names

from readings import FLAGS
from records import BookReader, book_path, check_book
from stream.client import Client

TOLD_WITHIN_S = 2.5
"""Two seconds, and what a busy machine adds."""

LONGEST_GAP_S = 1.2
"""Of the mill's time, between samples: a batch that was lost leaves one of 1.6 s."""


def told_in_time(client, wanted, within_s=TOLD_WITHIN_S):
    """Wait until a trouble stands, and return what is said about it."""
    began_s = time.monotonic()
    while True:
        found, sentences = names(client)
        if wanted in found:
            assert time.monotonic() - began_s < within_s
            assert sentences, "told to programs but not to the person"
            return " ".join(sentences)
        assert time.monotonic() - began_s < within_s + 3.0, found


def all_well(client):
    return names(client)[0] == []


@contextmanager
def turning(home, seconds=8.0):
    """A turn in the middle of its capture; yields a client and its watch of what is saved."""
    with Client(home) as client:
        watch = client.subscribe("saved", "result")
        wait_until(lambda: watch.poll(0.1) is None)  # nothing of the turns before
        turned = client.subscribe("reading").poll(2.0).body["collar_deg"]
        sense = 1.0 if (turned + 180.0) % 720.0 < 360.0 else -1.0
        client.command("bench", do="turn", degrees=sense * 385.0, seconds=seconds)
        wait_until(lambda: (one := watch.poll(0.2)) and not one.body["complete"], 10.0)
        yield client, watch


def waiting_for_turns(home):
    prepare_turns(home)
    with running(home):
        yield home


@pytest.fixture(scope="module")
def mill(tmp_path_factory):
    """The home of a service whose setup waits for the two turns of a pair."""
    yield from waiting_for_turns(tmp_path_factory.mktemp("mill"))


@pytest.fixture(scope="module")
def other_mill(tmp_path_factory):
    """Another one, for another pair."""
    yield from waiting_for_turns(tmp_path_factory.mktemp("mill"))


def whole_turn(home, watch):
    """Wait for the turn to be complete in the book; return how many samples it has."""
    turn = wait_until(lambda: (one := watch.poll(0.2)) and one.topic == "result" and one, 30.0)
    with BookReader.open(home) as reader:
        times = reader.samples(turn.body["sweep_id"]).t_s
    assert max(times[1:] - times[:-1]) < LONGEST_GAP_S
    assert check_book(home) == []
    return len(times)


@pytest.fixture
def small_disk(tmp_path):
    """A disk of 24 MB."""
    place = tmp_path / "disk"
    place.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", "size=24m", "tmpfs", str(place)]
    if subprocess.run(mount, capture_output=True, check=False).returncode:
        if os.environ.get("CI") == "true" and os.geteuid() == 0:
            pytest.fail("a tmpfs cannot be mounted")
        pytest.skip("a small disk needs the right to mount one")
    yield place
    subprocess.run(["umount", "-l", str(place)], check=True)


def test_a_full_disk_is_told_and_the_turn_is_whole_once_there_is_room(small_disk):
    filler = small_disk / "filler"
    prepare_turns(small_disk)
    with running(small_disk):
        check_full(small_disk, filler)


def fill(filler):
    """Write until there is no room."""
    with filler.open("wb", buffering=0) as file, suppress(OSError):
        while True:
            file.write(bytes(65536))


def check_full(small_disk, filler):
    with turning(small_disk) as (client, watch):
        fill(filler)
        assert shutil.disk_usage(small_disk).free < 65536
        said = told_in_time(client, "disk full")
        assert "make room" in said
        filler.unlink()
        wait_until(lambda: all_well(client), 10.0)
        assert whole_turn(small_disk, watch) > 100


def test_a_book_that_another_program_holds_is_told_and_the_turn_is_whole_after(mill):
    with turning(mill) as (client, watch):
        other = sqlite3.connect(book_path(mill), isolation_level=None)
        other.execute("BEGIN IMMEDIATE")
        try:
            said = told_in_time(client, "book")
            assert "Another program holds the record book" in said
        finally:
            other.execute("ROLLBACK")
            other.close()
        assert whole_turn(mill, watch) > 100
        wait_until(lambda: all_well(client), 10.0)


def copied(book, to):
    """A good copy, as `records backup` makes one."""
    source, target = sqlite3.connect(book), sqlite3.connect(to)
    source.backup(target)
    for one in (source, target):
        one.close()


def put_in_place(file, book):
    """Put a file in the book's place, and nothing beside it."""
    shutil.copy(file, book.with_name("copy"))
    for beside in ("-wal", "-shm"):
        book.with_name(book.name + beside).unlink(missing_ok=True)
    book.with_name("copy").replace(book)


def check_goes_on(client, said):
    """Without its book the service reads on, and says why it does nothing else."""
    watch = client.subscribe("reading")
    assert watch.poll(2.0).body["value_mm"] is not None
    refused = client.command("next")
    assert not refused.ok
    assert said in refused.said


def test_a_damaged_book_is_told_readings_go_on_and_a_good_one_is_taken_up(tmp_path):
    """Put in place of the book while in use, and there at the start of another service."""
    book, good, damaged = book_path(tmp_path), tmp_path / "good", tmp_path / "damaged"
    damaged.write_bytes(os.urandom(40_000))
    process = start(tmp_path)
    try:
        with Client(tmp_path) as client:
            assert client.command("begin", **BEGIN).ok
            copied(book, good)
            put_in_place(damaged, book)
            told_in_time(client, "book")
            wait_until(lambda: "is damaged" in told_in_time(client, "book"), 8.0)
            check_goes_on(client, "is damaged")
            put_in_place(good, book)
            wait_until(lambda: all_well(client), 10.0)
            assert client.command("view").body["setup_id"] == 1  # the setup goes on
            book.rename(tmp_path / "away")
            wait_until(lambda: "put it back" in told_in_time(client, "book"), 8.0)
            assert not book.exists()  # a new one would hide that the old one is missing
            (tmp_path / "away").rename(book)
            wait_until(lambda: all_well(client), 10.0)
            assert client.command("next").ok
        assert end(process) == 0
        copied(book, good)
        put_in_place(damaged, book)
        process = start(tmp_path)
        with Client(tmp_path) as client:
            assert "is damaged" in told_in_time(client, "book")
            check_goes_on(client, "is damaged")
            put_in_place(good, book)
            wait_until(lambda: all_well(client), 10.0)
            assert client.command("view").body["setup_id"] == 1
        assert end(process) == 0
    finally:
        if process.poll() is None:
            kill(process)
    assert check_book(tmp_path) == []


def test_a_changed_wall_clock_is_told_and_does_no_harm(mill):
    with turning(mill) as (client, watch):
        client.command("bench", do="clock", seconds=-7200.0)
        said = told_in_time(client, "clock jump")
        assert "was changed by -7200 s" in said
        assert whole_turn(mill, watch) > 100


@pytest.mark.parametrize(
    ("hands", "flag"),
    [
        ({"do": "dial", "at_px": 160.0}, "dial changed"),
        ({"do": "jump", "seconds": -30.0}, "clock jumped"),
    ],
)
def test_what_spoils_a_turn_is_told_and_the_next_turn_counts(other_mill, hands, flag):
    mill = other_mill
    with turning(mill, 5.0) as (client, watch):
        began_s = time.monotonic()
        client.command("bench", **hands)
        wait_until(lambda: client.command("view").body["advice"]["note"] == FLAGS[flag].sentence)
        assert time.monotonic() - began_s < TOLD_WITHIN_S
        spoiled = wait_until(lambda: (one := watch.poll(0.2)) and one.body["sweep_id"], 3.0)
        time.sleep(1.5)
    with turning(mill, 5.0) as (_, watch):
        assert whole_turn(mill, watch) > 60
    with BookReader.open(mill) as reader:
        sweeps = {s["id"]: s for s in reader.show_setup(1)["sweeps"]}
    assert (sweeps[spoiled]["state"], sweeps[spoiled]["flags"]) == ("void", [flag])
