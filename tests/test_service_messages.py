"""Commands done once over a restart, results and progress told, another program's example."""

import json
import os
import subprocess
import sys

import msgspec
import pytest
import zmq
from stream_paper import BEGIN
from stream_process import ROOT, kill, prepare_turns, running, start, wait_until

from readings import BookError
from records import BookReader
from stream.answers import CUT_SHORT, KEPT, Answers
from stream.card import read_card
from stream.client import Client
from stream.messages import Answer, Progress, Result


def asked(home, text):
    """Send one command and return its answer, as a client does that knows nothing of before."""
    context = zmq.Context()
    door = context.socket(zmq.DEALER)
    door.setsockopt(zmq.LINGER, 0)
    door.connect(read_card(home).commands)
    try:
        door.send(text)
        assert door.poll(5000), "no answer"
        return msgspec.json.decode(door.recv(), type=Answer)
    finally:
        context.destroy(0)


def test_a_command_sent_again_after_a_restart_is_not_done_again(tmp_path):
    begin = msgspec.json.encode({"name": "begin", "args": BEGIN, "client": "me", "seq": 1})
    process = start(tmp_path)
    try:
        first = asked(tmp_path, begin)
        assert first.ok
        kill(process)
        process = start(tmp_path)
        assert asked(tmp_path, begin) == first
        other = asked(tmp_path, begin.replace(b'"seq":1', b'"seq":2'))
        assert "A setup is running" in other.said
    finally:
        kill(process)
    with BookReader.open(tmp_path) as reader:
        assert len(reader.list_setups()) == 1


def test_a_command_that_was_cut_short_says_so_and_is_not_done_again():
    kept = []
    before = Answers(kept.append, None)
    assert before.begin(("me", 7)) is None
    after = Answers(kept.append, kept[-1])  # the service ended before there was an answer
    assert after.known(("me", 7)) == Answer(False, CUT_SHORT, seq=7)
    assert after.known(("me", 8)) is None


def test_a_command_that_the_book_cannot_note_is_not_done():
    def full(content):
        raise BookError("The disk is full.")

    answers = Answers(full, None)
    assert answers.begin(("me", 1)) == Answer(False, "The disk is full.", seq=1)
    assert answers.known(("me", 1)) is None  # it may be sent again, and is then done


def test_the_newest_answers_outlive_the_service_and_damage_does_no_harm():
    kept = []
    answers = Answers(kept.append, b"\xff damaged")
    for seq in range(KEPT + 10):
        assert answers.begin(("me", seq)) is None
        answers.end(("me", seq), Answer(True, f"did {seq}", seq=seq), durable=True)
    again = Answers(kept.append, kept[-1])
    assert again.known(("me", 9)) is None
    assert again.known(("me", KEPT + 9)).said == f"did {KEPT + 9}"


@pytest.fixture(scope="module")
def turned(tmp_path_factory):
    """A service that has captured a turn, and what was published meanwhile."""
    home = tmp_path_factory.mktemp("turned")
    prepare_turns(home)
    with running(home):
        with Client(home) as client:
            watch = client.subscribe("progress", "result")
            client.command("bench", do="turn", degrees=385.0, seconds=6.0)
            told = []
            wait_until(
                lambda: (one := watch.poll(0.2)) and (told.append(one) or one[0] == "result")
            )
        yield home, told


def test_progress_rises_to_a_whole_turn_and_the_result_is_in_the_book(turned):
    home, told = turned
    steps = [msgspec.convert(one.body, Progress) for one in told[:-1]]
    degrees = [step.turned_deg for step in steps]
    assert degrees == sorted(degrees)
    assert 5 < len(degrees) < 30
    assert degrees[-1] > 300
    assert all(step.kept <= step.samples for step in steps)
    result = msgspec.convert(told[-1].body, Result)
    assert (result.kind, result.sweep_id) == ("turn", steps[-1].sweep_id)
    with BookReader.open(home) as reader:
        record = reader.show_setup(result.setup_id)
    assert record["sweeps"][-1]["state"] == "complete"
    assert result.body["eccentricity_mm"] > 0.01


def test_a_late_client_gets_the_last_result_too(turned):
    home, told = turned
    with Client(home) as client:
        late = client.subscribe("result", "progress", "saved")
        found = {}
        wait_until(
            lambda: ((one := late.poll(0.2)) and found.update({one[0]: one})) or len(found) == 3
        )
    assert found["result"].body == told[-1].body
    assert found["saved"].body["complete"]


def test_another_program_follows_the_stream(turned):
    home, told = turned
    done = subprocess.run(
        [sys.executable, "-m", "stream.example", str(home), "12"],
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        capture_output=True,
        text=True,
        timeout=60,
        check=True,
    )
    lines = [json.loads(line) for line in done.stdout.splitlines()]
    readings = [line["reading"] for line in lines if "reading" in line]
    assert {"result": told[-1].body} in lines
    assert len(readings) >= 8
    assert all(one["value_mm"] is not None and one["sigma_mm"] > 0 for one in readings)


def test_the_example_says_where_there_is_no_service(tmp_path):
    done = subprocess.run(
        [sys.executable, "-m", "stream.example", str(tmp_path)],
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    assert done.returncode == 2
    assert done.stderr.startswith("No service runs in ")


def test_two_cameras_are_published_and_one_is_in_use(tmp_path):
    with running(tmp_path, "--cameras", "2"), Client(tmp_path) as client:
        watch = client.subscribe(
            "reading", "health", "camera/paper 1/reading", "camera/paper 1/preview"
        )
        found = {}
        wait_until(
            lambda: ((one := watch.poll(0.2)) and found.update({one[0]: one})) or len(found) == 4
        )
        health = client.subscribe("health")
        assert found["camera/paper 1/reading"].body["value_mm"] is not None
        assert found["camera/paper 1/preview"].payload[:2] == b"\xff\xd8"
        wait_until(lambda: cameras(health) == [("paper", True), ("paper 1", False)])
        assert client.command("camera", name="paper 1").said == "paper 1 is in use now."
        wait_until(lambda: cameras(health) == [("paper", False), ("paper 1", True)])
        assert "there are paper, paper 1" in client.command("camera", name="none").said
        assert client.command("begin", **BEGIN).ok
        assert "A setup is running" in client.command("camera", name="paper").said


def cameras(watch):
    """Which cameras the health tells of, and which of them is in use."""
    one = watch.poll(0.2)
    if one is None or one.topic != "health":
        return None
    return [(camera["name"], camera["in_use"]) for camera in one.body["cameras"]]
