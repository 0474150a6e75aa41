"""What messages are made of."""

from __future__ import annotations

import shlex
from pathlib import Path

import pytest

from limewash.errors import as_typed


@pytest.mark.parametrize("word", ["our-house", "shows/evening_2.mp4", "Größe", "../ours"])
def test_a_plain_word_is_typed_as_it_is(word: str) -> None:
    assert as_typed(word) == word


@pytest.mark.parametrize("word", ["Haus Müller", "our house (old)", "it's", "ours & theirs", "a;b", "a|b", "a*", "<a>"])
def test_a_word_that_a_shell_would_take_apart_stands_in_quotes(word: str) -> None:
    assert as_typed(word) == f'"{word}"'
    assert shlex.split(f"limewash new {as_typed(word)}") == ["limewash", "new", word]


def test_a_path_and_a_word_of_no_letters_can_be_typed_too() -> None:
    assert as_typed(Path("Haus Müller")) == '"Haus Müller"'
    assert as_typed("") == '""'
