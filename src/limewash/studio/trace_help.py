"""Help for drawing: snapping, proposals, measuring."""

from __future__ import annotations

from fastapi import APIRouter

router = APIRouter(prefix="/api/trace", tags=["trace"])
