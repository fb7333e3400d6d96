"""`setup list` and `setup play` against a real service in a process of its own."""

import json

import pytest
from stream_process import start

from readings import BadInputError, ServiceError
from setups import BEFORE_HANDS, GUIDES
from stream.client import Client
from ui.cli import main
from ui.setup_play import play

ORDER = {
    "guide": "tram-head",
    "job": "Lock paddle winding gear",
    "part": "Gear-case end 1",
    "operation": "Tram",
    "sizes": {"arm": 110.0},
    "datum": "table",
}


@pytest.fixture
def home(tmp_path):
    process = start(tmp_path)
    yield tmp_path
    process.send_signal(15)
    process.wait(20)


def typed(*lines):
    """Answer each question with the next line; what was asked is kept."""
    left, asked = list(lines), []

    def ask(question):
        asked.append(question)
        return left.pop(0) if left else None

    return ask, asked


def test_a_guide_is_walked_by_what_is_typed(home):
    said = []
    ones = ["1"] * len(BEFORE_HANDS.lines)
    ask, asked = typed("", "arm=120", "arm=5", "arm", "", "9", *ones, "q")
    assert not play(home, ORDER, ask, said.append)
    with Client(home) as client:
        view = client.command("view").body
    assert view["step"] == "point-right"
    assert view["sizes"][0]["value"] == 120.0
    told = "\n".join(said)
    assert told.startswith("Datum: table.")
    assert "Before you start" in told
    assert "give 20 to 600 mm" in told
    assert "'arm' is no size" in told
    assert "'9' is no number of a line" in told
    assert BEFORE_HANDS.lines[0].text in asked[5]
    ask, _ = typed()
    assert not play(home, None, ask, said.append), "it goes on where it was left"


def test_what_cannot_be_played_is_said(home):
    ask, _ = typed()
    with pytest.raises(BadInputError, match="No setup is running"):
        play(home, None, ask, print)
    with pytest.raises(BadInputError, match="asks for arm"):
        play(home, ORDER | {"sizes": {"leg": 1.0}}, ask, print)


def test_without_a_service_it_is_said(tmp_path):
    with pytest.raises(ServiceError):
        play(tmp_path, ORDER, typed()[0], print)


def test_guides_are_listed_with_all_they_ask(capsys):
    assert main(["setup", "list", "--json"]) == 0
    listed = json.loads(capsys.readouterr().out)
    assert [each["guide"] for each in listed] == list(GUIDES)
    assert all(each["layouts"] and each["steps"] for each in listed)


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (["setup", "play", "centre-moon"], "There is no guide 'centre-moon'"),
        (["setup", "play", "tram-head", "--size", "arm=long"], "give KEY=MM"),
    ],
)
def test_a_mistake_is_one_sentence(capsys, tmp_path, words, sentence):
    assert main(["--home", str(tmp_path), *words]) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert sentence in said.err
