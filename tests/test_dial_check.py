"""`sparehand dial check`: guided steps, tables kept, corrections asked for, and bad input."""

import io
import json
import shutil
from dataclasses import replace
from datetime import UTC, datetime
from itertools import repeat
from pathlib import Path

import cv2
import msgspec
import numpy as np
import pytest

from calibration.collars import Collar
from calibration.dial_classes import load_classes
from calibration.dial_errors import MadeWith
from calibration.dial_errors_steps import chosen_steps_mm
from readings import BadInputError, Frame, FrameSource, SourceError
from setups import Instrument
from ui.check_command import CheckRequest, check_dial
from ui.check_steps import CameraSteps, Step, StepReading, TypedSteps
from ui.cli import main
from ui.home import Home
from ui.service_process import instrument_of, snapshots_of
from ui.sweep_samples import look_through
from vision.sources import read_picture

SAMPLES = Path(__file__).resolve().parent.parent / "sample_images"
DEV2 = SAMPLES / "faces" / "dev2"
CLIP = SAMPLES / "clips" / "sweep_a"
NOON = datetime(2026, 11, 25, 12, 0, tzinfo=UTC)


@pytest.fixture(scope="module")
def taught(tmp_path_factory):
    """A home with two dials that were never checked."""
    folder = tmp_path_factory.mktemp("home")
    for name in ("dev1", "dev2"):
        face = str(SAMPLES / "faces" / name)
        assert main(["--home", str(folder), "dial", "teach", face, "--photos", "1"]) == 0
    return folder


@pytest.fixture
def home(taught, tmp_path):
    """A copy of that home that a test may write to."""
    shutil.copytree(taught, tmp_path / "home")
    return tmp_path / "home"


@pytest.fixture
def run(home, capsys, monkeypatch):
    """Run a command with what is typed; return exit code, stdout and stderr."""

    def call(words, typed=""):
        capsys.readouterr()
        monkeypatch.setattr("sys.stdin", io.StringIO(typed))
        code = main(["--home", str(home), *words.split()])
        out, err = capsys.readouterr()
        assert "Traceback" not in err
        return code, out, err

    return call


def strict(text):
    return json.loads(text, parse_constant=lambda word: pytest.fail(f"{word} in JSON"))


def typed_lines(divisions):
    return "".join(f"{d:g}\n" for d in divisions)


UP = [0, 10.1, 20.3, 30.2, 40, 50.1, 60.2, 69.9, 79.8, 90, 0.1]
CHECK = "dial check dev1 --every 0.1 --to 1 --made-with blocks-1 --typed --temperature 21.5"


def test_typed_readings_become_a_table_with_a_verdict(run, home):
    runs = typed_lines([*UP, *(d + 0.1 for d in UP[::-1])] * 5)
    code, out, err = run(f"{CHECK} --repeats 5 --class jis-plunger-0.01-1 --json", runs)
    assert code == 0
    found = strict(out)
    assert set(found) == {
        "dial", "version", "number", "date", "temperature_c", "made_with", "u_step_mm",
        "u_reading_mm", "u_deviation_mm", "steps", "whole_range_mm", "whole_range_up_mm",
        "largest_deviation_mm", "partial", "retrace_mm", "repeatability_mm", "class", "verdict",
    }  # fmt: skip
    assert (found["dial"], found["number"], found["temperature_c"]) == ("dev1", 1, 21.5)
    assert found["made_with"] == "gauge blocks, grade 1"
    ups = [1e3 * row["deviation_up_mm"] for row in found["steps"]]
    assert ups == pytest.approx([0, 1, 3, 2, 0, 1, 2, -1, -2, 0, 1], abs=1e-6)
    assert found["whole_range_mm"] == pytest.approx(0.006)
    assert found["retrace_mm"] == pytest.approx(0.001)
    assert found["repeatability_mm"] == pytest.approx(0.0, abs=1e-9)
    assert found["verdict"] == found["class"]["verdict"] == "pass"
    assert found["class"]["known"] == "sourced"
    assert "going down: 1 mm. Go a few divisions past it first." in err
    assert "1 of 110, going up: 0 mm." in err
    assert (home / "dials" / "dev1" / "e0001.json").is_file()

    run(CHECK, typed_lines([*UP, *UP[::-1]]))
    code, out, _ = run("dial list --json")
    [one, other] = strict(out)
    assert one["checked"]["number"] == 2
    assert one["checked"]["verdict"] is one["checked"]["class"] is None
    assert one["checked"]["date"].startswith("20")
    assert other["checked"] is None
    code, out, _ = run("dial list")
    assert "never" in out


def test_a_dial_that_fails_its_class_is_kept_and_told(run):
    bad = typed_lines([*(d + 3 * (k == 5) for k, d in enumerate(UP)), *UP[::-1]])
    code, out, _ = run(f"{CHECK} --class jis-plunger-0.01-1", bad)
    assert code == 0
    assert "fail" in out
    assert strict(run("dial list --json")[1])[0]["checked"]["verdict"] == "fail"


def test_a_slip_of_the_fingers_is_asked_again(run):
    typed = typed_lines([*UP, *UP[::-1]]).replace("\n", "\nten\n", 1)
    code, _, err = run(CHECK, typed)
    assert code == 0
    assert "'ten' is no reading" in err


def test_a_reading_taken_back_or_that_can_be_none_is_asked_again(run):
    typed = typed_lines([*UP, *UP[::-1]]).replace("10.1\n", "60\n11.1\nb\n10.1\n", 1)
    code, out, err = run(f"{CHECK} --json", "b\n" + typed)
    assert code == 0
    assert "There is no reading to take back." in err
    assert "out by +50.0 divisions" in err
    assert [1e3 * row["deviation_up_mm"] for row in strict(out)["steps"]][1] == pytest.approx(1.0)


@pytest.mark.parametrize(("every", "last"), [(0.3, [0.9, 1.0]), (0.25, [0.75, 1.0])])
def test_the_last_step_is_where_it_was_said_to_be(taught, every, last):
    dial = Home(taught).dials.load("dev1")
    found = chosen_steps_mm(dial, every_mm=every, to_mm=1.0)
    assert found[-2:].tolist() == pytest.approx(last)


@pytest.mark.parametrize(
    ("words", "typed", "sentence"),
    [
        ("dial check nobody --to 1 --made-with blocks-1 --typed", "", "There is no dial"),
        ("dial check dev1 --to 1 --typed", "", "--made-with"),
        ("dial check dev1 --made-with blocks-1 --typed", "", "say how far"),
        ("dial check dev1 --to 1 --made-with chewing-gum --typed", "", "--u-step-mm"),
        (f"{CHECK} --class nobody", "", "There is no dial class"),
        (f"{CHECK} --class jis-plunger-0.001-1", "", "graduation of 0.001 mm"),
        (f"{CHECK} --repeats 0", "", "--repeats 0"),
        ("dial check dev1 --to 1 --made-with blocks-1 --typed --temperature 200", "", "degrees C"),
        ("dial check dev1 --steps 0,x --made-with blocks-1 --typed", "", "no list of numbers"),
        (CHECK, "", "cut short"),
        (CHECK, "0\n10\n", "cut short"),
        (CHECK, "0\nten\neleven\n\n", "is no reading"),
        (CHECK, "0\n1000\n-1000\nnan\n", "is no reading"),
        (CHECK.replace("0.1", "0"), "", "--every 0 mm makes no steps"),
        (CHECK.replace("0.1", "1e-9"), "", "makes over 500 steps"),
        (CHECK.replace("0.1", "nan"), "", "makes no steps"),
        (CHECK, "0\n10\n60\n", "out by +40.0 divisions"),
        (f"{CHECK} --steps 0,0.1", "", "either --steps, or --from, --every"),
        (
            "dial check dev1 --steps 0,0.05,0.1 --made-with blocks-1 --typed",
            "0\n95\n90\n90\n95\n0\n",
            "the dial rose by -0.1000 mm",
        ),
        ("dial check dev1 --to 1 --made-with blocks-1 --source nowhere", "", "There is no nowhere"),
        ("read {frames} --dial dev1 --correct", "", "dev1 was never checked"),
        ("sweep {clip} --dial dev1 --collar 16 --correct", "", "dev1 was never checked"),
    ],
)
def test_a_mistake_is_exit_2_with_one_sentence_and_nothing_is_kept(
    run, home, words, typed, sentence
):
    before = sorted(home.rglob("*"))
    frames, clip = DEV2 / "frames", CLIP / "frames"
    code, out, err = run(words.format(frames=frames, clip=clip), typed)
    assert code == 2
    assert out == ""
    assert sentence in err
    assert err.count("sparehand: ") == 1
    assert sorted(home.rglob("*")) == before


def test_a_persons_own_class_is_copied_once_and_used(run, home):
    code, out, _ = run("dial classes --json")
    assert code == 0
    assert len(strict(out)) == len({c["name"] for c in strict(out)}) == 29
    assert not (home / "dial_classes.toml").exists()
    code, out, err = run("dial classes --copy")
    assert code == 0
    assert "Copied to" in err
    own = home / "dial_classes.toml"
    own.write_text(own.read_text().replace("limit_um = 8 }", "limit_um = 3 }"))
    runs = typed_lines([*UP, *UP[::-1]])
    code, out, _ = run(f"{CHECK} --class jis-plunger-0.01-1 --json", runs)
    whole = strict(out)["class"]["limits"][-1]
    assert (whole["limit_mm"], whole["verdict"]) == (pytest.approx(0.003), "cannot tell")
    code, _, err = run("dial classes --copy")
    assert code == 2
    assert "is there already" in err


# pictures


def known_frames():
    """Frames of dev2 that can be read, in rising order of their true divisions."""
    truth = json.loads((DEV2 / "truth.json").read_text())
    readable = [f for f in truth if f["category"] not in ("refuse", "motion")]
    return sorted((f["total_divisions"], DEV2 / f["file"]) for f in readable)


@pytest.fixture
def folder(tmp_path):
    """A folder with a picture a step, named in order."""
    place = tmp_path / "steps"
    place.mkdir()
    for k, (_, file) in enumerate(known_frames()):
        shutil.copy(file, place / f"{k}.jpg")
    return place


def picture_words(folder, graduation):
    steps = ",".join(f"{d * graduation:.6f}" for d, _ in known_frames())
    return (
        f"dial check dev2 --steps={steps} --made-with wheel:5/250 --u-step-mm 0.0001 "
        f"--source {folder} --camera {DEV2 / 'camera.json'} --json"
    )


def test_pictures_in_order_give_the_errors_of_a_dial_that_has_none(run, home, folder):
    graduation = Home(home).dials.load("dev2").graduation_mm
    code, out, _ = run(picture_words(folder, graduation))
    assert code == 0
    found = strict(out)
    off = [row["deviation_up_mm"] / graduation for row in found["steps"]]
    assert len(off) == len(known_frames())
    assert np.max(np.abs(off)) < 0.1  # the reader's own, at worst dim, tilted and half hidden
    assert found["retrace_mm"] is None
    assert all(row["down_mm"] == [] for row in found["steps"])
    assert found["whole_range_mm"] / graduation < 0.15


def test_a_refused_missing_or_surplus_picture_keeps_nothing(run, home, folder):
    graduation = Home(home).dials.load("dev2").graduation_mm
    words = picture_words(folder, graduation)
    shutil.copy(folder / "0.jpg", folder / "9.jpg")
    code, out, err = run(words)
    assert (code, out) == (2, "")
    assert "7 pictures, the check has 6 readings" in err
    (folder / "9.jpg").unlink()
    cv2.imwrite(str(folder / "3.jpg"), np.zeros((720, 1280, 3), np.uint8))
    code, out, err = run(words)
    assert (code, out) == (2, "")
    assert "step 4 of 6" in err
    assert ", 3.jpg: " in err
    assert "The picture is" in err
    assert not list((home / "dials" / "dev2").glob("e*"))


class Pictures:
    """A camera that shows one picture after the other, whenever it is opened."""

    name = "camera 0"

    def __init__(self, *files):
        self._shows = iter(files)

    def frames(self):
        image = next(self._shows)
        yield from (Frame(image, k / 30, k, self.name) for k, _ in enumerate(repeat(0, 100)))

    def close(self):
        """Nothing is held."""


def test_a_camera_reads_each_step_and_a_refused_one_can_be_put_right(taught, capsys):
    dial = Home(taught).dials.load("dev2")
    known = known_frames()
    good = [read_picture(file) for _, file in known if "004" in file.name or "006" in file.name]
    dark = np.zeros_like(good[0])
    asked = []
    source: FrameSource = Pictures(dark, good[0], dark, dark, dark)
    reader = CameraSteps(source, dial, None, lambda words: asked.append(words) or "")
    step = Step(1, 2, 0.0, "up", first_down=False)
    read = reader.read(step)
    assert len(asked) == 2
    assert "Put it right." in capsys.readouterr().err
    first = next(d for d, file in known if "006" in file.name)
    assert read.value_mm / dial.graduation_mm == pytest.approx(first, abs=0.3)
    with pytest.raises(SourceError, match=r"The picture is black.*Nothing was kept"):
        reader.read(step)


# the table at work


@pytest.fixture
def checked(run, home):
    """A home whose dial reads 2 % high, checked over its first turn."""
    steps = np.arange(11) * 10
    code, _, _ = run(CHECK, typed_lines([*(1.02 * steps % 100), *(1.02 * steps[::-1] % 100)]))
    assert code == 0
    return home


@pytest.fixture
def clip(tmp_path):
    """Every fourth frame of a sweep."""
    place = tmp_path / "clip"
    place.mkdir()
    for file in sorted((CLIP / "frames").iterdir())[::4]:
        shutil.copy(file, place)
    return place


def sweep_words(clip, more=""):
    return (
        f"sweep {clip} --dial dev1 --camera {CLIP / 'camera.json'} --collar 16 "
        f"--fps 5 --json {more}"
    )


def test_a_sweep_counts_the_dials_error_and_puts_it_right_where_asked(
    run, checked, clip, monkeypatch
):
    looks = []  # read the pictures once for both

    def look_once(*args, **kwargs):
        looks.extend([] if looks else look_through(*args, **kwargs))
        return looks

    monkeypatch.setattr("ui.sweep_command.look_through", look_once)
    raw = strict(run(sweep_words(clip))[1])
    code, out, err = run(sweep_words(clip, "--correct"))
    assert code == 0
    put = strict(out)
    assert set(put) == set(raw)
    assert "Put right by check 1 of" in err
    assert put["eccentricity_mm"] == pytest.approx(raw["eccentricity_mm"] / 1.02, abs=2e-5)
    assert "dial unchecked" not in raw["flags"] + put["flags"]
    # uncorrected: the table's worst error over the swing, S/√12; the true one is 2 % of e
    assert 0.02 * raw["eccentricity_mm"] < 2 * raw["u_dial_mm"]
    assert put["u_dial_mm"] < raw["u_dial_mm"]


def test_a_reading_is_put_right_or_says_that_it_is_not(run, checked, tmp_path):
    face = SAMPLES / "faces" / "dev1"
    for name in ("000", "026"):
        shutil.copy(face / "frames" / f"{name}.jpg", tmp_path)
    words = f"read {tmp_path} --dial dev1 --camera {face / 'camera.json'} --jsonl --correct"
    put, refused = map(strict, run(words)[1].splitlines())
    keys = {"file", "state", "divisions", "turns", "value_mm", "sigma_divisions", "reasons"}
    assert set(put) == set(refused) == keys | {"correction_mm", "u_dial_mm"}
    read_mm = put["divisions"] * 0.01
    assert put["value_mm"] == pytest.approx(read_mm / 1.02, abs=1e-4)
    assert put["value_mm"] == pytest.approx(read_mm + put["correction_mm"])
    assert put["u_dial_mm"] > 0
    assert put["reasons"] == []
    assert refused["state"] == "refused"
    assert refused["value_mm"] is refused["correction_mm"] is None

    run(CHECK.replace("--to 1", "--to 0.5"), typed_lines([*UP[:6], *UP[5::-1]]))
    beyond = strict(run(words.replace(str(tmp_path), str(tmp_path / "000.jpg"), 1))[1])
    assert (beyond["state"], beyond["reasons"]) == ("ok", ["not corrected"])
    assert beyond["value_mm"] == pytest.approx(read_mm)
    assert beyond["correction_mm"] is beyond["u_dial_mm"] is None


def test_guides_and_records_carry_the_newest_check(run, checked):
    home = Home(checked)
    dial = home.dials.load("dev1")
    table = home.dial_errors.newest(dial)
    tool = instrument_of(dial, table)
    assert tool.u_dial_mm(0.05) < tool.u_dial_mm(1.0)
    assert tool.u_dial_mm(1.5) is instrument_of(dial).u_dial_mm(0.01) is None
    assert msgspec.msgpack.decode(msgspec.msgpack.encode(tool), type=Instrument) == tool
    kept = snapshots_of(dial, table, None, Collar(16))["dial"]
    assert kept["check"] == 1
    assert kept["checked"] == table.at_utc.isoformat()
    assert kept["verdict"] is None
    assert snapshots_of(dial, None, None, Collar(16))["dial"]["checked"] is None


class Said:
    """Readings as given: (mm, whether turns are in it)."""

    by_person = False

    def __init__(self, *readings):
        self._left = iter(readings)

    def read(self, step):
        value_mm, known = next(self._left)
        return StepReading(value_mm, 1e-4, turns_known=known)


def test_turns_that_a_counter_told_only_later_hold_for_all(taught):
    dial = Home(taught).dials.load("dev1")
    wheel = MadeWith("handwheel", 1e-4, both_ways=False)
    request = CheckRequest(dial, np.array([0.0, 0.4, 0.8, 1.2]), wheel, NOON)
    told = Said((0.3, False), (3.7, True), (0.1, False), (4.5, True))
    assert check_dial(request, told)[0].up_mm[:, 0] == pytest.approx([3.3, 3.7, 4.1, 4.5])
    with pytest.raises(BadInputError, match=r"out by \+100\.0 divisions"):
        check_dial(request, Said((3.3, True), (3.7, True), (4.1, True), (5.5, True)))


def test_a_table_begun_on_a_turned_bezel_is_the_same_table(taught):
    dial = Home(taught).dials.load("dev1")
    made = MadeWith("gauge blocks", 1e-4)
    request = CheckRequest(dial, np.array([0.0, 0.4, 0.8]), made, NOON)
    tables = []
    for turned in (0.0, 37.0, 93.0):
        lines = iter([(d + turned) % 100 for d in (0, 40.2, 79.9, 79.9, 40.2, 0)])
        reader = TypedSteps(dial, lambda words, lines=lines: str(next(lines)))
        tables.append(check_dial(request, reader)[0])
    for table in tables:
        up = table.up_mm[:, 0] - table.up_mm[0, 0]
        assert up == pytest.approx([0, 0.402, 0.799])
    other = replace(dial, graduation=dial.graduation * 2)
    asked = replace(request, dial=other, dial_class=load_classes()["jis-plunger-0.01-1"])
    with pytest.raises(BadInputError, match="graduation"):
        check_dial(asked, reader)
