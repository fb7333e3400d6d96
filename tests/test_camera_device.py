"""Camera settings over drivers that do as real ones do: refuse, round, and say what is not so.

The drivers are played; what they do is from reports on OpenCV's tracker (9738: exposure by hand
is 1 or 0.25; 14494: set returns True and nothing happens; 9084: size only after the format).
"""

import time

import cv2
import numpy as np
import pytest

from calibration.camera_settings import CameraSettings, plain_settings, settings_from
from readings import BadInputError, SourceError
from vision.camera_device import identity_of, set_up
from vision.live_source import LiveSource

MJPG, YUYV = (float(cv2.VideoWriter.fourcc(*name)) for name in ("MJPG", "YUYV"))
EVERYTHING = CameraSettings(
    1280, 720, "mjpg", ("focus", "exposure", "white_balance"),
    {"focus": 30.0, "exposure": 150.0, "white_balance": 4600.0},
)  # fmt: skip


class Driver:
    """A camera whose driver does as it is told, unless `stubborn` says what it leaves as it is."""

    def __init__(self, *, stubborn=(), lacking=(), by_hand=1.0, sizes=((640, 480), (1280, 720))):
        self.stubborn, self.lacking, self.by_hand, self.sizes = stubborn, lacking, by_hand, sizes
        self.size, self.wanted = (640, 480), [640, 480]
        self.pictures, self.released = 1000, False
        self.props = {
            cv2.CAP_PROP_FOURCC: YUYV,
            cv2.CAP_PROP_FPS: 30.0,
            cv2.CAP_PROP_AUTOFOCUS: 1.0,
            cv2.CAP_PROP_FOCUS: 12.0,
            cv2.CAP_PROP_AUTO_EXPOSURE: 3.0,
            cv2.CAP_PROP_EXPOSURE: 166.0,
            cv2.CAP_PROP_AUTO_WB: 1.0,
            cv2.CAP_PROP_WB_TEMPERATURE: 5200.0,
        }

    def isOpened(self):  # noqa: N802
        return not self.released

    def grab(self):
        self.pictures -= 1
        return self.pictures >= 0 and not self.released

    def retrieve(self):
        return True, np.full((self.size[1], self.size[0], 3), 90, np.uint8)

    def get(self, what):
        if what in self.lacking:
            return -1.0
        if what in (cv2.CAP_PROP_FRAME_WIDTH, cv2.CAP_PROP_FRAME_HEIGHT):
            return float(self.size[what == cv2.CAP_PROP_FRAME_HEIGHT])
        return self.props.get(what, -1.0)

    def set(self, what, value):
        if what in (cv2.CAP_PROP_FRAME_WIDTH, cv2.CAP_PROP_FRAME_HEIGHT):
            self.wanted[what == cv2.CAP_PROP_FRAME_HEIGHT] = int(value)
            if tuple(self.wanted) in self.sizes and self.props[cv2.CAP_PROP_FOURCC] == MJPG:
                self.size = tuple(self.wanted)
            return True
        if what == cv2.CAP_PROP_AUTO_EXPOSURE and value not in (self.by_hand, 3.0):
            return True
        if what not in self.stubborn and what not in self.lacking:
            self.props[what] = value
        return True

    def release(self):
        self.released = True


def test_a_good_driver_is_set_and_read_back():
    state = set_up(Driver(), EVERYTHING, "usb-1")
    assert (state.width_px, state.height_px, state.pixel_format) == (1280, 720, "mjpg")
    assert state.locked == ("focus", "exposure", "white_balance")
    assert state.values == {"focus": 30.0, "exposure": 150.0, "white_balance": 4600.0}
    assert state.not_done == ()


def test_without_a_value_a_control_is_held_where_it_stands():
    state = set_up(Driver(), CameraSettings(locks=("focus",)), "usb-1")
    assert state.locked == ("focus",)
    assert state.values["focus"] == 12.0


def test_exposure_by_hand_has_another_number_elsewhere():
    state = set_up(Driver(by_hand=0.25), EVERYTHING, "usb-1")
    assert "exposure" in state.locked


@pytest.mark.parametrize(
    ("driver", "says"),
    [
        (Driver(stubborn=(cv2.CAP_PROP_AUTOFOCUS,)), "focus could not be locked: the camera keeps"),
        (
            Driver(stubborn=(cv2.CAP_PROP_FOCUS,)),
            "focus could not be set to 30: the camera says 12",
        ),
        (Driver(by_hand=7.0), "exposure could not be locked"),
        (Driver(lacking=(cv2.CAP_PROP_AUTO_WB,)), "white balance could not be locked"),
        (Driver(sizes=((640, 480),)), "the camera gives 640 x 480 pixels, not 1280 x 720"),
        (Driver(stubborn=(cv2.CAP_PROP_FOURCC,)), "the format could not be set to mjpg"),
    ],
)
def test_what_the_driver_did_not_do_is_told(driver, says):
    state = set_up(driver, EVERYTHING, "usb-1")
    assert any(words.startswith(says) for words in state.not_done), state.not_done
    told_of_locks = [words for words in state.not_done if "locked" in words or "set to" in words]
    assert len(state.locked) + len([w for w in told_of_locks if "format" not in w]) == 3


def test_a_control_that_is_not_there_is_no_lock():
    driver = Driver(lacking=(cv2.CAP_PROP_FOCUS, cv2.CAP_PROP_AUTOFOCUS))
    state = set_up(driver, CameraSettings(locks=("focus",)), "usb-1")
    assert state.locked == ()
    assert state.not_done == ("focus could not be locked: the camera has no such control",)
    assert "focus" not in state.values


def test_settings_are_kept_as_json_and_what_cannot_be_is_refused():
    assert settings_from(plain_settings(EVERYTHING)) == EVERYTHING
    for plain in ({}, {"width_px": "wide", "height_px": 1, "pixel_format": "mjpg"}):
        with pytest.raises(BadInputError, match="camera settings cannot be read"):
            settings_from(plain)
    with pytest.raises(BadInputError, match="160 to 8192"):
        CameraSettings(width_px=10)
    with pytest.raises(BadInputError, match="cannot be locked"):
        CameraSettings(locks=("zoom",))
    with pytest.raises(BadInputError, match="mjpg or raw"):
        CameraSettings(pixel_format="png")
    with pytest.raises(BadInputError, match="no number"):
        CameraSettings(values={"focus": float("nan")})


def test_a_camera_is_told_by_its_lasting_name(tmp_path):
    device = tmp_path / "dev" / "video2"
    device.parent.mkdir()
    device.touch()
    named = tmp_path / "sys/class/video4linux/video2"
    named.mkdir(parents=True)
    (named / "name").write_text("Bench camera\n")
    assert identity_of(2, tmp_path) == "Bench camera"
    links = tmp_path / "dev" / "v4l" / "by-id"
    links.mkdir(parents=True)
    (links / "usb-0042-video-index0").symlink_to(device)
    assert identity_of(2, tmp_path) == "usb-0042-video-index0"
    assert identity_of(3, tmp_path) == "camera 3"


def test_a_numbered_camera_is_set_before_its_first_picture():
    driver = Driver()
    source = LiveSource("2", time.monotonic, EVERYTHING, lambda number: driver)
    frames = source.frames()
    assert next(frames).image.shape == (720, 1280, 3)
    assert source.state.locked == ("focus", "exposure", "white_balance")
    frames.close()
    assert driver.released


def test_a_driver_that_fails_is_a_sentence():
    class Broken(Driver):
        def grab(self):
            if self.pictures < 998:
                msg = "ioctl"
                raise RuntimeError(msg)
            return super().grab()

    source = LiveSource("0", time.monotonic, None, lambda number: Broken())
    with pytest.raises(SourceError, match=r"camera 0 failed \(ioctl\)"):
        for _ in source.frames():
            pass
