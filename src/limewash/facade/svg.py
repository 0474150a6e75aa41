"""`tracing.svg` and other SVG drawings of the house front: the public part."""

from __future__ import annotations

from limewash.facade.svg_read import import_svg, read_tracing
from limewash.facade.svg_write import tracing_svg, write_tracing

__all__ = ["import_svg", "read_tracing", "tracing_svg", "write_tracing"]
