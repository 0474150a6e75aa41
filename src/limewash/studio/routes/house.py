"""The settings of the project, and the schema that its forms are made from."""

from __future__ import annotations

from functools import lru_cache
from typing import Any

from fastapi import APIRouter

from limewash.light.materials import REFLECTANCES
from limewash.project.models import House
from limewash.studio.house_desk import HouseChange, HouseState
from limewash.studio.routes.common import TheDesk
from limewash.studio.wire import Fault, FormConflict, Seen

router = APIRouter(prefix="/api/house", tags=["house"], responses={409: {"model": FormConflict}, 422: {"model": Fault}})


@router.get("")
def read_house(desk: TheDesk) -> HouseState:
    """All settings."""
    return desk.house.state()


@router.get("/schema")
def house_schema() -> dict[str, Any]:
    """JSON Schema of the settings, with bounds, units and meanings."""
    return _schema()


@router.put("")
def change_house(change: HouseChange, desk: TheDesk) -> HouseState:
    """Take a form's values, with what other windows changed meanwhile; every fault is told at its field."""
    return desk.house.change(change)


@router.post("/undo")
def undo_house(seen: Seen, desk: TheDesk) -> HouseState:
    """Take back the last step."""
    return desk.house.travel(seen.revision, "undo")


@router.post("/redo")
def redo_house(seen: Seen, desk: TheDesk) -> HouseState:
    """Do the last undone step again."""
    return desk.house.travel(seen.revision, "redo")


@lru_cache(maxsize=1)
def _schema() -> dict[str, Any]:
    schema = House.model_json_schema()
    schema["materials"] = sorted(REFLECTANCES)
    return schema
