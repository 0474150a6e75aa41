"""Draw docs/architecture.svg from the code: the rooms in their layers, and who really imports whom.

Run it after a room was added or its imports changed:  python docs/draw_architecture.py
"""

from __future__ import annotations

import ast
import html
import re
import tomllib
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
SOURCE = ROOT / "src" / "limewash"
WIDTH, MARGIN, BOX_H, GAP_Y = 960, 24, 50, 18
INK, PAPER, FILL, LINE = "#22303c", "#fbf8f2", "#fffdf8", "#8a97a3"


def main() -> None:
    """Write the picture."""
    (ROOT / "docs" / "architecture.svg").write_text(picture(), encoding="utf-8")


def picture() -> str:
    """The SVG text."""
    layers = _layers()
    uses = _uses({room for layer in layers for room in layer})
    boxes = _boxes(layers)
    height = MARGIN * 2 + len(layers) * (BOX_H + GAP_Y) - GAP_Y
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {height}" font-family="sans-serif">',
        "<title>The rooms of Limewash: each uses only rooms below it</title>",
        f'<rect width="{WIDTH}" height="{height}" fill="{PAPER}"/>',
    ]
    for room, (x, y, w) in boxes.items():
        used = ", ".join(sorted(uses[room], key=list(boxes).index)) or "nothing else"
        parts += [
            f'<rect x="{x:g}" y="{y:g}" width="{w:g}" height="{BOX_H}" rx="5" fill="{FILL}" stroke="{LINE}"/>',
            f'<text x="{x + 12:g}" y="{y + 20:g}" font-size="15" font-weight="bold" fill="{INK}">{room}</text>',
            f'<text x="{x + 12:g}" y="{y + 38:g}" font-size="11.5" fill="{INK}">{_what(room, w)}</text>',
        ]
        if len(layers[_layer_of(layers, room)]) == 1:
            parts.append(
                f'<text x="{x + w - 12:g}" y="{y + 20:g}" font-size="11.5" fill="#5d6b77" text-anchor="end">'
                f"uses {used}</text>"
            )
    parts.append("</svg>")
    return "\n".join(parts) + "\n"


def _layers() -> list[list[str]]:
    data = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))
    contract = data["tool"]["importlinter"]["contracts"][0]
    return [[name.strip().removeprefix("limewash.") for name in layer.split("|")] for layer in contract["layers"]]


def _layer_of(layers: list[list[str]], room: str) -> int:
    return next(number for number, layer in enumerate(layers) if room in layer)


def _boxes(layers: list[list[str]]) -> dict[str, tuple[float, float, float]]:
    boxes = {}
    for row, layer in enumerate(layers):
        y = MARGIN + row * (BOX_H + GAP_Y)
        w = (WIDTH - 2 * MARGIN - GAP_Y * (len(layer) - 1)) / len(layer)
        for column, room in enumerate(layer):
            boxes[room] = (MARGIN + column * (w + GAP_Y), y, w)
    return boxes


def _files(room: str) -> list[Path]:
    single = SOURCE / f"{room}.py"
    return [single] if single.is_file() else sorted((SOURCE / room).rglob("*.py"))


def _uses(rooms: set[str]) -> dict[str, set[str]]:
    pattern = re.compile(r"^\s*(?:from|import) limewash\.(\w+)", re.MULTILINE)
    return {
        room: {found for path in _files(room) for found in pattern.findall(path.read_text("utf-8")) if found in rooms}
        - {room}
        for room in rooms
    }


def _what(room: str, width: float) -> str:
    """First line of the room's docstring, cut to its box."""
    tree = ast.parse(_files(room)[0].read_text("utf-8"))
    line = (ast.get_docstring(tree) or "").splitlines()[0]
    room_for = int((width - 24) / 5.9)
    return html.escape(line if len(line) <= room_for else line[: room_for - 1] + "…")


if __name__ == "__main__":
    main()
