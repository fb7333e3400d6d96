"""`sparehand sweep`: from pictures to the documented JSON, and what bad input gets."""

import json
import math
from pathlib import Path

import cv2
import numpy as np
import pytest

from calibration.camera import load_camera
from readings import FLAGS, BadInputError, Reading
from sweeps import Allowance, fit_turn
from ui.output import json_text
from ui.sweep_command import SweepRequest, put_sweep, run_sweep
from ui.sweep_samples import Look, collar_sweep, follow_needle, look_through, stop_sweep
from vision.teach import teach_dial

CLIP = Path(__file__).parent.parent / "sample_images" / "clips" / "sweep_a"
FIELDS = (
    *("samples", "refused", "turn_deg", "mean_mm", "eccentricity_mm", "u_eccentricity_mm"),
    *("u_dial_mm", "offset_x_mm", "offset_y_mm", "high_spot_deg", "tir_mm", "tir_raw_mm"),
    *("u_tir_mm", "harmonics", "return_mm", "opposite_sum_mm", "stops", "flags"),
)


@pytest.fixture(scope="module")
def dial(request):
    return teach_dial(Path(request.getfixturevalue("faces_dir")) / "dev1", name="dev1")


def limit_mm(eccentricity_mm):
    return max(0.005 * eccentricity_mm, 0.0003)


def check_against_truth(result, truth, scale=1.0):
    """Half a percent or 0.3 um, inside two stated sigmas, which are 1 % or 0.5 um at most."""
    true = truth["eccentricity"] * scale
    error = abs(result["eccentricity_mm"] - true)
    assert error <= limit_mm(true)
    assert error <= 2 * result["u_eccentricity_mm"]
    assert result["u_eccentricity_mm"] <= max(0.01 * true, 0.0005)
    assert not abs(result["eccentricity_mm"] - true - 3 * limit_mm(true)) <= limit_mm(true)


def test_clip_of_a_hand_turned_bore_read_end_to_end(dial, capsys):
    truth = json.loads((CLIP / "truth.json").read_text())
    result = run_sweep(
        SweepRequest(str(CLIP / "frames"), dial, CLIP / "camera.json", collar=16, fps=truth["fps"])
    )
    assert tuple(result) == FIELDS
    check_against_truth(result, truth)
    assert result["samples"] + result["refused"] == len(truth["frames"])
    assert result["harmonics"][0]["amplitude_mm"] == pytest.approx(result["eccentricity_mm"])
    oval = result["harmonics"][1]["amplitude_mm"]
    assert oval == pytest.approx(truth["oval_amplitude"], abs=3e-4)
    assert result["offset_x_mm"] is result["offset_y_mm"] is result["u_dial_mm"] is None
    assert set(result["flags"]) <= set(FLAGS)
    assert json.loads(json_text(result)) == result
    # one constant between facing the camera and facing along the dial's normal
    constant = result["high_spot_deg"] - truth["high_spot_collar_deg"]
    assert 0 < constant < 45
    put_sweep(result)
    assert "eccentricity" in capsys.readouterr().out


def reading(t_s, divisions, *, per_turn=100, graduation=0.01, sigma=0.005):
    """A reading as a balanced dial gives it: divisions folded into one turn."""
    folded = divisions % per_turn
    near = folded - per_turn if folded > per_turn / 2 else folded
    return Reading(
        "ok", t_s, folded, sigma, None, near * graduation, sigma * graduation
    )  # fmt: skip


def looks_of(divisions, collar_deg, *, covered=(), fps=15.0, **kwargs):
    """Looks as the reader and the collar would give them, needle followed."""
    readings = [
        Reading("refused", k / fps, flags=("needle hidden",))
        if k in covered
        else reading(k / fps, float(d), **kwargs)
        for k, d in enumerate(divisions)
    ]
    turn_mm = kwargs.get("per_turn", 100) * kwargs.get("graduation", 0.01)
    followed = follow_needle(readings, turn_mm)
    return [
        Look(r, v, unsure, None if c is None else math.radians(c) % (2 * math.pi), 3e-4)
        for r, (v, unsure), c in zip(readings, followed, collar_deg, strict=True)
    ]


def turned(n=150, arc_deg=400.0, e_div=15.5, high_deg=125.0, noise=0.01, start_deg=20.0):
    collar = start_deg + np.linspace(0, arc_deg, n)
    rng = np.random.default_rng(4)
    divisions = 3.0 + e_div * np.cos(np.radians(collar - high_deg)) + rng.normal(0, noise, n)
    return divisions, collar


def test_needle_is_followed_through_zero_and_over_whole_turns():
    true = np.concatenate([np.linspace(-30, 260, 60), np.linspace(260, -80, 60)])
    followed = follow_needle([reading(k / 15, d) for k, d in enumerate(true)], 1.0)
    assert [v for v, _ in followed] == pytest.approx(true * 0.01)
    assert not any(unsure for _, unsure in followed)
    jump = follow_needle([reading(0, 0.0), reading(1, 45.0)], 1.0)
    assert jump[1][1]
    known = Reading("ok", 0.0, 20.0, 0.01, 3, 3.2, 1e-4)
    both = follow_needle([reading(0, 20.0), known, reading(2, 30.0)], 1.0)
    assert [value for value, _ in both] == pytest.approx([3.2, 3.2, 3.3])  # back from the known
    assert both[1] == (3.2, False)


def test_one_misread_picture_does_not_lose_a_turn():
    true = np.zeros(20)
    true[8], true[9:] = -42.0, 15.0
    followed = follow_needle([reading(k / 15, d) for k, d in enumerate(true)], 1.0)
    assert followed[-1][0] == pytest.approx(0.15)


@pytest.mark.parametrize("covered", [range(0), range(40, 62), range(0, 25)])
def test_a_hand_before_the_dial_part_of_the_time(covered):
    divisions, collar = turned()
    sweep = collar_sweep(looks_of(divisions, collar, covered=covered), gain=1.0, **AS_SEEN)
    result = fit_turn(sweep)
    assert sweep.refused == len(covered)
    assert abs(result.eccentricity_mm - 0.155) < 1.5e-4
    assert abs(result.eccentricity_mm - 0.155) < 2 * result.u_eccentricity_mm
    assert result.high_spot_deg == pytest.approx(125.0, abs=0.1)


AS_SEEN = {"first_deg": None, "sense": None}


def test_collar_hidden_part_of_the_time_and_falling_numbers():
    divisions, collar = turned()
    seen = [None if 50 <= k < 70 else c for k, c in enumerate(collar)]
    sweep = collar_sweep(looks_of(divisions, seen), gain=1.0, **AS_SEEN)
    assert "collar not seen" in sweep.flags
    assert fit_turn(sweep).eccentricity_mm == pytest.approx(0.155, abs=1.5e-4)
    back = collar_sweep(looks_of(divisions[::-1], collar[::-1]), gain=1.0, **AS_SEEN)
    assert fit_turn(back).high_spot_deg == pytest.approx(125.0, abs=0.1)


def test_first_and_turning_put_the_angle_into_the_machines_frame():
    # a boss whose high spot stands to the right; the stylus begins at the front, goes clockwise
    theta = np.radians(270.0 - np.linspace(0, 400, 150))
    divisions = 10 * np.cos(theta)
    for collar in (np.linspace(77, 477, 150), np.linspace(300, -100, 150)):
        sweep = collar_sweep(
            looks_of(divisions, collar), gain=1.0, first_deg=270.0, sense="clockwise"
        )
        result = fit_turn(sweep, surface="boss", diameter_mm=47.0)
        assert result.offset_x_mm == pytest.approx(0.1, abs=1e-5)
        assert result.offset_y_mm == pytest.approx(0.0, abs=1e-4)
        assert result.sense == "clockwise"


def test_gain_scales_lengths_and_their_uncertainty():
    looks = looks_of(*turned())
    once = fit_turn(collar_sweep(looks, gain=1.0, **AS_SEEN), allowance=EVEN)
    half = fit_turn(collar_sweep(looks, gain=0.5, **AS_SEEN), allowance=EVEN)
    assert half.eccentricity_mm == pytest.approx(once.eccentricity_mm / 2, rel=1e-6)
    assert half.u_eccentricity_mm == pytest.approx(once.u_eccentricity_mm / 2, rel=1e-2)


EVEN = Allowance(retrace_mm=0.0, reader_floor_mm=0.0, roughness_mm=0.0)


def pauses(levels_div, *, pause=25, move=12, noise=0.015):
    parts = []
    for here, there in zip(levels_div, [*levels_div[1:], None], strict=True):
        parts.append(np.full(pause, float(here)))
        if there is not None:
            ease = (1 - np.cos(np.pi * np.arange(1, move) / move)) / 2
            parts.append(here + (there - here) * ease)
    value = np.concatenate(parts)
    return value + np.random.default_rng(8).normal(0, noise, len(value))


LEVELS = [7.925, -3.48, 6.24, 13.875, 7.92]


def stopped(divisions, per_turn=4, *, covered=(), first_deg=0.0, sense=None):
    looks = looks_of(divisions, [None] * len(divisions), covered=covered, graduation=0.002)
    return stop_sweep(looks, per_turn, gain=1.0, first_deg=first_deg, sense=sense)


def test_quarter_turns_with_pauses_the_last_a_return():
    sweep, stops = stopped(pauses(LEVELS))
    result = fit_turn(sweep)
    assert [s.value_mm for s in stops] == pytest.approx(0.002 * np.array(LEVELS), abs=2e-5)
    a, b = 0.002 * (7.925 - 6.24) / 2, 0.002 * (-3.48 - 13.875) / 2
    assert result.eccentricity_mm == pytest.approx(math.hypot(a, b), abs=3e-5)
    assert result.high_spot_deg == pytest.approx(math.degrees(math.atan2(b, a)) % 360, abs=0.2)
    assert result.return_mm == pytest.approx(0.0, abs=2e-5)
    assert result.n == 4
    assert result.turn_deg == pytest.approx(360.0)


def test_stops_in_the_machines_frame():
    sweep, _ = stopped(pauses([0, 20, 0, -20]), first_deg=90.0, sense="clockwise")
    result = fit_turn(sweep, surface="boss")  # back, right, front, left: high to the right
    assert (result.offset_x_mm, result.offset_y_mm) == pytest.approx((0.04, 0.0), abs=1e-4)


def test_too_few_stops_or_a_hidden_one_are_refused_in_words():
    with pytest.raises(BadInputError, match=r"2 stop\(s\) were found"):
        stopped(pauses(LEVELS[:2]))
    for hidden in (range(36, 61), range(73, 98), range(4, 25), range(30, 66)):
        with pytest.raises(BadInputError, match="one more may be missing"):
            stopped(pauses(LEVELS), covered=hidden)
    sweep, stops = stopped(pauses(LEVELS[:3]))
    assert len(stops) == 3
    assert "incomplete" in sweep.flags


@pytest.mark.parametrize("start", range(0, 160, 9))
def test_a_hand_before_a_dial_at_rest_never_makes_a_wrong_number(start):
    try:
        sweep, _ = stopped(pauses(LEVELS), covered=range(start, start + 22))
    except BadInputError:
        return
    result, whole = fit_turn(sweep), fit_turn(stopped(pauses(LEVELS))[0])
    assert result.eccentricity_mm == pytest.approx(whole.eccentricity_mm, abs=1e-4)
    assert result.high_spot_deg == pytest.approx(whole.high_spot_deg, abs=0.3)


def test_a_short_sweep_and_an_unseen_collar_are_refused_in_words():
    with pytest.raises(BadInputError, match="covers 100 degrees"):
        collar_sweep(looks_of(*turned(n=40, arc_deg=100)), gain=1.0, **AS_SEEN)
    divisions, _ = turned(n=40)
    with pytest.raises(BadInputError, match="no marker of the collar"):
        collar_sweep(looks_of(divisions, [None] * 40), gain=1.0, **AS_SEEN)


def test_a_turn_of_the_needle_that_may_be_missed_is_flagged():
    divisions, collar = turned(n=9, e_div=45.0)
    sweep = collar_sweep(looks_of(divisions, collar), gain=1.0, **AS_SEEN)
    assert "ambiguous turn" in sweep.flags


def test_turning_by_a_motor_is_flagged():
    divisions, collar = turned(n=12, arc_deg=400.0)
    looks = looks_of(divisions, collar, fps=15.0)
    assert "turning too fast" in collar_sweep(looks, gain=1.0, **AS_SEEN).flags
    slow = looks_of(*turned())
    assert "turning too fast" not in collar_sweep(slow, gain=1.0, **AS_SEEN).flags


BAD = {
    "neither collar nor stops": ({}, "either --collar"),
    "both": ({"collar": 16, "stops": 4}, "either --collar"),
    "two stops": ({"stops": 2}, "3 or more"),
    "a pipe": ({"collar": 16, "on": "pipe"}, "bore, boss, bar or face"),
    "north": ({"collar": 16, "first": "north"}, "right, back, left or front"),
    "left-handed": ({"collar": 16, "turning": "left"}, "anticlockwise"),
    "no diameter": ({"collar": 16, "diameter_mm": 0.0}, "above zero"),
    "endless gain": ({"collar": 16, "gain": math.inf}, "above zero"),
    "two markers": ({"collar": 2}, "6 to 50"),
    "no such folder": ({"collar": 16, "source": "nowhere/at/all"}, "nowhere"),
    "a camera that is not there": ({"collar": 16, "camera_file": Path("none.json")}, "none.json"),
}


@pytest.mark.parametrize("name", BAD)
def test_bad_input_gets_one_sentence(name, dial):
    options, words = BAD[name]
    options = {"source": str(CLIP / "frames"), **options}
    with pytest.raises(BadInputError, match=words) as caught:
        run_sweep(SweepRequest(dial=dial, **options))
    assert "\n" not in str(caught.value)
    assert caught.value.exit_code == 2


def test_a_video_is_read_like_a_folder_and_timed_by_itself(dial, tmp_path):
    files = sorted((CLIP / "frames").glob("*.jpg"))[::4]
    video = cv2.VideoWriter(
        str(tmp_path / "turn.avi"), cv2.VideoWriter.fourcc(*"MJPG"), 5.0, (960, 540)
    )
    for file in files:
        video.write(cv2.imread(str(file)))
    video.release()
    looks = look_through(
        str(tmp_path / "turn.avi"), dial, load_camera(CLIP / "camera.json"), collar=16, fps=99.0
    )
    assert [k.reading.t_s for k in looks] == pytest.approx(np.arange(len(files)) / 5, abs=1e-3)
    result = fit_turn(collar_sweep(looks, gain=1.0, **AS_SEEN))
    assert result.eccentricity_mm == pytest.approx(0.15529, abs=0.0008)


def test_pictures_without_a_dial_and_a_single_picture_get_one_sentence(dial, tmp_path):
    for k in range(3):
        cv2.imwrite(str(tmp_path / f"{k}.png"), np.full((480, 640, 3), 90, np.uint8))
    with pytest.raises(BadInputError, match="could be read"):
        run_sweep(SweepRequest(str(tmp_path), dial, collar=16))
    with pytest.raises(BadInputError, match="single picture"):
        run_sweep(SweepRequest(str(tmp_path / "0.png"), dial, collar=16))
    empty = tmp_path / "empty"
    empty.mkdir()
    with pytest.raises(BadInputError, match=r"empty|no picture"):
        run_sweep(SweepRequest(str(empty), dial, collar=16))
