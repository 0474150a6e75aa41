"""Writing `house.toml`: a commented first version, and changes that leave the comments alone."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import tomlkit
from pydantic import BaseModel
from tomlkit.items import Item

from limewash.project.carry_changes import changed_text
from limewash.project.models import House
from limewash.project.toml_models import read_document, validate

_COMMENTS = {
    "scan": "which folder under scans/ is in use",
    "place": "degrees north and east, and the time zone's name",
    "facade": "the house front, measured along the wall",
    "measured": "measured with a tape from the left foot of the wall (x right, y up), and found on the photo",
    "rig": "projector, player and stand that belong together",
    "projector": "from the data sheet; lens shift as a share of the full picture",
    "stand": "the lens: x along the wall, height above ground, distance from the wall; yaw right, tilt up",
}
"""Each stands behind its key on the same line, so that it moves with it."""


def house_text(house: House) -> str:
    """A `house.toml` with a comment beside each part."""
    document = tomlkit.document()
    document.add(tomlkit.comment("A Limewash project. Edit by hand as you like; comments stay."))
    for key, value in _plain(house).items():
        document.add(key, _item(value, _COMMENTS.get(key)))
    return tomlkit.dumps(document)


def updated_house_text(path: Path, changes: dict[str, Any]) -> str:
    """The text of `house.toml` with some top-level values replaced; checked before it is returned.

    Only what differs is written: comments, units and defaults that nobody wrote down stay as they are.

    Raises
    ------
    InputError
        If the result would not be a valid `house.toml`; nothing is written here.
    """
    document = read_document(path)
    before = validate(document.unwrap(), House, where=str(path))
    after = validate({**_written(before), **_written_values(changes)}, House, where=str(path))
    text = changed_text(tomlkit.dumps(document), _written(before), _written(after))
    if House.model_validate(tomlkit.parse(text).unwrap()) == after:
        return text
    return house_text(after)  # written in pieces that cannot be changed in place


def _written(model: BaseModel) -> dict[str, Any]:
    """What was given, without what is left to its default."""
    return model.model_dump(mode="json", exclude_none=True, exclude_unset=True)


def _written_values(value: Any) -> Any:
    if isinstance(value, BaseModel):
        return _written(value)
    if isinstance(value, dict):
        return {key: _written_values(inner) for key, inner in value.items()}
    return [_written_values(inner) for inner in value] if isinstance(value, list | tuple) else value


def _plain(house: House) -> dict[str, Any]:
    plain: dict[str, Any] = _without_empty(house.model_dump(mode="json", exclude_none=True))
    return plain


def _without_empty(value: Any) -> Any:
    """Leave empty lists out: `part = []` would forbid a `[[facade.part]]` written below it by hand."""
    if isinstance(value, dict):
        return {key: _without_empty(inner) for key, inner in value.items() if inner != []}
    return [_without_empty(inner) for inner in value] if isinstance(value, list) else value


def _item(value: Any, comment: str | None = None) -> Item:
    if isinstance(value, list) and value and isinstance(value[0], dict):
        tables = tomlkit.aot()
        for number, inner in enumerate(value):
            tables.append(_item(inner, comment if number == 0 else None))
        return tables
    if isinstance(value, dict):
        table = tomlkit.table()
        for key, inner in value.items():
            table.add(key, _item(inner, _COMMENTS.get(key)))
        item: Item = table
    else:
        item = tomlkit.item(value)
    if comment:
        item.comment(comment)
    return item
