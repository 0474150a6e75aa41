"""TOML files read into pydantic models, with errors that a person can act on."""

from __future__ import annotations

import types
import typing
from pathlib import Path
from typing import Any, TypeVar

import pydantic
import tomlkit
import tomlkit.exceptions
from pydantic import BaseModel, ConfigDict

from limewash.errors import InputError, did_you_mean

M = TypeVar("M", bound="TomlModel")


class TomlModel(BaseModel):
    """Base of all that is read from TOML: unknown keys are refused, values cannot change unseen."""

    model_config = ConfigDict(extra="forbid", frozen=True, use_attribute_docstrings=True)


def read_document(path: Path) -> tomlkit.TOMLDocument:
    """Read a TOML file, comments and all.

    Raises
    ------
    InputError
        If it is missing, cannot be read, is not UTF-8, or is not TOML (with line and column).
    """
    try:
        return tomlkit.parse(path.read_text(encoding="utf-8-sig"))
    except FileNotFoundError:
        raise InputError(f"{path} does not exist") from None
    except UnicodeDecodeError as error:
        raise InputError(f"{path} must be UTF-8 text, but byte {error.start} is not; save it as UTF-8") from None
    except OSError as error:
        raise InputError(f"cannot read {path}: {error.strerror}") from error
    except tomlkit.exceptions.ParseError as error:
        raise InputError(f"{path} is not valid TOML, line {error.line}: {error}") from None
    except tomlkit.exceptions.TOMLKitError as error:  # a key or table that is given twice
        raise InputError(f"{path} is not valid TOML: {error} Keep one of the two") from None


def read_model(path: Path, model: type[M], *, newest_format: int) -> M:
    """Read and check a TOML file that carries a `format` number.

    Raises
    ------
    InputError
        Naming the file, the key, and what is allowed there; or that the file is of a newer format.
    """
    data = read_document(path).unwrap()
    check_format(data.get("format"), newest=newest_format, where=str(path))
    return validate(data, model, where=str(path))


def check_format(found: object, *, newest: int, where: str) -> None:
    """Refuse a missing, odd or newer format number."""
    if not isinstance(found, int) or isinstance(found, bool) or found < 1:
        got = "it is missing" if found is None else f"got {found!r}"
        raise InputError(f"{where}: format must be a whole number from 1 to {newest}; {got}: write format = {newest}")
    if found > newest:
        raise InputError(
            f"{where} has format {found}, but this Limewash reads only up to {newest}; "
            "install a newer Limewash to open it (nothing was changed)"
        )


def validate(data: dict[str, Any], model: type[M], *, where: str) -> M:
    """Check plain data against a model; the InputError lists every fault, one a line."""
    try:
        return model.model_validate(data)
    except pydantic.ValidationError as error:
        faults = [_fault(fault, model) for fault in _causes(error.errors())]
        raise InputError("\n".join(f"{where}: {fault}" for fault in faults)) from None


def _causes(faults: list[Any]) -> list[Any]:
    """Without lists that are called too short only because one of their items has a fault of its own."""
    places = [tuple(fault["loc"]) for fault in faults]

    def has_inner(fault: Any) -> bool:
        at = tuple(fault["loc"])
        return any(len(place) > len(at) and place[: len(at)] == at for place in places)

    return [fault for fault in faults if fault["type"] != "too_short" or not has_inner(fault)]


def _fault(fault: Any, model: type[BaseModel]) -> str:
    location: tuple[str | int, ...] = fault["loc"]
    key = _key_text(location)
    kind, given = fault["type"], fault["input"]
    if kind == "extra_forbidden":
        fields = _fields_at(model, location[:-1])
        return f"unknown key {key!r}{did_you_mean(str(location[-1]), fields)}"
    if kind == "missing":
        return f"{key!r} is missing; it must be given"
    if kind == "too_short":
        return f"{key} must have at least {fault['ctx']['min_length']} entries (got {len(given)})"
    message = str(fault["msg"]).removeprefix("Value error, ")
    if kind == "value_error":
        return f"{key} {message}" if message.startswith("must ") else f"{key}: {message}".removeprefix(": ")
    if kind == "tuple_type" and isinstance(given, dict) and not any(isinstance(part, int) for part in location):
        must = f"be a list of tables: write [[{key}]] with two brackets, not [{key}]"
    elif kind.startswith("string_too_"):
        must = message.removeprefix("String should ")
    else:
        must = f"be {message.removeprefix('Input should be ')}"
    return f"{key} must {must} (got {given!r})"


def _key_text(location: tuple[str | int, ...]) -> str:
    """`("rig", 0, "projector")` as `rig[1].projector`: people count from one."""
    text = ""
    for part in location:
        text += f"[{part + 1}]" if isinstance(part, int) else (f".{part}" if text else part)
    return text


def _fields_at(model: type[BaseModel], location: tuple[str | int, ...]) -> list[str]:
    """Names allowed at a place inside a model, for the 'did you mean' tail."""
    at: Any = model
    for part in location:
        if isinstance(part, str) and isinstance(at, type) and issubclass(at, BaseModel):
            info = next((f for name, f in at.model_fields.items() if part in (name, f.alias)), None)
            at = _model_in(info.annotation) if info else None
    if isinstance(at, type) and issubclass(at, BaseModel):
        return [info.alias or name for name, info in at.model_fields.items()]
    return []


def _model_in(annotation: Any) -> Any:
    """The model inside `Model`, `Model | None`, `list[Model]` or `tuple[Model, ...]`."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    if typing.get_origin(annotation) in (list, tuple, typing.Union, types.UnionType):
        for inner in typing.get_args(annotation):
            found = _model_in(inner)
            if found is not None:
                return found
    return None
