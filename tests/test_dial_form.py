"""A dial taught from a form and five clicks on one photo, tried on others with known truth.

Truth: `sample_images/faces`, path-traced pictures whose renderer kept the needle's place.
"""

import json
from dataclasses import replace

import pytest

from readings import BadInputError
from ui.dial_form import CLICKS, DialForm, plain_name, read_words, teach_from_form


@pytest.fixture(scope="module")
def owner(faces_dir):
    """What the owner of dev1 would type and click, and the photo."""
    folder = faces_dir / "dev1"
    sheet = json.loads((folder / "dial.json").read_text())
    photo = sheet["teach"][0]
    form = DialForm(
        name="Shop dial, No. 1",
        unit=sheet["unit"],
        graduation=sheet["graduation"],
        marks_per_turn=sheet["marks_per_turn"],
        numbering=sheet["numbering"],
        clockwise=sheet["clockwise"],
        scale_outer_diameter_mm=sheet["scale_outer_diameter_mm"],
        needle_height_mm=sheet["needle_height_mm"],
        reading_divisions=photo["reading_divisions"],
    )
    clicks = [tuple(photo["clicks_px"][key]) for key in CLICKS]
    return folder, form, (folder / photo["file"]).read_bytes(), clicks


@pytest.fixture(scope="module")
def taught(owner):
    _, form, photo, clicks = owner
    return teach_from_form(form, photo, clicks)


def test_the_dial_is_learned_under_a_plain_name(taught):
    assert taught.name == "shop-dial-no-1"
    assert plain_name("Ünit 7 / left") == "nit-7-left"


@pytest.mark.parametrize(("photo", "divisions"), [(1, 31.0), (2, 72.0)])
def test_other_photos_of_it_are_read(owner, taught, photo, divisions):
    """Their readings by eye, to the division, stand in the owner's sheet."""
    folder = owner[0]
    words = read_words(taught, (folder / f"teach/{photo}.jpg").read_bytes())
    assert float(words.split()[0]) == pytest.approx(divisions, abs=0.5)
    assert "divisions (k = 2)" in words


def test_a_photo_without_the_dial_is_refused_with_its_reason(faces_dir, taught):
    words = read_words(taught, (faces_dir / "dev3" / "teach" / "0.jpg").read_bytes())
    assert words.startswith("Refused. ")
    assert len(words) > len("Refused. ")


def test_a_click_too_few_names_the_one_that_is_missing(owner):
    _, form, photo, clicks = owner
    with pytest.raises(BadInputError, match=r"4 of 5 places are clicked.*pivot"):
        teach_from_form(form, photo, clicks[:4])


def test_clicks_on_the_wrong_marks_are_refused(owner):
    _, form, photo, clicks = owner
    swapped = [clicks[2], clicks[1], clicks[0], clicks[3], clicks[4]]
    far = [(x + 200.0, y) for x, y in clicks]
    for wrong in (far, [*clicks[:4], (5.0, 5.0)]):
        with pytest.raises(BadInputError):
            teach_from_form(form, photo, wrong)
    with pytest.raises(BadInputError):
        teach_from_form(replace(form, reading_divisions=10.0), photo, swapped)


def test_no_picture_is_said(owner):
    _, form, _, clicks = owner
    for content in (b"", b"not a picture"):
        with pytest.raises(BadInputError, match="JPEG or PNG"):
            teach_from_form(form, content, clicks)


def test_a_scale_that_cannot_be_is_said(owner):
    _, form, photo, clicks = owner
    with pytest.raises(BadInputError, match="marks_per_turn"):
        teach_from_form(replace(form, marks_per_turn=7), photo, clicks)
