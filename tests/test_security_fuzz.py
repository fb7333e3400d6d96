"""Random and mutated messages to every socket, while a sweep is captured: it is captured whole."""

import json
import random
import socket
import time
from pathlib import Path

import msgspec
import numpy as np
import pytest
import zmq
from stream_kit import collar, reading
from stream_process import prepare_turns, running, wait_until

from readings import FLAGS
from records import BookReader, check_book
from stream.answers import Answers
from stream.card import read_card
from stream.client import Client
from stream.guard import Guard, Listening
from stream.messages import COMMANDS, Command
from stream.node_messages import Parcel, decode_parcel, encode_parcel
from stream.sockets import CommandDoor

TURN_S, LONG_TURN_S = 12.0, 60.0
"""Seconds of the mill for the turn that is captured meanwhile; at a pace of 4, four a second."""


def good_commands():
    """What a command looks like."""
    args = [{}, {"do": "turn", "degrees": 1}, {"checklist": "before-hands", "line": "x"}]
    names = [name for name in COMMANDS if name not in ("abandon", "next", "mark", "bench")]
    return [
        msgspec.json.encode(Command(name, arg, "fuzz", i))
        for i, (name, arg) in enumerate((n, a) for n in names for a in args)
    ]


def good_parcels():
    """What a node's parcel looks like."""
    said = [(reading(1.0, 0.1), collar(1.0, 2.0)), (reading(1.0, None), None)]
    return [
        encode_parcel(Parcel("paper", "run", i, 1, kind, 1.0, 1.0, reading=r, collar=c))
        for i, (r, c) in enumerate(said)
        for kind in ("reading", "picture", "preview", "alive")
    ]


def mutated(rng, good):
    """A good message with some of it changed, or noise."""
    kind = rng.randrange(6)
    text = bytearray(rng.choice(good))
    if kind == 0:
        return rng.randbytes(rng.choice((0, 1, 7, 60, 1000)))
    if kind == 1:
        for _ in range(rng.randint(1, 8)):
            text[rng.randrange(len(text))] = rng.randrange(256)
    elif kind == 2:
        del text[rng.randrange(len(text)) :]
    elif kind == 3:
        at = rng.randrange(len(text))
        text[at:at] = rng.randbytes(rng.randint(1, 40))
    elif kind == 4 and text.startswith(b"{"):
        body = json.loads(bytes(text))
        strange = (None, -1, 1e308, 2**70, "x" * 500, [], {}, [[[]]] * 50, True, "../../etc")
        body[rng.choice(list(body))] = rng.choice(strange)
        text = bytearray(json.dumps(body).encode())
    else:
        text = bytearray(b"[" * rng.randint(1, 5000))
    return bytes(text)


def pelt(address, kind, good, count, rng):
    """Send `count` messages to one socket in one to four frames each."""
    context = zmq.Context()
    door = context.socket(kind)
    door.setsockopt(zmq.LINGER, 2000)
    door.connect(address)
    try:
        for _ in range(count):
            frames = [mutated(rng, good) for _ in range(rng.choice((1, 1, 1, 2, 3, 4)))]
            door.send_multipart(frames)
            while door.poll(0):
                door.recv_multipart()
    finally:
        context.destroy(2000)


def pelt_raw(address, count, rng):
    """Send bytes that are not ZeroMQ's, or begin as they do (ZMTP 3.1, RFC 37)."""
    host, port = address.removeprefix("tcp://").split(":")
    greeting = b"\xff" + bytes(8) + b"\x7f\x03\x01NULL" + bytes(48)
    for _ in range(count):
        with socket.create_connection((host, int(port)), 5.0) as line:
            start = greeting[: rng.randrange(len(greeting) + 1)] if rng.random() < 0.7 else b""
            try:
                line.sendall(start + rng.randbytes(rng.randint(0, 300)))
            except OSError:
                continue


def subscriptions(rng):
    """Messages of a subscriber."""
    return [bytes([rng.randrange(3)]) + rng.randbytes(rng.randint(0, 60)) for _ in range(50)]


def memory_mb(pid):
    status = Path(f"/proc/{pid}/status").read_text().splitlines()
    return next(int(line.split()[1]) / 1000 for line in status if line.startswith("VmRSS"))


def fuzz(home, count, seed, turn_s=TURN_S, pace="4"):
    """Pelt every socket of a service that captures a turn, and return what was captured."""
    rng = random.Random(seed)
    prepare_turns(home)
    with running(home, "--pace", pace) as process:
        card = read_card(home)
        with Client(home) as client:
            before = memory_mb(process.pid)
            results = client.subscribe("result")
            began = time.monotonic()
            client.command("bench", do="turn", degrees=385.0, seconds=turn_s)
            pelt(card.commands, zmq.DEALER, good_commands(), count, rng)
            pelt(card.node, zmq.DEALER, good_parcels(), count, rng)
            pelt(card.publications, zmq.XSUB, subscriptions(rng), count, rng)
            for address in (card.commands, card.node, card.publications):
                pelt_raw(address, count // 20, rng)
            took = time.monotonic() - began
            assert process.poll() is None
            turn = wait_until(lambda: results.poll(0.2), 120.0).body
            assert client.command("view").body["step"] == "turns"
            grew = memory_mb(process.pid) - before
        return turn, took, grew


def check_whole(home, sweep_id):
    """The sweep is complete, and no picture of its turn is missing."""
    with BookReader.open(home) as reader:
        times = reader.samples(sweep_id).t_s
    assert len(times) > 150
    assert np.diff(times).max() < 1.2  # of the mill's time; a batch that was lost leaves 1.6 s
    assert check_book(home) == []


def test_a_pelted_service_goes_on_with_its_sweep(tmp_path):
    turn, took, _ = fuzz(tmp_path, 400, seed=3)
    assert turn["kind"] == "turn"
    check_whole(tmp_path, turn["sweep_id"])
    assert took < 60.0


@pytest.mark.long
@pytest.mark.timeout(900)
def test_a_hundred_thousand_messages_to_every_socket(tmp_path):
    turn, _, grew = fuzz(tmp_path, 100_000, 4, LONG_TURN_S, "1")
    check_whole(tmp_path, turn["sweep_id"])
    assert grew < 300.0


def test_numbers_that_nobody_can_keep_are_answered_with_a_sentence():
    done, context = [], zmq.Context()
    answers = Answers(done.append, None)
    door = CommandDoor(context, Guard(context, None), Listening().endpoint(1), done.append, answers)
    for command in ({"seq": 2**70}, {"seq": -1}, {"client": "x" * 65}):
        answer = door._answer(json.dumps({"name": "next", **command}).encode(), "")
        assert not answer.ok
        assert "numbers go from 0 to" in answer.said
    assert done == []
    door.close()
    context.destroy(0)


# what a node says is believed only where a node can have said it


def test_a_parcel_comes_back_as_it_was_sent():
    for content in good_parcels():
        parcel = decode_parcel(content)
        assert parcel is None or encode_parcel(parcel) == content
    whole = decode_parcel(good_parcels()[0])
    assert whole.reading.value_mm == pytest.approx(0.1)
    assert whole.collar.corners_px.shape == (1, 4, 2)
    assert not whole.collar.corners_px.flags.writeable


@pytest.mark.parametrize(
    "change",
    [
        {"state": "ok", "value_mm": None},
        {"state": "refused"},
        {"sigma_mm": None},
        {"flags": ["no such flag"]},
        {"flags": "no dial"},
        {"value_mm": "0.1"},
        {"sight": {"pivot_px": [1.0]}},
        {"turns": 2**70},
        {"t_s": 2.0},
    ],
)
def test_a_reading_that_breaks_its_promises_is_not_taken(change):
    body = json.loads(good_parcels()[0])
    body["reading"].update(change)
    assert decode_parcel(json.dumps(body).encode()) is None


@pytest.mark.parametrize(
    "change", [{"seq": -1}, {"first": 0}, {"v": 2}, {"kind": "preview"}, {"index": 2**70}]
)
def test_a_parcel_that_cannot_be_is_not_taken(change):
    body = json.loads(good_parcels()[0]) | {"seq": 3} | change
    assert decode_parcel(json.dumps(body).encode()) is None
    assert "no dial" in FLAGS
