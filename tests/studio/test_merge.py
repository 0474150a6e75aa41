"""Two windows change one form: fields that one alone changed are kept from both, the others are asked for.

Outside the project: `git merge-file` for texts.
"""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from waiting import until

from limewash.project.models import Facade, Part
from limewash.studio.desk import Desk
from limewash.studio.house_desk import FormClashError, HouseChange
from limewash.studio.merge import Clash, merged, merged_text

VALUES = st.dictionaries(
    st.sampled_from("abc"),
    st.one_of(st.integers(0, 2), st.none(), st.dictionaries(st.sampled_from("xy"), st.integers(0, 2))),
)


@given(VALUES, VALUES)
def test_a_side_that_changed_nothing_takes_what_the_other_did(base: Any, other: Any) -> None:
    assert merged(base, base, other) == (other, [])
    value, clashes = merged(base, other, base)
    assert clashes == [] and _given(value) == _given(other)


@given(VALUES, VALUES, VALUES)
def test_both_windows_lose_nothing_but_what_is_asked_for(base: Any, mine: Any, theirs: Any) -> None:
    value, clashes = merged(base, mine, theirs)
    asked = {clash.where for clash in clashes}
    for key in "abc":
        was, here, there = (one.get(key) for one in (base, mine, theirs))
        if not any(where.split(".")[0] == key for where in asked) and here != was and there == was:
            assert value.get(key) == here
        if here == was:
            assert value.get(key) == there
    back, mirrored = merged(base, theirs, mine)
    assert {clash.where for clash in mirrored} == asked
    decided, left = merged(base, mine, theirs, dict.fromkeys(asked, "mine"))
    assert left == []
    assert _given(decided) == _given(back), "mine chosen everywhere is theirs chosen everywhere, from the other side"


def _given(value: Any) -> Any:
    """A field that is not given may be left out."""
    return {k: _given(v) for k, v in value.items() if v is not None} if isinstance(value, dict) else value


def test_things_of_a_list_are_known_by_place_or_name() -> None:
    def part(name: str, width: int) -> dict[str, Any]:
        return {"name": name, "width": width}

    base = [part("bay", 1), part("porch", 2)]
    renamed = [part("bay", 1), part("steps", 2)]
    wider = [part("bay", 1), part("porch", 5)]
    assert merged(base, renamed, wider) == ([part("bay", 1), part("steps", 5)], [])
    assert merged(base, [*base, part("wing", 3)], wider) == ([*wider, part("wing", 3)], [])
    assert merged(base, base[1:], [*base, part("wing", 3)]) == ([part("porch", 2), part("wing", 3)], [])
    # Taken out there, changed here: nobody can tell what is right.
    value, clashes = merged({"parts": base}, {"parts": wider}, {"parts": base[:1]})
    assert value == {"parts": base[:1]}
    assert clashes == [Clash("parts.porch", part("porch", 5), None)]
    assert merged({"parts": base}, {"parts": wider}, {"parts": base[:1]}, {"parts.porch": "mine"})[0] == {
        "parts": wider
    }


LINES = st.lists(st.sampled_from([f"{word}\n" for word in "abcdefgh"]), max_size=12)


@st.composite
def three_texts(draw: st.DrawFn) -> tuple[str, str, str]:
    base = [f"line {n}\n" for n in range(draw(st.integers(0, 14)))]

    def changed() -> list[str]:
        lines = list(base)
        for _ in range(draw(st.integers(0, 3))):
            at = draw(st.integers(0, len(lines)))
            lines[at : at + draw(st.integers(0, 2))] = draw(LINES)[:2]
        return lines

    return "".join(base), "".join(changed()), "".join(changed())


@pytest.mark.skipif(shutil.which("git") is None, reason="no git on this machine")
@settings(max_examples=60, deadline=None)
@given(three_texts())
def test_texts_are_laid_together_as_git_does(
    tmp_path_factory: pytest.TempPathFactory, texts: tuple[str, str, str]
) -> None:
    """Where this gives a text, `git merge-file` gives the same one; it may ask where git does not."""
    both = merged_text(*texts)
    folder = tmp_path_factory.mktemp("texts")
    paths = [folder / name for name in ("mine", "base", "theirs")]
    for path, text in zip(paths, (texts[1], texts[0], texts[2]), strict=True):
        path.write_text(text, encoding="utf-8")
    git = subprocess.run(["git", "merge-file", "-p", *map(str, paths)], capture_output=True, text=True, check=False)
    if both is not None:
        assert (git.returncode, git.stdout) == (0, both)


def test_a_form_laid_together_and_a_clash_decided(desk: Desk) -> None:
    desk.house.set(
        "measure",
        facade=Facade(width_m=10, height_m=6, part=(Part(name="bay", rectangle=(0, 0, 2, 3), reflectance=0.5),)),
    )
    start = desk.house.state()
    facade = start.house["facade"]
    desk.house.change(HouseChange(revision=start.revision, house={**start.house, "facade": {**facade, "width_m": 11}}))
    late = {**start.house, "name": "By the mill", "facade": {**facade, "height_m": 7}}
    state = desk.house.change(HouseChange(revision=start.revision, house=late))
    assert desk.house.house.facade is not None
    assert (state.house["name"], state.house["facade"]["width_m"], state.house["facade"]["height_m"]) == (
        "By the mill",
        11,
        7,
    )

    clashing = {**start.house, "facade": {**facade, "width_m": 12, "height_m": 7}}
    with pytest.raises(FormClashError) as caught:
        desk.house.change(HouseChange(revision=start.revision, house=clashing))
    assert caught.value.clashes == [{"where": "facade.width_m", "mine": 12.0, "theirs": 11.0}]
    again = {"revision": start.revision, "house": clashing, "decided": {"facade.width_m": "mine"}}
    desk.house.set("rename", name="Changed while the person decided")
    with pytest.raises(FormClashError):
        desk.house.change(HouseChange(**again, decided_for=caught.value.revision))
    state = desk.house.change(HouseChange(**again, decided_for=desk.house.state().revision))
    assert (state.house["name"], state.house["facade"]["width_m"]) == ("Changed while the person decided", 12)


def test_two_windows_are_asked_only_for_the_field_that_both_changed(window: Any, desk: Desk) -> None:
    facade = Facade(width_m=10, height_m=6, reflectance=0.5)
    desk.house.set("measure", facade=facade)
    mine = window()
    mine.may_be_refused(409)
    page = mine.open("/site")
    page.wait_for_selector("body[data-ready]")
    before = [facade.model_copy(update={"width_m": 11.0, "reflectance": 0.4})]

    def meanwhile(route: Any) -> None:
        """Another window's change comes in just before this one's."""
        if route.request.method == "PUT" and before:
            desk.house.set("change elsewhere", facade=before.pop())
        route.continue_()

    page.route("**/api/house", meanwhile)
    page.locator("#field-facade-width_m").fill("12")
    page.locator("#field-facade-height_m").fill("7")
    page.locator("#field-facade-height_m").press("Tab")
    dialog = page.get_by_role("dialog", name="Changed in another window too")
    dialog.wait_for()
    assert dialog.locator("legend").all_inner_texts() == ["Facade, width"]
    assert dialog.locator("strong").all_inner_texts() == ["12", "11"]
    dialog.get_by_role("button", name="Take these").click()
    dialog.wait_for(state="detached")
    until(lambda: desk.project.house.facade.height_m == 7, "the changes kept")
    now = desk.project.house.facade
    assert now is not None
    assert (now.width_m, now.height_m, now.reflectance) == (12, 7, 0.4)
    until(lambda: page.locator("#field-facade-reflectance").input_value() == "0.4", "the other window's change seen")
    page.get_by_role("button", name="Undo: change height").click()
    before = facade.model_copy(update={"width_m": 11.0, "reflectance": 0.4})
    until(lambda: desk.project.house.facade == before, "undone")


def test_two_windows_type_in_different_lines_of_a_score(window: Any, root: Path) -> None:
    score = root / "shows" / "evening" / "score.toml"
    score.parent.mkdir(parents=True)
    cue = ["[[cue]]", "start = 0", "length = 2", 'effect = "candlelight"', ""]
    lines = ["format = 1", "[show]", 'title = "Evening"', "length_s = 10.0", "rate = 30", *cue]
    score.write_text("\n".join(lines), encoding="utf-8")
    opened = [window(), window()]
    for some in opened:
        some.may_be_refused(422)
    one, other = (some.open("/show") for some in opened)
    texts = [page.get_by_role("textbox", name="Score") for page in (one, other)]
    for text in texts:
        until(lambda text=text: "length_s" in text.input_value(), "the score")
    texts[0].fill("\n".join(lines).replace("Evening", "Night"))
    texts[1].fill("\n".join(lines).replace("length = 2", "length = 4"))
    both = "\n".join(lines).replace("Evening", "Night").replace("length = 2", "length = 4")
    until(lambda: [score.read_text("utf-8"), *(text.input_value() for text in texts)] == [both] * 3, "both changes")
