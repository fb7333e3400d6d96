"""The service as a process: sockets, late clients, bad messages, two masters, an orderly end."""

import asyncio
import json
import subprocess
import time

import cv2
import msgspec
import numpy as np
import pytest
import zmq
from stream_paper import BEGIN
from stream_process import carded, end, kill, running, start, wait_until

from readings import Frame, ServiceError
from stream.card import Card, read_card
from stream.client import AsyncClient, Client, Intake
from stream.messages import VERSION, Answer, Health, Live, Preview, SessionView
from stream.sockets import LARGEST_COMMAND
from stream.workers import Newest, shrunk

TOPICS = ("preview", "reading", "state", "bench", "health")


@pytest.fixture(scope="module")
def home(tmp_path_factory):
    """A home with a service that has begun a setup."""
    home = tmp_path_factory.mktemp("home")
    with running(home):
        with Client(home) as client:
            assert client.command("begin", **BEGIN).ok
        yield home


@pytest.fixture
def client(home):
    with Client(home) as client:
        yield client


def first_of_each(watch, topics, within_s=5.0):
    found = {}
    until = time.monotonic() + within_s
    while set(found) < set(topics) and time.monotonic() < until:
        if one := watch.poll(0.5):
            found.setdefault(one.topic, one)
    return found


# publications


def test_a_late_client_gets_the_last_value_of_everything(client):
    for _ in range(2):  # the second subscriber as well as the first
        found = first_of_each(client.subscribe(*TOPICS), TOPICS)
        assert set(found) == set(TOPICS)
        for topic, kind in zip(TOPICS, (Preview, Live, SessionView, dict, Health), strict=True):
            msgspec.convert(found[topic].body, type=kind)
    assert found["state"].body["part"] == BEGIN["part"]
    assert found["health"].body["camera"] == "live"


def test_the_last_state_comes_at_once_not_with_the_next_change(client):
    began = time.monotonic()
    watch = client.subscribe("state")
    assert watch.poll(2.0).body["guide"] == "centre-bore"
    assert time.monotonic() - began < 0.5
    assert watch.poll(1.5) is None  # sent again each second, and left out as known


def test_the_preview_is_a_picture_of_the_size_told(client):
    watch = client.subscribe("preview")
    _, body, jpeg = wait_until(lambda: watch.poll(0.5))
    image = cv2.imdecode(np.frombuffer(jpeg, np.uint8), cv2.IMREAD_COLOR)
    assert image.shape == (body["height"], body["width"], 3)
    assert abs(float(image.mean()) - (60 + body["index"] % 100)) < 2


def test_previews_flow_in_order(client):
    watch = client.subscribe("preview")
    numbers = [wait_until(lambda: watch.poll(1.0)).body["index"] for _ in range(20)]
    assert numbers == sorted(set(numbers))


def raw_subscriber(home, *topics):
    socket = zmq.Context.instance().socket(zmq.SUB)
    socket.setsockopt(zmq.LINGER, 0)
    for topic in topics:
        socket.setsockopt(zmq.SUBSCRIBE, topic)
    socket.connect(read_card(home).publications)
    return socket


def test_the_header_is_json_with_version_number_and_body(home):
    socket = raw_subscriber(home, b"health")
    assert socket.poll(3000)
    topic, header = socket.recv_multipart()
    told = json.loads(header)
    assert topic == b"health"
    assert told["v"] == VERSION
    assert told["seq"] >= 1
    assert set(told) == {"v", "run", "seq", "body"}
    socket.close(0)


def test_old_and_foreign_messages_are_left_out_by_the_client():
    def message(seq, v=VERSION):
        return [b"state", json.dumps({"v": v, "seq": seq, "body": seq}).encode()]

    intake = Intake()
    got = [intake.open(message(seq)) for seq in (1, 3, 3, 2, 4)]
    assert [one.body for one in got if one] == [1, 3, 4]
    for parts in ([b"state"], [b"state", b"{"], [b"\xff", b"{}"], message(9, v=99), [b""] * 4):
        assert intake.open(parts) is None


# commands


def raw_dealer(home):
    socket = zmq.Context.instance().socket(zmq.DEALER)
    socket.setsockopt(zmq.LINGER, 0)
    socket.connect(read_card(home).commands)
    return socket


def asked(socket, *parts):
    socket.send_multipart(list(parts))
    assert socket.poll(5000), "no answer"
    return msgspec.json.decode(socket.recv_multipart()[-1], type=Answer)


@pytest.mark.parametrize(
    "text",
    [
        b"",
        b"{",
        b"null",
        b"[1,2]",
        b"\xff\xfe",
        b'{"name": 5}',
        b'{"name": "next", "args": [1]}',
        b'{"name": "next", "seq": "x"}',
        b'{"name":' + b"[" * 20000,
        b"x" * (LARGEST_COMMAND - 10),
    ],
    ids=lambda text: repr(text[:20]),
)
def test_a_malformed_message_is_answered_with_a_sentence(home, text):
    socket = raw_dealer(home)
    answer = asked(socket, text)
    assert not answer.ok
    assert answer.said.startswith("That is no command")
    socket.close(0)


def test_a_message_of_another_version_is_told_so(home):
    socket = raw_dealer(home)
    answer = asked(socket, b'{"name": "next", "v": 2, "seq": 5}')
    assert (answer.ok, answer.seq) == (False, 5)
    assert "version 2" in answer.said
    socket.close(0)


def test_a_request_socket_and_odd_envelopes_are_served(home):
    request = zmq.Context.instance().socket(zmq.REQ)
    request.setsockopt(zmq.LINGER, 0)
    request.connect(read_card(home).commands)
    assert asked(request, b'{"name": "view"}').ok
    request.close(0)
    dealer = raw_dealer(home)
    assert not asked(dealer, b"a", b"b", b"c", b"d").ok
    dealer.close(0)


def test_an_oversized_message_gets_nothing_and_harms_nobody(home, client):
    socket = raw_dealer(home)
    socket.send(b"x" * (LARGEST_COMMAND + 1000))
    assert not socket.poll(500)
    socket.close(0)
    assert client.command("view").ok


def test_a_command_sent_again_is_answered_again_and_not_done_again(home, client):
    line = {"checklist": "before-power", "line": "speed"}
    text = msgspec.json.encode({"name": "touch", "args": line, "client": "me", "seq": 1})
    socket = raw_dealer(home)

    def revision():
        return client.command("view").body["revision"]

    before = revision()
    first = asked(socket, text)
    once = revision()
    assert asked(socket, text) == first
    assert once == revision() == before  # the list is not on show, but the tick counts
    other = msgspec.json.encode({"name": "next", "client": "me", "seq": 2})
    assert asked(socket, other).ok
    assert asked(socket, other).ok
    assert client.command("view").body["step"] == "before-hands"
    socket.close(0)


def test_bench_commands_go_to_the_machine_and_its_mistakes_are_sentences(client):
    watch = client.subscribe("bench")
    before = watch.poll(2.0).body["theta_deg"]
    assert client.command("bench", do="turn", degrees=30.0, seconds=1.0).said == "turn: done."
    wait_until(lambda: (one := watch.poll(0.5)) and one.body["theta_deg"] > before + 29.0)
    assert client.command("bench", do="fly").said == "The mill knows no 'fly'."
    assert not client.command("bench").ok
    assert not client.command("bench", do="turn", self=1).ok


def test_a_dark_camera_is_told_and_comes_back(client):
    watch = client.subscribe("health", "state")
    client.command("bench", do="dark", seconds=3.2)
    lost = wait_until(lambda: told(watch, "camera", "lost"), 6.0)
    assert 1.4 <= lost["last_reading_age_s"] < 2.0
    assert [t["name"] for t in lost["troubles"]] == ["camera gone"]
    assert wait_until(lambda: told(watch, "camera", "live"), 6.0)["frames_per_s"] > 0
    assert not client.command("view").body["camera_lost"]


def told(watch, name, value):
    one = watch.poll(0.2)
    return one is not None and one.topic == "health" and one.body[name] == value and one.body


# clients


def test_without_a_service_a_client_says_what_to_do(tmp_path):
    with pytest.raises(ServiceError, match=r"No service runs in .*: start `sparehand run`"):
        Client(tmp_path)
    (tmp_path / "service.json").write_text("{")
    with pytest.raises(ServiceError, match="start the service again"):
        Client(tmp_path)
    card = Card("tcp://127.0.0.1:1", "tcp://127.0.0.1:1", 1, "test", "")
    with (
        Client(card, connect_s=0.2) as client,
        pytest.raises(ServiceError, match=r"process 1\) does not answer"),
    ):
        client.command("view")


def test_the_asyncio_client_subscribes_commands_and_finds_a_service_started_again(tmp_path):
    async def follow():
        async with AsyncClient(tmp_path) as client:
            stream = client.subscribe("preview", "reading", "state")
            topics = {(await anext(stream)).topic for _ in range(30)}
            assert {"preview", "reading"} <= topics
            assert (await client.command("view")).ok
            processes.append(await asyncio.to_thread(restart))
            assert (await client.command("view")).ok
            async with asyncio.timeout(20):
                while (await anext(stream)).topic != "state":
                    pass
            await stream.aclose()

    def restart():
        kill(processes[0])
        return start(tmp_path)

    processes = [start(tmp_path)]
    try:
        asyncio.run(follow())
        assert end(processes[-1]) == 0
        assert not (tmp_path / "service.json").exists()
    finally:
        for process in processes:
            if process.poll() is None:
                kill(process)


# beginning and end


def test_a_second_service_in_one_home_is_refused_and_the_first_goes_on(home, client):
    with (
        pytest.raises(AssertionError, match="ended with 1"),
        running(home, stderr=subprocess.DEVNULL),
    ):
        pass
    assert client.command("view").ok


def test_it_ends_in_order_with_its_parent(tmp_path):
    with running(tmp_path, "--parent-pipe", stdin=subprocess.PIPE) as process:
        assert carded(tmp_path, process)
        process.stdin.close()
        assert process.wait(15) == 0
        assert not (tmp_path / "service.json").exists()


# between the threads


def test_the_newest_frame_wins():
    slot = Newest()
    assert slot.take(0.01) is None
    frames = [Frame(None, float(i), i, "paper") for i in range(3)]
    for frame in frames:
        slot.put(frame)
    assert slot.take(0.01) is frames[2]
    assert slot.take(0.01) is None


def test_previews_are_at_most_960_wide_and_keep_their_shape():
    wide = np.zeros((720, 1280, 3), np.uint8)
    assert shrunk(wide).shape == (540, 960, 3)
    assert shrunk(np.zeros((2160, 3840, 3), np.uint8)).shape == (540, 960, 3)
    small = np.zeros((180, 320, 3), np.uint8)
    assert shrunk(small) is small
