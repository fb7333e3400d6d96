"""The shop's own lines of the checklists: read, bounded, refused in one sentence."""

import pytest

from readings import BadInputError
from setups import ShopLine
from ui.shop_lines import shop_lines


def written(home, text):
    (home / "checklists.toml").write_text(text, encoding="utf-8")
    return home


def test_no_file_is_no_lines(tmp_path):
    assert shop_lines(tmp_path) == ()


def test_lines_come_in_their_order_with_their_list(tmp_path):
    home = written(
        tmp_path,
        'before-power = ["Coolant  tap shut", "Door bolted"]\nbefore-hands = ["Lamp on"]\n',
    )
    assert shop_lines(home) == (
        ShopLine("before-power", "Coolant tap shut"),
        ShopLine("before-power", "Door bolted"),
        ShopLine("before-hands", "Lamp on"),
    )


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("before-power = [", "cannot be read"),
        ('before-lunch = ["x"]', "there are before-hands and before-power"),
        ('before-power = "x"', "at most 3 lines"),
        ('before-power = ["a", "b", "c", "d"]', "at most 3 lines"),
        ('before-power = [""]', "1 to 70 characters"),
        ("before-power = [7]", "1 to 70 characters"),
        (f'before-power = ["{"x" * 71}"]', "1 to 70 characters"),
        ('before-power = ["Machine is safe"]', "says 'safe'"),
        ('before-power = ["All Clear"]', "says 'clear'"),
    ],
)
def test_what_is_no_line_is_refused_in_one_sentence(tmp_path, text, words):
    with pytest.raises(BadInputError, match=words) as refused:
        shop_lines(written(tmp_path, text))
    assert "checklists.toml" in str(refused.value)


def test_a_file_in_other_letters_is_refused(tmp_path):
    (tmp_path / "checklists.toml").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(BadInputError, match="cannot be read"):
        shop_lines(tmp_path)
