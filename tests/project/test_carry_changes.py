"""`house.toml` through the studio: what was written by hand stays, and it reads back the same."""

import tomllib
from typing import Any

from hypothesis import example, given
from hypothesis import strategies as st

from limewash.project.carry_changes import changed_text

BY_HAND = """\
# my house
name = "Old"  # what we call it

[facade]
width_m = 10.0  # measured twice
height_m = 6.0

[[rig]]
name = "main"
# the one with the new lamp
[rig.projector]
size = [1920, 1080]

[[rig]]
name = "side"  # borrowed
"""


def data(text: str) -> dict[str, Any]:
    return tomllib.loads(text)


def test_comments_and_order_stay() -> None:
    before = data(BY_HAND)
    after = data(BY_HAND)
    after["name"] = "New"
    after["facade"]["height_m"] = 6.5
    after["rig"][0]["projector"]["throw_ratio"] = 1.2
    text = changed_text(BY_HAND, before, after)
    assert data(text) == after
    for words in ("# my house", "# what we call it", "# measured twice", "# the one with the new lamp", "# borrowed"):
        assert words in text


def test_a_table_that_goes_takes_only_its_own_comments() -> None:
    before = data(BY_HAND)
    after = data(BY_HAND)
    del after["rig"][0]
    text = changed_text(BY_HAND, before, after)
    assert data(text) == after
    assert "# borrowed" in text
    assert "new lamp" not in text


def test_a_value_that_goes_and_one_that_comes() -> None:
    before, after = data(BY_HAND), data(BY_HAND)
    del after["facade"]["width_m"]
    after["scan"] = "scan-2"
    after["place"] = {"latitude_deg": 50.0, "zones": [{"name": "lawn", "corners": [[0, 1], [2, 3]]}]}
    assert data(changed_text(BY_HAND, before, after)) == after


plain = st.recursive(
    st.integers(-5, 5) | st.text("abc", max_size=3) | st.lists(st.integers(0, 3), max_size=3),
    lambda inner: (
        st.dictionaries(st.sampled_from("pqrs"), inner, max_size=3)
        | st.lists(st.dictionaries(st.sampled_from("xyz"), inner, min_size=1, max_size=3), min_size=1, max_size=3)
    ),
    max_leaves=12,
)
tables = st.dictionaries(st.sampled_from("abcdef"), plain, max_size=5)


def without_empty(value: Any) -> Any:
    """An empty list in a new table is left out: it would forbid a table of that name below it."""
    if isinstance(value, dict):
        return {k: without_empty(v) for k, v in value.items() if v != []}
    return [without_empty(v) for v in value] if isinstance(value, list) else value


@example(before={"a": {"p": {}}}, after={"a": {}})
@example(before={"a": [{"z": [{"x": 0}]}]}, after={"a": [{"z": {}}, {"x": 0}]})
@given(before=tables, after=tables)
def test_it_says_what_it_should_whatever_changed(before: dict[str, Any], after: dict[str, Any]) -> None:
    before, after = without_empty(before), without_empty(after)
    text = changed_text("", {}, before)
    assert data(text) == before
    assert data(changed_text(text, before, after)) == after


def test_a_table_goes_into_one_that_stands_on_one_line() -> None:
    text = "[[rig]]\nprojector = {throw_ratio = 1.3}  # mine\n"
    before = {"rig": [{"projector": {"throw_ratio": 1.3}}]}
    after = {"rig": [{"projector": {"throw_ratio": 1.3, "feet": {"apart_m": 0.2}}}]}
    new = changed_text(text, before, after)
    assert tomllib.loads(new) == after
    assert "# mine" in new
    zone = {"site": {"ambient": {"wall_lx": 1}, "zone": [{"name": "a"}, {"name": "b"}]}}
    new = changed_text("site = {ambient = {wall_lx = 1}}\n", {"site": {"ambient": {"wall_lx": 1}}}, zone)
    assert tomllib.loads(new) == zone
