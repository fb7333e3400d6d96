import cv2
import numpy as np
import pytest

from readings import SourceError
from vision import open_source


def picture(value: int) -> np.ndarray:
    return np.full((48, 64, 3), value, np.uint8)


@pytest.fixture
def folder(tmp_path):
    for number in (10, 9, 1):
        cv2.imwrite(str(tmp_path / f"{number}.png"), picture(number))
    (tmp_path / "2.jpg").write_bytes(b"this is no picture")
    (tmp_path / "notes.txt").write_text("not a picture")
    return tmp_path


def test_folder_comes_in_natural_order_with_times(folder):
    frames = list(open_source(folder, fps=10).frames())
    assert [f.name for f in frames] == ["1.png", "2.jpg", "9.png", "10.png"]
    assert [f.index for f in frames] == [0, 1, 2, 3]
    np.testing.assert_allclose([f.t_s for f in frames], [0.0, 0.1, 0.2, 0.3])


def test_a_clip_may_keep_its_pictures_in_frames(tmp_path):
    inside = tmp_path / "clip" / "frames"
    inside.mkdir(parents=True)
    (inside.parent / "truth.json").write_text("{}")
    for number in (10, 9):
        cv2.imwrite(str(inside / f"{number}.png"), picture(number))
    names = [frame.name for frame in open_source(inside.parent).frames()]
    assert names == ["frames/9.png", "frames/10.png"]


def test_one_bad_file_is_a_flagged_frame(folder):
    frames = {f.name: f for f in open_source(folder).frames()}
    assert frames["2.jpg"].image is None
    assert frames["2.jpg"].flags == ("unreadable file",)
    assert frames["9.png"].flags == ()
    assert int(frames["9.png"].image[0, 0, 0]) == 9


def test_pictures_are_read_only(folder):
    frame = next(iter(open_source(folder).frames()))
    with pytest.raises(ValueError, match="read-only"):
        frame.image[0, 0] = 0


def test_single_picture(folder):
    (frame,) = open_source(folder / "9.png").frames()
    assert (frame.name, frame.t_s) == ("9.png", 0.0)


def test_video_is_timed_by_presentation(tmp_path):
    path = tmp_path / "clip.avi"
    writer = cv2.VideoWriter(str(path), cv2.VideoWriter.fourcc(*"MJPG"), 12.0, (64, 48))
    for value in (20, 120, 220):
        writer.write(picture(value))
    writer.release()
    source = open_source(path)
    frames = list(source.frames())
    source.close()
    source.close()
    np.testing.assert_allclose([f.t_s for f in frames], [0, 1 / 12, 2 / 12], atol=2e-3)
    assert [round(int(f.image.mean()), -1) for f in frames] == [20, 120, 220]


@pytest.mark.parametrize(
    ("name", "content", "says"),
    [
        ("gone.jpg", None, "There is no"),
        ("bad.jpg", b"nothing", "cannot be decoded"),
        ("empty.png", b"", "is empty or cannot"),
        ("bad.mp4", b"nothing", "cannot be opened as a video"),
        ("notes.txt", b"hello", "of no kind I read"),
    ],
)
def test_bad_sources_say_what_is_wrong(tmp_path, name, content, says):
    path = tmp_path / name
    if content is not None:
        path.write_bytes(content)
    with pytest.raises(SourceError, match=says):
        open_source(path)


def test_empty_folder_and_bad_rate(tmp_path, folder):
    (tmp_path / "none").mkdir()
    with pytest.raises(SourceError, match="holds no picture"):
        open_source(tmp_path / "none")
    with pytest.raises(SourceError, match="above zero"):
        open_source(folder, fps=0)
