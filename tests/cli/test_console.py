"""How commands talk: tables for people, JSON for programs."""

from __future__ import annotations

import json

import pytest

from limewash.cli.console import print_json, print_table


@pytest.mark.parametrize("words", ["Door [left]", "[red]", "[/red]", "back [2], [b]old[/b]", "[link=x]"])
def test_square_brackets_are_printed_as_they_are(words: str, capsys: pytest.CaptureFixture[str]) -> None:
    print_table(f"Rig '{words}'", ["id", "title"], [["door", words], [words, "[/]"]])
    shown = capsys.readouterr().out
    assert shown.count(words) == 3
    assert "[/]" in shown


def test_json_is_the_same_bytes_whatever_the_code_page(capsys: pytest.CaptureFixture[str]) -> None:
    print_json({"Straße": ["2 \N{DEGREE SIGN}", "Tür \N{EN DASH} links"]})
    shown = capsys.readouterr().out
    assert shown.isascii()
    assert json.loads(shown) == {"Straße": ["2 \N{DEGREE SIGN}", "Tür \N{EN DASH} links"]}
