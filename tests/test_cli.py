"""The command line: documented lines, exit codes, and one sentence for each mistake."""

import json
import shutil
from datetime import UTC, datetime
from pathlib import Path

import cv2
import numpy as np
import pytest

from records import Book
from ui.cli import main

SAMPLES = Path(__file__).resolve().parent.parent / "sample_images"
DEV1 = SAMPLES / "faces" / "dev1"
CLIP = SAMPLES / "clips" / "sweep_a"
LINE_KEYS = {"state", "divisions", "turns", "value_mm", "sigma_divisions", "reasons"}


@pytest.fixture(scope="module")
def home(tmp_path_factory):
    """A home with one dial, taught by the command."""
    folder = tmp_path_factory.mktemp("home")
    assert main(["--home", str(folder), "dial", "teach", str(DEV1), "--name", "shop-dial"]) == 0
    return folder


@pytest.fixture
def run(home, capsys):
    """Run a command; return exit code, stdout and stderr."""

    def call(*arguments):
        capsys.readouterr()
        code = main(["--home", str(home), *map(str, arguments)])
        out, err = capsys.readouterr()
        assert "Traceback" not in err
        return code, out, err

    return call


def strict(text):
    """JSON as others parse it: NaN is an error."""
    return json.loads(text, parse_constant=lambda word: pytest.fail(f"{word} in JSON"))


def test_a_dial_taught_again_gets_a_new_version_and_the_old_one_stays(run, home):
    code, out, _ = run("dial", "list", "--json")
    assert code == 0
    assert [(d["name"], d["version"]) for d in strict(out)] == [("shop-dial", 1)]
    code, _, err = run("dial", "teach", DEV1, "--name", "again", "--photos", "1")
    assert code == 0
    assert "version 1" in err
    code, _, err = run("dial", "teach", DEV1, "--name", "again", "--photos", "1")
    assert code == 0
    assert "version 2" in err
    assert len(list((home / "dials" / "again").iterdir())) == 2


def test_read_gives_a_line_a_picture_in_natural_order(run):
    code, out, _ = run(
        "read", DEV1 / "frames", "--dial", "shop-dial", "--camera", DEV1 / "camera.json", "--jsonl"
    )
    assert code == 0
    lines = [strict(line) for line in out.splitlines()]
    assert len(lines) == len(list((DEV1 / "frames").iterdir()))
    assert [line["file"] for line in lines] == sorted(line["file"] for line in lines)
    for line in lines:
        assert set(line) == LINE_KEYS | {"file"}
        if line["state"] == "ok":
            assert 0 <= line["divisions"] < 100
            assert line["sigma_divisions"] > 0
            assert line["reasons"] == []
        else:
            assert line["reasons"]
            assert line["divisions"] is line["value_mm"] is line["sigma_divisions"] is None


def test_one_bad_file_in_a_folder_is_a_refused_line(run, tmp_path):
    shutil.copy(DEV1 / "frames" / next(iter(sorted((DEV1 / "frames").iterdir()))).name, tmp_path)
    (tmp_path / "zz.jpg").write_bytes(b"no picture")
    code, out, _ = run("read", tmp_path, "--dial", "shop-dial", "--jsonl")
    assert code == 0
    last = strict(out.splitlines()[-1])
    assert (last["file"], last["state"], last["reasons"]) == (
        "zz.jpg",
        "refused",
        ["unreadable file"],
    )


def test_sweep_gives_the_documented_fields(run):
    code, out, _ = run(
        "sweep", CLIP / "frames", "--dial", "shop-dial", "--camera", CLIP / "camera.json",
        "--collar", 16, "--fps", 5, "--json",
    )  # fmt: skip
    assert code == 0
    found = strict(out)
    assert set(found) == {
        "samples", "refused", "turn_deg", "mean_mm", "eccentricity_mm", "u_eccentricity_mm",
        "u_dial_mm", "offset_x_mm", "offset_y_mm", "high_spot_deg", "tir_mm", "tir_raw_mm",
        "u_tir_mm", "harmonics", "return_mm", "opposite_sum_mm", "stops", "flags",
    }  # fmt: skip
    truth = json.loads((CLIP / "truth.json").read_text())
    off_mm = abs(found["eccentricity_mm"] - truth["eccentricity"])
    assert off_mm <= 0.005 * truth["eccentricity"]
    assert off_mm <= 2 * found["u_eccentricity_mm"]
    assert found["offset_x_mm"] is found["offset_y_mm"] is found["u_dial_mm"] is None


def sweep_words(*more):
    return (
        "sweep", CLIP / "frames", "--dial", "shop-dial", "--camera", CLIP / "camera.json",
        "--fps", 5, "--json", *more,
    )  # fmt: skip


@pytest.mark.parametrize(
    ("told", "sentence"),
    [(12, "marker 15 was seen"), (20, "marker 15 stands next to 0"), (32, "ends with 31")],
)
def test_a_collar_of_another_number_of_markers_is_refused(run, told, sentence):
    code, out, err = run(*sweep_words("--collar", told))
    assert code == 2
    assert out == ""
    assert sentence in err


def test_an_offset_needs_to_know_where_the_sweep_began_and_its_sense(run):
    code, out, _ = run(*sweep_words("--collar", 16, "--on", "bore", "--first", "right"))
    assert code == 0
    found = strict(out)
    assert found["offset_x_mm"] is found["offset_y_mm"] is None
    assert "direction unknown" in found["flags"]
    code, out, _ = run(
        *sweep_words("--collar", 16, "--on", "bore", "--first", "right", "--turning", "clockwise")
    )
    found = strict(out)
    size = np.hypot(found["offset_x_mm"], found["offset_y_mm"])
    assert size == pytest.approx(found["eccentricity_mm"])
    assert "direction unknown" not in found["flags"]


@pytest.fixture(scope="module")
def bad(tmp_path_factory):
    """A folder of things that cannot be used."""
    folder = tmp_path_factory.mktemp("bad")
    for name in ("empty", "short", "no-sheet", "no-key/teach"):
        (folder / name).mkdir(parents=True)
    for frame in sorted((CLIP / "frames").iterdir())[:5]:
        shutil.copy(frame, folder / "short")
    sheet = json.loads((DEV1 / "dial.json").read_text())
    del sheet["graduation"]
    (folder / "no-key" / "dial.json").write_text(json.dumps(sheet))
    (folder / "film.mp4").write_bytes(b"no film")
    (folder / "text.jpg").write_text("no picture")
    cv2.imwrite(str(folder / "small.png"), np.zeros((60, 80, 3), np.uint8))
    return folder


@pytest.mark.parametrize(
    ("command", "sentence"),
    [
        ("read {bad}/nothing --dial shop-dial", "There is no"),
        ("read {bad}/empty --dial shop-dial", "holds no picture"),
        ("read {bad}/film.mp4 --dial shop-dial", "cannot be opened as a video"),
        ("read {bad}/text.jpg --dial shop-dial", "cannot be decoded"),
        ("read {bad}/small.png --dial nobody", "known are"),
        ("read {bad}/small.png --dial shop-dial --camera {cam}", "80 × 60 pixels"),
        ("read {bad}/small.png --dial shop-dial --camera {bad}/text.jpg", "camera file"),
        ("read {bad}/small.png --dial shop-dial --camera {bad}/small.png", "something binary"),
        ("read", "Missing argument"),
        ("print collar", "Help: sparehand print collar --help"),
        ("sweep {bad}/short --dial shop-dial --collar 16", "a third of a turn"),
        ("sweep {bad}/short --dial shop-dial --stops 4", "3 or more"),
        ("sweep {bad}/empty --dial shop-dial --stops 4", "holds no picture"),
        ("sweep {bad}/short --dial shop-dial", "--collar MARKERS or --stops PER_TURN"),
        ("sweep {bad}/short --dial shop-dial --collar 16 --on hole", "bore, boss, bar or face"),
        ("dial teach {bad}/no-sheet", "no dial.json"),
        ("dial teach {bad}/no-sheet", "First steps"),
        ("dial teach {bad}/no-key", "lacks graduation"),
        ("dial teach {dev1} --name ../up", "cannot name a dial"),
        ("dial teach {dev1} --photos 0", "at least one"),
        ("dial teach {dev1} --photos 9", "dial.json names"),
        ("dial teach {dev1} --name=", "cannot name a dial"),
        ("run --dial shop-dial --source film.mp4", "is no camera"),
        ("run --dial nobody", "There is no dial"),
        ("records list", "no record book"),
        ("nonsense", "No such command"),
    ],
)
def test_a_mistake_is_one_sentence_exit_2_and_writes_nothing(run, home, bad, command, sentence):
    before = sorted(home.rglob("*"))
    words = command.format(bad=bad, cam=DEV1 / "camera.json", dev1=DEV1).split()
    code, out, err = run(*words)
    assert code == 2
    assert out == ""
    assert sentence in err
    assert err.startswith("sparehand: ")
    assert len(err.strip().splitlines()) == 1
    assert sorted(home.rglob("*")) == before


def test_doctor_finds_what_is_needed(run):
    code, out, _ = run("doctor", "--json")
    assert code == 0
    found = {finding["what"]: finding for finding in strict(out)}
    assert found["OpenCV"]["ok"]
    assert found["dials taught"]["ok"]


def test_records_check_finds_a_whole_book_and_a_changed_photo(run, tmp_path, capsys):
    book = Book.open(
        tmp_path, program_version="test", now=lambda: datetime(2026, 11, 25, tzinfo=UTC)
    )
    part = book.ensure_part("Lock paddle winding gear", "Gear-case end 1")
    setup = book.begin_setup(part, "centre-bore", "Centre the spindle on a bore", 0.005, {})
    picture = cv2.imencode(".jpg", np.full((60, 80, 3), 90, np.uint8))[1].tobytes()
    sha256 = book.add_photo(setup, picture, "at the result", "raw", {})
    book.close()
    home = ("--home", str(tmp_path), "records", "check")
    assert main(home) == 0
    assert "whole" in capsys.readouterr().err
    photo = next(tmp_path.rglob(f"*{sha256}*"))
    photo.chmod(0o644)
    photo.write_bytes(picture[:-3] + b"\x00" + picture[-2:])
    assert main([*home, "--json"]) == 2
    [damage] = strict(capsys.readouterr().out)
    assert damage["kind"] == "photo"


def test_read_of_a_video_follows_the_turns(run, tmp_path):
    film = tmp_path / "film.avi"
    first = sorted((DEV1 / "frames").glob("*.jpg"))[0]
    image = cv2.imread(str(first))
    writer = cv2.VideoWriter(str(film), cv2.VideoWriter.fourcc(*"MJPG"), 15.0, image.shape[1::-1])
    for _ in range(3):
        writer.write(image)
    writer.release()
    camera = DEV1 / "camera.json"
    code, out, _ = run("read", film, "--dial", "shop-dial", "--camera", camera, "--jsonl")
    lines = [strict(line) for line in out.splitlines()]
    assert code == 0
    assert [line["turns_followed"] for line in lines if line["state"] == "ok"] == [0, 0, 0]
    assert {"frame", "t_s"} <= lines[0].keys()
