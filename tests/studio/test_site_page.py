"""The site page in a real browser: what is filled in is not lost, whatever happens meanwhile."""

from __future__ import annotations

import threading
from pathlib import Path
from typing import Any

import pytest
from running_studio import started_anew
from waiting import until

from limewash.project.models import Facade
from limewash.studio.desk import Desk
from limewash.studio.house_desk import HouseChange, HouseDesk
from limewash.studio.recent import Recent


@pytest.fixture
def measured(desk: Desk) -> Desk:
    """The house front is 10 m wide and 6 m high."""
    desk.house.set("measure", facade=Facade(width_m=10, height_m=6, reflectance=0.5))
    return desk


@pytest.fixture
def site(window: Any, measured: Desk) -> Any:
    """A window with the site page."""
    one = window()
    one.open("/site").wait_for_selector("body[data-ready=true]")
    return one


def facade(desk: Desk) -> Facade:
    front = desk.house.house.facade
    assert front is not None
    return front


def field(one: Any, name: str) -> Any:
    return one.page.locator(f"#field-facade-{name}")


def test_a_field_changed_just_before_a_link_is_clicked_is_saved(site: Any, measured: Desk) -> None:
    field(site, "width_m").fill("12.5")
    site.page.locator("a[href='/scan']").first.click()
    site.page.wait_for_url("**/scan")
    site.page.wait_for_selector("body[data-ready=true]")
    until(lambda: facade(measured).width_m == 12.5, "saved")


def test_a_field_that_only_had_the_focus_shows_what_is(site: Any, measured: Desk) -> None:
    field(site, "width_m").focus()
    with site.page.expect_response("**/api/site/check"):
        measured.house.set("measure again", facade=Facade(width_m=14, height_m=6, reflectance=0.5))
    site.page.keyboard.press("Tab")
    until(lambda: field(site, "width_m").input_value() == "14", "what another window gave")


def test_three_fields_quickly_one_after_the_other_are_all_saved(
    site: Any, measured: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    answer = threading.Event()
    asked: list[HouseChange] = []
    change = HouseDesk.change

    def first_slow(self: HouseDesk, changed: HouseChange) -> Any:
        asked.append(changed)
        if len(asked) == 1:
            answer.wait(20)
        return change(self, changed)

    monkeypatch.setattr(HouseDesk, "change", first_slow)
    field(site, "width_m").fill("12")
    site.page.keyboard.press("Tab")
    until(lambda: asked, "the first on its way")
    field(site, "height_m").fill("7")
    with site.page.expect_response("**/api/house"):
        field(site, "reflectance").focus()
        answer.set()
    field(site, "reflectance").fill("0.6")
    site.page.keyboard.press("Tab")
    until(lambda: facade(measured) == Facade(width_m=12, height_m=7, reflectance=0.6), "all three saved")


def test_a_number_with_a_comma_for_the_thousands_is_asked_about(site: Any, measured: Desk) -> None:
    """3,500 lumens are three and a half thousand to some and three and a half to others."""
    site.may_be_refused(422)
    before = measured.house.house.rig[0].projector.light_lm
    light = site.page.locator("#field-rig-0-projector-light_lm")
    light.fill("3,500")
    site.page.keyboard.press("Tab")
    until(lambda: light.get_attribute("aria-invalid") == "true", "the fault at its field")
    assert light.input_value() == "3,500"
    assert measured.house.house.rig[0].projector.light_lm == before


def test_what_was_changed_while_the_studio_was_away_is_saved_when_it_is_back(
    site: Any, studio: Any, measured: Desk, root: Path, tmp_path: Path
) -> None:
    site.may_be_unanswered()
    measured.save()
    studio.stop()
    with site.page.expect_event("requestfailed", lambda request: request.url.endswith("/api/house")):
        field(site, "width_m").fill("12")
        site.page.keyboard.press("Tab")
    another = Desk(Recent(tmp_path / "settings-2" / "recent.json"))
    another.open(root)
    with started_anew(studio, another):
        until(lambda: facade(another).width_m == 12, "saved by the studio that came back", seconds=20.0)
        assert field(site, "width_m").input_value() == "12"
    another.close()
