"""What a scan learnt about the chain of player, projector and phone, in plain words with numbers."""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any, Literal, get_args

from limewash.errors import InputError
from limewash.files import write_text

FORMAT = 1

Severity = Literal["good", "note", "warning"]


@dataclass(frozen=True)
class Finding:
    """One thing that was found.

    Attributes
    ----------
    code : str
        Short name that stays the same, such as ``"camera-moved"``.
    severity : str
        "good" (as it should be), "note" (worth knowing), "warning" (costs accuracy or coverage).
    text : str
        What was found, with its numbers.
    remedy : str
        What to do about it; empty where nothing is to be done.
    numbers : dict of str to float
        The figures, units in their names.
    """

    code: str
    severity: Severity
    text: str
    remedy: str = ""
    numbers: dict[str, float] = field(default_factory=dict)


@dataclass(frozen=True)
class Findings:
    """All findings of a scan, the warnings first."""

    items: tuple[Finding, ...] = ()

    @classmethod
    def sorted(cls, items: list[Finding]) -> Findings:
        order = {"warning": 0, "note": 1, "good": 2}
        return cls(tuple(sorted(items, key=lambda item: order[item.severity])))

    @property
    def warnings(self) -> tuple[Finding, ...]:
        return tuple(item for item in self.items if item.severity == "warning")

    def to_json(self) -> dict[str, Any]:
        """Plain data for a JSON file; `from_json` is its inverse."""
        return {"format": FORMAT, "findings": [asdict(item) for item in self.items]}

    @classmethod
    def from_json(cls, data: dict[str, Any]) -> Findings:
        """Read what `to_json` gave. Raises InputError if it is something else or of a newer format."""
        try:
            if int(data["format"]) > FORMAT:
                raise InputError(
                    f"the findings have format {data['format']}, this Limewash reads up to {FORMAT}: "
                    "install a newer one"
                )
            items = tuple(Finding(**item) for item in data["findings"])
            for item in items:
                if item.severity not in get_args(Severity) or not isinstance(item.text, str):
                    raise ValueError(f"{item.code}: {item.severity!r}")
            return cls(items)
        except InputError:
            raise
        except (KeyError, TypeError, AttributeError, ValueError) as error:
            raise InputError(f"these are no findings of a scan ({error}); scan again") from error


def save_findings(path: Path, findings: Findings) -> None:
    """Write `findings.json`."""
    write_text(path, json.dumps(findings.to_json(), indent=2, ensure_ascii=False) + "\n")


def load_findings(path: Path) -> Findings:
    """Read `findings.json`. Raises InputError if it is missing or damaged."""
    try:
        data = json.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError as error:
        raise InputError(f"{path} does not exist; make it with 'limewash scan read CLIP --project ...'") from error
    except (OSError, ValueError) as error:
        raise InputError(f"{path} cannot be read as findings ({error}); scan again") from error
    try:
        return Findings.from_json(data)
    except InputError as error:
        raise InputError(f"{path}: {error}") from error
