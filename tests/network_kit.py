"""A service and clients on a network with keys, for the tests of who comes in."""

import socket

import msgspec
import zmq

from stream.keys import KeyFile, KeyRing, new_pair, read_private
from stream.reach import Reach
from ui.home import Home
from ui.keys_command import make_key


def three_ports():
    """Three free ports in a row on loopback; returns the first."""
    for _ in range(200):
        with socket.socket() as first:
            first.bind(("127.0.0.1", 0))
            port = first.getsockname()[1]
        try:
            for offset in range(3):
                with socket.socket() as one:
                    one.bind(("127.0.0.1", port + offset))
        except OSError:
            continue
        return port
    raise AssertionError("no three free ports in a row")


def key_for(home, name, port, host="127.0.0.1"):
    """Make a client's key file and return what stands in it."""
    path = make_key(Home(home), name, f"{host}:{port}", home / f"{name}.key")
    return read_private(path, KeyFile)


def reach_with(key, **changed):
    """How a client reaches the service with a key, or with what was changed of it."""
    parts = {
        "publications": key.publications,
        "commands": key.commands,
        "node": key.node,
        "who": "the service",
        "service_public": key.service_public,
        "pair": key.pair,
    }
    return Reach(**{**parts, **changed})


def uninvited(key):
    """Ways to come without being admitted, by name."""
    stranger = new_pair()
    return {
        "no key": reach_with(key, pair=None),
        "a key of its own": reach_with(key, pair=stranger),
        "another service's key": reach_with(key, service_public=new_pair().public),
    }


def opened(context, kind, reach, address):
    socket = context.socket(kind)
    reach.ready(socket)
    socket.connect(address)
    return socket


def hears_nothing(reach, within_ms=700):
    """Whether all three sockets of a service stay silent to this client, whatever it sends."""
    context = zmq.Context()
    heard = opened(context, zmq.SUB, reach, reach.publications)
    heard.setsockopt(zmq.SUBSCRIBE, b"")
    door = opened(context, zmq.DEALER, reach, reach.commands)
    node = opened(context, zmq.DEALER, reach, reach.node)
    door.send(msgspec.json.encode({"name": "view"}))
    node.send(msgspec.json.encode({"node": "tablet", "run": "x", "seq": 0, "first": 1}))
    try:
        poller = zmq.Poller()
        for one in (heard, door, node):
            poller.register(one, zmq.POLLIN)
        return poller.poll(within_ms) == []
    finally:
        context.destroy(0)


__all__ = ["KeyRing", "hears_nothing", "key_for", "reach_with", "three_ports", "uninvited"]
