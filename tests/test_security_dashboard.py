"""The dashboard on a network: nothing without the passphrase, on any route, however often tried."""

import http.client
import os
import shutil
import ssl
import subprocess
import sys
import time

import httpx
import pytest
from websockets.exceptions import InvalidStatus
from websockets.sync.client import connect

from readings import BadInputError
from ui.access import access_of
from ui.passphrase import ALL_TRIES, FREE_TRIES, LONGEST_WAIT_S, HoldOff, Passphrase

WORDS = "correct horse battery staple"
CHILD = """
import sys
from pathlib import Path
from ui.access import access_of
from ui.dashboard_process import run_dashboard
home, certificate, key = (Path(a) if a else None for a in sys.argv[1:4])
access = access_of(home, "127.0.0.1", certificate, key)
sys.exit(run_dashboard(home, 0, access=access, parent_pipe=True))
"""
ROUTES = [
    "/",
    "/ready",
    "/_stcore/health",
    "/_stcore/host-config",
    "/photo/" + "0" * 64,
    "/static/x",
]
LINES = ["/live", "/_stcore/stream"]
SOON_S = 20.0


class Guarded:
    """A dashboard behind its passphrase, in a process of its own."""

    def __init__(self, home, certificate="", key=""):
        self.child = subprocess.Popen(
            [sys.executable, "-c", CHILD, str(home), str(certificate), str(key)],
            stdin=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        self.address = self.child.stderr.readline().split()[-1].rstrip("/")
        self.port = int(self.address.rsplit(":", 1)[1])
        self.verify = ssl.create_default_context(cafile=certificate) if certificate else True
        self.client = httpx.Client(base_url=self.address, timeout=SOON_S, verify=self.verify)
        until = time.monotonic() + 40.0
        while time.monotonic() < until:
            try:
                self.client.get("/ready")
                return
            except httpx.TransportError:
                time.sleep(0.1)
        raise AssertionError(self.child.stderr.read())

    def enter(self, words=WORDS, **headers):
        return self.client.post("/login", data={"passphrase": words}, headers=headers)

    def line(self, path, **headers):
        url = self.address.replace("http", "ws", 1) + path
        secure = {"ssl": self.verify} if url.startswith("wss") else {}
        return connect(url, additional_headers=headers, open_timeout=SOON_S, **secure)

    def end(self):
        self.client.close()
        self.child.stdin.close()
        code = self.child.wait(SOON_S)
        self.child.stderr.close()
        return code


@pytest.fixture(scope="module")
def home(tmp_path_factory):
    home = tmp_path_factory.mktemp("guarded")
    Passphrase(home).set(WORDS)
    return home


@pytest.fixture(scope="module")
def guarded(home):
    running = Guarded(home)
    yield running
    assert running.end() == 0


def refused(guarded, path, **headers):
    with pytest.raises(InvalidStatus) as told:
        guarded.line(path, **headers)
    return told.value.response.status_code


@pytest.mark.parametrize("path", ROUTES)
def test_no_route_tells_anything_without_the_passphrase(guarded, path):
    for method in ("GET", "HEAD", "POST", "PUT", "DELETE", "OPTIONS"):
        answer = guarded.client.request(method, path)
        assert answer.status_code == 401
        assert method == "HEAD" or 'name="passphrase"' in answer.text
        assert "streamlit" not in answer.text.lower()


@pytest.mark.parametrize("path", LINES)
def test_no_websocket_opens_without_the_passphrase(guarded, path):
    assert refused(guarded, path) == 403
    assert refused(guarded, path, Cookie="sparehand=guess; other=x") == 403


@pytest.mark.parametrize("path", [*ROUTES, "/login"])
@pytest.mark.parametrize("headers", [{"Host": "evil.example"}, {"Origin": "http://evil.example"}])
def test_foreign_hosts_and_origins_get_nothing(guarded, path, headers):
    for method in ("GET", "POST"):
        answer = guarded.client.request(method, path, headers=headers)
        assert answer.status_code == 403
        assert "its own page" in answer.text


@pytest.mark.parametrize("path", LINES)
def test_foreign_pages_get_no_websocket_even_with_the_cookie(guarded, path):
    token = guarded.enter().headers["set-cookie"].split(";")[0]
    guarded.client.cookies.clear()
    with guarded.line(path, Cookie=token):
        pass
    assert refused(guarded, path, Cookie=token, Origin="http://evil.example") == 403
    assert refused(guarded, path, Cookie=token, Host="evil.example") in (400, 403)


def test_the_passphrase_opens_everything_and_its_cookie_stays_here(guarded):
    answer = guarded.enter()
    assert (answer.status_code, answer.headers["location"]) == (303, "/")
    cookie = answer.headers["set-cookie"]
    assert {"HttpOnly", "SameSite=Strict", "Path=/"} <= set(cookie.split("; "))
    assert guarded.client.get("/_stcore/health").text == "ok"
    assert guarded.client.get("/ready").text == "Not yet: the service is away.\n"
    guarded.client.cookies.clear()
    assert guarded.client.get("/ready").status_code == 401


@pytest.mark.parametrize(
    "content",
    [
        b"",
        b"passphrase=",
        b"passphrase=a&passphrase=" + WORDS.encode(),
        b"passphrase=" + b"x" * 5000,
        b"\xff\xfe",
        b"x=1&" * 500,
        b"{}",
    ],
    ids=lambda content: repr(content[:14]),
)
def test_a_malformed_form_is_no_passphrase(guarded, content):
    answer = guarded.client.post("/login", content=content)
    assert answer.status_code == 403
    assert "set-cookie" not in answer.headers
    assert guarded.enter().status_code == 303  # and what follows is looked at again
    guarded.client.cookies.clear()


def tried(port, passphrases):
    """What is answered to each, one after the other over one connection."""
    line, codes = http.client.HTTPConnection("127.0.0.1", port, timeout=SOON_S), []
    for words in passphrases:
        line.request("POST", "/login", f"passphrase={words}")
        answer = line.getresponse()
        answer.read()
        codes.append(answer.status)
    line.close()
    return codes


def test_a_thousand_wrong_passphrases_are_held_off(home):
    running = Guarded(home)
    try:
        began = time.monotonic()
        codes = tried(running.port, [f"wrong+wrong+wrong+{i}" for i in range(1000)])
        took_s = time.monotonic() - began
        looked_at = codes.count(403)
        assert codes[:FREE_TRIES] == [403] * FREE_TRIES
        assert looked_at <= FREE_TRIES + 2 + took_s / 2.0
        assert codes.count(429) == 1000 - looked_at
        held_off = running.enter()  # the right one as well: a try tells nothing now
        assert held_off.status_code == 429
        assert int(held_off.headers["retry-after"]) >= 1
    finally:
        running.end()


@pytest.fixture
def certificate(tmp_path):
    """A certificate of our own, made by OpenSSL."""
    program = shutil.which("openssl")
    if program is None:
        if os.environ.get("CI") == "true":
            pytest.fail("openssl is missing")
        pytest.skip("openssl is not installed")
    made, key = tmp_path / "cert.pem", tmp_path / "key.pem"
    kind = ["-newkey", "rsa:2048", "-nodes", "-days", "2", "-subj", "/CN=127.0.0.1"]
    names = ["-addext", "subjectAltName=IP:127.0.0.1"]
    command = [program, "req", "-x509", *kind, *names, "-keyout", key, "-out", made]
    subprocess.run(command, check=True, capture_output=True)
    return made, key


def test_with_a_certificate_it_speaks_tls_alone(home, certificate):
    running = Guarded(home, *certificate)
    try:
        assert running.address.startswith("https://127.0.0.1:")
        assert running.client.get("/").status_code == 401
        entered = running.enter()
        assert "Secure" in entered.headers["set-cookie"].split("; ")
        token = entered.headers["set-cookie"].split(";")[0]
        with running.line("/live", Cookie=token, Origin=running.address):
            pass
        plain = running.address.replace("https", "http")
        assert refused(running, "/live", Cookie=token, Origin=plain) == 403
        with pytest.raises(httpx.TransportError):
            httpx.get(plain + "/", timeout=SOON_S)
    finally:
        running.end()


def test_what_is_missing_for_a_network_is_told(tmp_path):
    with pytest.raises(BadInputError, match="set one with: sparehand keys passphrase"):
        access_of(tmp_path, "192.168.1.20", None, None)
    with pytest.raises(BadInputError, match="give both --certificate and --private-key"):
        access_of(tmp_path, None, tmp_path / "c.pem", None)
    for name in ("c.pem", "k.pem"):
        (tmp_path / name).write_text("nothing")
    with pytest.raises(BadInputError, match="two PEM files that belong together"):
        access_of(tmp_path, None, tmp_path / "c.pem", tmp_path / "k.pem")


# the passphrase and who is held off


def test_a_passphrase_is_kept_as_a_hash_and_fits_only_itself(tmp_path):
    kept = Passphrase(tmp_path)
    assert not kept.made
    for words in ("short", "x" * 201):
        with pytest.raises(BadInputError, match="take 10 to 200"):
            kept.set(words)
    kept.set(WORDS)
    content = next((tmp_path / "keys").iterdir())
    assert content.stat().st_mode & 0o777 == 0o600
    assert WORDS not in content.read_text()
    assert kept.fits(WORDS)
    assert not any(kept.fits(words) for words in ("", WORDS + " ", WORDS.upper(), WORDS[:-1]))
    content.write_text("{")
    with pytest.raises(BadInputError, match="set it anew with: keys passphrase"):
        kept.fits(WORDS)


def test_scrypt_agrees_with_its_standard():
    """RFC 7914, section 12: the third test vector, with the parameters it was made with."""
    from ui.passphrase import _digest

    wanted = "fdbabe1c9d3472007856e7190d01e9fe7c6ad7cbc8237830e77376634b373162"
    assert _digest("password", b"NaCl", 1024, 8, 16).hex() == wanted


class Tries:
    """A hold-off and a clock that only the test moves."""

    def __init__(self):
        self.t_s = 0.0
        self.hold_off = HoldOff(lambda: self.t_s)

    def looked_at(self, address, seconds, every_s=0.1):
        """How many of the tries of an address are looked at."""
        count = 0
        for _ in range(round(seconds / every_s)):
            count += self.hold_off.wait_s(address) == 0.0
            self.t_s += every_s
        return count


def test_who_keeps_trying_waits_ever_longer():
    tries = Tries()
    assert tries.looked_at("10.0.0.9", 1.0) == FREE_TRIES
    assert tries.looked_at("10.0.0.9", 3600.0) <= 8 + 3600.0 / LONGEST_WAIT_S
    tries.t_s += LONGEST_WAIT_S + 1
    assert tries.hold_off.wait_s("10.0.0.9") == 0.0


def test_a_right_one_clears_the_count_and_others_are_not_held_off_by_it():
    tries = Tries()
    tries.looked_at("10.0.0.9", 2.0)
    assert tries.hold_off.wait_s("10.0.0.9") > 0
    assert tries.hold_off.wait_s("10.0.0.8") == 0.0
    tries.hold_off.came_in("10.0.0.8")
    assert tries.looked_at("10.0.0.8", 0.5) == FREE_TRIES


def test_many_addresses_together_are_held_off_and_who_came_in_before_is_not():
    tries = Tries()
    assert tries.hold_off.wait_s("10.1.0.1") == 0.0
    tries.hold_off.came_in("10.1.0.1")
    looked = sum(tries.hold_off.wait_s(f"10.0.{i // 250}.{i % 250}") == 0.0 for i in range(1000))
    assert looked <= ALL_TRIES
    assert tries.hold_off.wait_s("10.1.0.1") == 0.0


def test_one_houses_ipv6_addresses_count_as_one():
    tries = Tries()
    looked = sum(tries.hold_off.wait_s(f"2001:db8:1:2::{i:x}") == 0.0 for i in range(1, 30))
    assert looked == FREE_TRIES
