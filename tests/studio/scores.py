"""The score of a small show, for tests of what is done with it."""

from __future__ import annotations


def score_text(length_s: float = 10.0, *, title: str = "Evening", cue_s: float = 2.0) -> str:
    """One cue at the start of a show."""
    return (
        f'format = 1\n[show]\ntitle = "{title}"\nlength_s = {length_s}\nrate = 30\n'
        f'[[cue]]\nstart = 0\nlength = {cue_s:g}\neffect = "candlelight"\n'
    )
