"""The score: what plays when, and where on the house."""

from __future__ import annotations

import re
import zlib
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import Field, field_validator, model_validator

from limewash.errors import InputError, did_you_mean
from limewash.project.toml_models import TomlModel, check_format, read_document, validate
from limewash.show.beats import Beats
from limewash.show.colours import linear_colour
from limewash.show.effects import EFFECTS, Effect

SCORE_FORMAT = 1

LAYS = ("add", "cover", "tint")
"""How a cue's light is laid over what is below: added to it, hiding it, or colouring it."""

Time = float | str
NotNegative = Annotated[float, Field(ge=0.0, allow_inf_nan=False)]
Positive = Annotated[float, Field(gt=0.0, allow_inf_nan=False)]


class Show(TomlModel):
    """What holds for the whole show."""

    title: Annotated[str, Field(min_length=1)]
    length_s: Annotated[float, Field(gt=0.0, le=7200.0)]
    rate: Annotated[float, Field(ge=1.0, le=120.0)] = 30.0
    seed: int = 1

    @property
    def exact_rate(self) -> Fraction:
        """Frames per second; 29.97 and its kin are taken as 30000/1001."""
        for whole in (24, 30, 60, 120):
            if abs(self.rate - whole * 1000 / 1001) < 0.005:
                return Fraction(whole * 1000, 1001)
        return Fraction(self.rate).limit_denominator(1000)

    @property
    def frame_count(self) -> int:
        return max(1, round(self.length_s * self.exact_rate))


class Music(TomlModel):
    """The music: a file beside the score, and its beats, by tempo or one by one."""

    file: str | None = None
    bpm: Annotated[float, Field(gt=0.0, le=400.0)] | None = None
    first_beat_s: float = 0.0
    beats_per_bar: Annotated[int, Field(ge=1, le=32)] = 4
    beats: tuple[float, ...] | None = None

    @model_validator(mode="after")
    def _one_tempo(self) -> Music:
        if self.beats is not None:
            if self.bpm is not None:
                raise ValueError("give either bpm or a list of beats, not both")
            if len(self.beats) < 2 or any(b <= a for a, b in zip(self.beats, self.beats[1:], strict=False)):
                raise ValueError("beats must be at least two times in seconds, each later than the last")
        return self

    def times(self) -> Beats:
        """Its beats; one a second where nothing is said."""
        if self.beats is not None:
            return Beats(self.beats, self.beats_per_bar)
        return Beats.steady(self.bpm or 60.0, self.first_beat_s, self.beats_per_bar)


class Cue(TomlModel):
    """One entry of the score, as it is written."""

    name: str = ""
    start: Time = 0.0
    length: Time | None = None
    effect: str
    where: tuple[str, ...] = ("everything",)
    colours: tuple[str, ...] = ()
    level: Annotated[float, Field(ge=0.0, le=1.0)] = 1.0
    fade_in: Time = 0.5
    fade_out: Time = 0.5
    lay: Literal["add", "cover", "tint"] = "add"
    how: dict[str, float] = Field(default_factory=dict)

    @field_validator("effect")
    @classmethod
    def _known_effect(cls, name: str) -> str:
        plain = "-".join(name.strip().lower().replace("_", " ").split())
        if plain not in EFFECTS:
            raise ValueError(f"unknown effect {name!r}{did_you_mean(plain, EFFECTS)}")
        return plain

    @field_validator("where", "colours", mode="before")
    @classmethod
    def _one_or_many(cls, value: Any) -> Any:
        return (value,) if isinstance(value, str) else value

    @field_validator("colours")
    @classmethod
    def _known_colours(cls, colours: tuple[str, ...]) -> tuple[str, ...]:
        for text in colours:
            linear_colour(text)
        return colours

    @model_validator(mode="after")
    def _known_parameters(self) -> Cue:
        params = EFFECTS[self.effect].params
        for key, value in self.how.items():
            if key not in params:
                tail = did_you_mean(key, params)
                raise ValueError(f"how: effect {self.effect!r} has no parameter {key!r}{tail}")
            param = params[key]
            if not param.lo <= value <= param.hi:
                raise ValueError(f"how.{key} must be {param.lo:g} to {param.hi:g} {param.unit}, got {value:g}")
        return self


@dataclass(frozen=True)
class TimedCue:
    """A cue with its times in seconds from the show's start, and all parameters filled in."""

    number: int
    label: str
    start_s: float
    length_s: float
    fade_in_s: float
    fade_out_s: float
    effect: Effect
    where: tuple[str, ...]
    colours: tuple[str, ...]
    level: float
    lay: str
    how: dict[str, float]
    seed: int

    @property
    def end_s(self) -> float:
        return self.start_s + self.length_s


class Score(TomlModel):
    """The whole of `score.toml`."""

    format: Literal[1] = 1
    show: Show
    music: Music = Music()
    cue: tuple[Cue, ...] = ()

    @cached_property
    def beats(self) -> Beats:
        return self.music.times()

    @cached_property
    def timed(self) -> tuple[TimedCue, ...]:
        """The cues with times resolved, in the order in which they are laid over each other."""
        return tuple(self._timed(number, cue) for number, cue in enumerate(self.cue, start=1))

    @model_validator(mode="after")
    def _times_resolve(self) -> Score:
        # Resolved here, once: a time that cannot be read is then an error of the file.
        _ = self.timed
        return self

    def _timed(self, number: int, cue: Cue) -> TimedCue:
        label = cue_label(number, cue.name)
        start_s = self._read(label, "start", lambda: self.beats.start_s(cue.start))
        if not 0.0 <= start_s < self.show.length_s:
            raise ValueError(
                f"{label}, start: {cue.start!r} is {start_s:.2f} s, but the show lasts from 0 to "
                f"{self.show.length_s:g} s"
            )
        length_s = self.show.length_s - start_s
        if cue.length is not None:
            length_s = self._length(label, "length", cue.length, start_s)
            if length_s <= 0.0:
                raise ValueError(f"{label}, length: must be more than 0, got {cue.length!r}")
        fade_in_s = self._length(label, "fade_in", cue.fade_in, start_s)
        fade_out_s = self._length(label, "fade_out", cue.fade_out, start_s + length_s)
        effect = EFFECTS[cue.effect]
        # The name keeps a cue's chance its own when others are put before it.
        own = cue.name or f"{number}"
        return TimedCue(
            number=number,
            label=label,
            start_s=start_s,
            length_s=length_s,
            fade_in_s=fade_in_s,
            fade_out_s=fade_out_s,
            effect=effect,
            where=cue.where,
            colours=cue.colours or effect.colours,
            level=cue.level,
            lay=cue.lay,
            how=effect.settings(cue.how),
            seed=zlib.crc32(f"{self.show.seed}/{own}/{cue.effect}".encode()),
        )

    def _length(self, label: str, key: str, text: Time, start_s: float) -> float:
        length_s = self._read(label, key, lambda: self.beats.length_s(text, start_s))
        if length_s < 0.0:
            raise ValueError(f"{label}, {key}: must not be negative, got {text!r}")
        return length_s

    @staticmethod
    def _read(label: str, key: str, read: Any) -> float:
        try:
            return float(read())
        except ValueError as error:
            raise ValueError(f"{label}, {key}: {error}") from None


def cue_label(number: int, name: str) -> str:
    """How messages call a cue: `cue 3 "lamps"`."""
    return f'cue {number} "{name}"' if name else f"cue {number}"


def read_score(path: Path) -> Score:
    """Read and check `score.toml`.

    Raises
    ------
    InputError
        Naming the file, the cue, the key, and what is allowed there.
    """
    return parse_score(read_document(path).unwrap(), where=str(path))


def parse_score(data: dict[str, Any], *, where: str) -> Score:
    """A score from plain data, such as a TOML document's; `where` is named in errors."""
    check_format(data.get("format"), newest=SCORE_FORMAT, where=where)
    try:
        return validate(data, Score, where=where)
    except InputError as error:
        raise InputError(_with_cue_names(str(error), data)) from None


def _with_cue_names(text: str, data: dict[str, Any]) -> str:
    """`cue[3].effect` as `cue 3 "lamps", effect`: the name is what a person looks for."""
    cues = data.get("cue")

    def label(match: re.Match[str]) -> str:
        number = int(match[1])
        entry = cues[number - 1] if isinstance(cues, list) and number <= len(cues) else {}
        name = entry.get("name", "") if isinstance(entry, dict) else ""
        return cue_label(number, str(name)) + (", " if match[2] else "")

    return re.sub(r"cue\[(\d+)\](\.?)", label, text)
