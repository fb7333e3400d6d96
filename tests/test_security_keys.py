"""Who comes in over a network: named clients with a key, and nobody else."""

import os
import stat

import pytest
import zmq
from network_kit import hears_nothing, key_for, opened, reach_with, three_ports, uninvited
from stream_process import running

from readings import BadInputError, ServiceError
from stream.card import read_card
from stream.client import Client
from stream.guard import Listening, listening_at, parse_address
from stream.keys import KeyFile, KeyRing, new_pair, read_private
from ui.home import Home
from ui.keys_command import make_key


@pytest.fixture(scope="module")
def keyed(tmp_path_factory):
    """A service with keys, and the key of a client that is admitted."""
    home, port = tmp_path_factory.mktemp("keyed"), three_ports()
    key = key_for(home, "tablet", port)
    with running(home, "--network", f"127.0.0.1:{port}"):
        yield home, key


def test_a_named_client_is_served(keyed):
    home, key = keyed
    for where in (key, home):  # from elsewhere by its key file, and this computer's own programs
        with Client(where) as client:
            assert client.command("view").ok
            watch = client.subscribe("reading", "state", "health")
            assert watch.poll(3.0) is not None


@pytest.mark.parametrize("how", ["no key", "a key of its own", "another service's key"])
def test_the_uninvited_hear_nothing_and_do_nothing(keyed, how):
    _, key = keyed
    assert hears_nothing(uninvited(key)[how])
    assert not hears_nothing(reach_with(key))  # the same client with the right key does
    with Client(key) as client:
        assert client.command("view").ok


def test_a_plain_text_client_hears_nothing(keyed):
    """Not ZeroMQ at all: bytes are read off the wire until the service hangs up or is silent."""
    import socket

    _, key = keyed
    for address in (key.publications, key.commands, key.node):
        host, port = address.removeprefix("tcp://").split(":")
        with socket.create_connection((host, int(port)), 2.0) as line:
            line.sendall(b"GET / HTTP/1.1\r\nHost: x\r\n\r\n")
            line.settimeout(0.5)
            heard = b""
            try:
                while part := line.recv(4096):
                    heard += part
            except (TimeoutError, ConnectionResetError):
                pass
        assert b"reading" not in heard
        assert len(heard) <= 64  # the greeting of ZMTP (RFC 23) at most: version and mechanism


def test_who_is_removed_is_shut_out_at_its_next_connection(keyed):
    home, key = keyed
    port = int(key.publications.rsplit(":", 1)[1])
    other = key_for(home, "phone", port)
    assert not hears_nothing(reach_with(other))
    KeyRing(home).remove("phone")
    assert hears_nothing(reach_with(other))
    again = KeyRing(home).make("phone")
    assert not hears_nothing(reach_with(other, pair=again))


def test_a_client_is_told_when_it_is_not_let_in(keyed):
    _, key = keyed
    stranger = KeyFile(
        "x", new_pair(), key.service_public, key.publications, key.commands, key.node
    )
    with (
        Client(stranger, connect_s=0.5, answer_s=0.5) as client,
        pytest.raises(ServiceError, match="whether it admits this key"),
    ):
        client.command("view")


def test_commands_of_one_client_are_not_answered_to_another(keyed):
    """Two clients that give themselves the same name and number are told apart by their keys."""
    home, key = keyed
    text = b'{"name": "touch", "args": {"line": "x"}, "client": "same", "seq": 1}'
    answers = []
    context = zmq.Context()
    for reach in (reach_with(key), reach_with(key, pair=KeyRing(home).local())):
        door = opened(context, zmq.DEALER, reach, reach.commands)
        door.send(text.replace(b"touch", b"view") if answers else text)
        assert door.poll(3000)
        answers.append(door.recv())
        door.close(0)
    context.destroy(0)
    assert b'"ok":false' in answers[0]
    assert b'"ok":true' in answers[1]


def test_loopback_is_the_default_and_a_network_wants_keys(tmp_path):
    assert listening_at(tmp_path, None) == Listening("127.0.0.1", 0, None)
    with pytest.raises(BadInputError, match="make one for each client with: sparehand keys make"):
        listening_at(tmp_path, "192.168.1.20")
    KeyRing(tmp_path).ensure()
    assert listening_at(tmp_path, "192.168.1.20").port == 8621
    with running(tmp_path / "plain"):
        card = read_card(tmp_path / "plain")
    for address in (card.publications, card.commands, card.node):
        assert address.startswith("tcp://127.0.0.1:")


@pytest.mark.parametrize("text", ["", "x", "1.2.3", "1.2.3.4:0", "1.2.3.4:99999", "[::1", "a:b:c"])
def test_what_is_no_address_is_told(text):
    with pytest.raises(BadInputError, match="no network address: give this computer's IP address"):
        parse_address(text)


# the files


def mode(path):
    return stat.S_IMODE(path.stat().st_mode)


def test_secrets_are_for_their_owner_alone(tmp_path):
    old = os.umask(0)
    try:
        path = make_key(Home(tmp_path), "node", "10.0.0.5", tmp_path / "node.key")
    finally:
        os.umask(old)
    ring = KeyRing(tmp_path)
    assert mode(path) == 0o600
    assert mode(ring.folder) == 0o700
    held = [p for p in ring.folder.rglob("*") if p.is_file()]
    assert {mode(p) for p in held} == {0o600}
    secret = read_private(path, KeyFile).pair.secret
    assert all(secret not in p.read_text() for p in held)  # the client's secret stays nowhere
    assert secret not in repr(read_private(path, KeyFile))
    assert sorted(p.name for p in tmp_path.iterdir()) == ["keys", "node.key"]


def test_a_key_file_that_others_may_read_is_not_used(tmp_path):
    path = make_key(Home(tmp_path), "node", "10.0.0.5", tmp_path / "node.key")
    path.chmod(0o640)
    with pytest.raises(ServiceError, match=r"others may read the key file .*mode 640"):
        read_private(path, KeyFile)


@pytest.mark.parametrize(
    "name", ["", "../x", "a/b", ".hidden", "a" * 41, "ä", "a\n", "this computer"]
)
def test_a_name_that_is_no_name_makes_no_file(tmp_path, name):
    with pytest.raises(BadInputError, match="letters, digits"):
        make_key(Home(tmp_path), name, "10.0.0.5", tmp_path / "k")
    assert list(tmp_path.iterdir()) == []


def test_names_are_taken_once_and_files_are_not_overwritten(tmp_path):
    home = Home(tmp_path)
    path = make_key(home, "node", "10.0.0.5", tmp_path / "node.key")
    with pytest.raises(BadInputError, match="is there already"):
        make_key(home, "other", "10.0.0.5", path)
    with pytest.raises(BadInputError, match="has a key already"):
        make_key(home, "node", "10.0.0.5", tmp_path / "two.key")
    assert KeyRing(tmp_path).names() == ["node", "this-computer"]
    make_key(home, "node", "10.0.0.5", tmp_path / "two.key", anew=True)
    with pytest.raises(BadInputError, match="nobody is admitted as nobody: admitted are node"):
        KeyRing(tmp_path).remove("nobody")


def test_garbage_in_place_of_a_key_is_a_sentence(tmp_path):
    path = tmp_path / "k"
    path.touch(0o600)
    for content in (b"", b"\xff\xfe", b"[]", b'{"public": "x", "secret": "y"}'):
        path.write_bytes(content)
        with pytest.raises(ServiceError, match="keys make"):
            read_private(path, KeyFile)
