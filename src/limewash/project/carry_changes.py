"""Changes of a house carried into `house.toml` one by one, so that everything written there by hand stays."""

from __future__ import annotations

from typing import Any

import tomlkit
from tomlkit.items import AoT, InlineTable, Item, Table

Plain = dict[str, Any]


def changed_text(text: str, before: Plain, after: Plain) -> str:
    """The text of a TOML file with the differences between two states of its data carried in.

    Parameters
    ----------
    text : str
        The file as it is.
    before, after : dict
        Plain data without nulls. Only what differs is touched: keys that the file leaves to their defaults stay away.

    Some ways to write a table in pieces cannot be changed in place. Such a file is written anew from `after`: what was
    written there by hand is lost then, the data are not.
    """
    document = tomlkit.parse(text)
    try:
        _carry(document, before, after)
        new = tomlkit.dumps(document)
        tomlkit.parse(new)
    except (tomlkit.exceptions.TOMLKitError, KeyError, ValueError):
        return tomlkit.dumps(_table(after))
    return new


def _carry(table: Any, before: Plain, after: Plain) -> None:
    for key in before.keys() - after.keys():
        if key in table:
            table.remove(key)
    for key, value in after.items():
        old = before.get(key)
        if key in before and old == value:
            continue
        if isinstance(value, dict) and isinstance(old, dict) and isinstance(table.get(key), Table | InlineTable):
            _carry(table[key], old, value)
            if not value and isinstance(table[key], Table) and table[key].is_super_table():
                _put(table, key, value)  # without a header of its own, and now without any below it, it would be gone
        elif _is_tables(value) and old is not None and _is_tables(old) and isinstance(table.get(key), AoT):
            _carry_tables(table[key], old, value)
        else:
            _put(table, key, value)


def _carry_tables(tables: AoT, before: list[Plain], after: list[Plain]) -> None:
    while len(tables) > len(after):
        # The one that is gone is the first that differs: those behind it keep their comments.
        gone = next((n for n, (a, b) in enumerate(zip(before, after, strict=False)) if a != b), len(after))
        del tables[gone]
        before = [*before[:gone], *before[gone + 1 :]]
    for n, value in enumerate(after):
        if n < len(tables):
            _carry(tables[n], before[n], value)
        else:
            tables.append(_table(value))


def _put(table: Any, key: str, value: Any) -> None:
    if isinstance(table, InlineTable):
        table[key] = _inline(value)
        return
    if isinstance(value, dict):
        item: Any = _table(value)
    elif _is_tables(value):
        item = tomlkit.aot()
        for inner in value:
            item.append(_table(inner))
    else:
        item = tomlkit.item(value)
    is_table = isinstance(value, dict) or _is_tables(value)
    if key in table and (is_table or isinstance(table[key], Table | AoT)) and type(table[key]) is not type(item):
        table.remove(key)  # else it would be written in the form of what was there
    if key in table or is_table:
        table[key] = item
        return
    # A plain value must stand before the first table, or it would fall into that.
    first = next((k for k, v in table.items() if isinstance(v, Table | AoT)), None)
    if first is None:
        table[key] = item
        return
    later = [(k, table[k]) for k in list(table.keys())]
    start = [k for k, _ in later].index(first)
    for k, _ in later[start:]:
        table.remove(k)
    table[key] = item
    for k, v in later[start:]:
        table[k] = v


def _inline(value: Any) -> Item:
    """A value that stands on one line, with all that is in it."""
    if isinstance(value, dict):
        table = tomlkit.inline_table()
        for key, inner in value.items():
            table.append(key, _inline(inner))
        return table
    if _is_tables(value):
        value = [_inline(inner) for inner in value]
    item: Item = tomlkit.item(value, _parent=tomlkit.inline_table())
    return item


def _table(value: Plain) -> Table:
    table = tomlkit.table()
    plain_first = sorted(value.items(), key=lambda pair: isinstance(pair[1], dict) or _is_tables(pair[1]))
    for key, inner in plain_first:
        if inner != []:
            _put(table, key, inner)
    return table


def _is_tables(value: Any) -> bool:
    return isinstance(value, list) and bool(value) and isinstance(value[0], dict)
