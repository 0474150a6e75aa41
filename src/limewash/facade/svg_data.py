"""SVG path data: the text of a path's `d` attribute."""

from __future__ import annotations

import re
from dataclasses import dataclass, field

from limewash.errors import InputError
from limewash.geometry.path import Arc, Cubic, Line, Path2, Point, Segment
from limewash.geometry.path_arc import tidy_arc

_NUMBER = re.compile(r"[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?")
_SPACE = re.compile(r"[\s,]*")
_COMMANDS = "MmLlHhVvCcSsQqTtAaZz"
MOST_SEGMENTS = 200_000
LARGEST = 1e9
"""No coordinate of a drawing is larger; beyond it sums could lose their meaning. [user units]"""


def parse_path_data(text: str) -> list[Path2]:
    """Read path data into one path per subpath; quadratic curves become cubic ones.

    Segments that go nowhere are left out, and so are subpaths without any segment.

    Raises
    ------
    InputError
        At the first character that does not belong, with its position.

    References
    ----------
    .. [1] W3C, Scalable Vector Graphics (SVG) 2, section 9.3 "Path data" (cited from memory).
    """
    scan, pen = _Scan(text), _Pen()
    command = ""
    while not scan.done():
        letter = scan.letter()
        if letter:
            command = letter
        elif command == "" or command in "Zz":
            raise scan.fault("a command letter is missing")
        elif command in "Mm":
            command = "L" if command == "M" else "l"  # further points of a move are lines
        if pen.at_beginning and command not in "Mm":
            raise scan.fault("path data must begin with M")
        _STEPS[command.upper()](scan, pen, command.islower())
        if pen.count > MOST_SEGMENTS:
            raise scan.fault(f"more than {MOST_SEGMENTS} segments; simplify the path")
    pen.lift(closed=False)
    return pen.paths


def format_path_data(path: Path2) -> str:
    """Path data of one path, with the shortest decimals that read back as exactly the same numbers."""
    words = [f"M {_pair(path.start)}"]
    segments = path.segments
    if path.closed and isinstance(segments[-1], Line):
        segments = segments[:-1]  # Z draws it
    for segment in segments:
        if isinstance(segment, Line):
            words.append(f"L {_pair(segment.end)}")
        elif isinstance(segment, Cubic):
            words.append(f"C {_pair(segment.control1)} {_pair(segment.control2)} {_pair(segment.end)}")
        else:
            flags = f"{number(segment.rotation_deg)} {int(segment.large)} {int(segment.sweep)}"
            words.append(f"A {_pair(segment.radius)} {flags} {_pair(segment.end)}")
    return " ".join([*words, "Z"] if path.closed else words)


def number(value: float) -> str:
    """Shortest decimal that reads back as the same float; whole numbers without a point."""
    text = repr(float(value))
    return text.removesuffix(".0")


def _pair(point: Point) -> str:
    return f"{number(point[0])},{number(point[1])}"


@dataclass
class _Scan:
    """A cursor over path data."""

    text: str
    at: int = 0

    def done(self) -> bool:
        self._skip()
        return self.at >= len(self.text)

    def letter(self) -> str:
        """The command at the cursor, or nothing if a number follows."""
        self._skip()
        here = self.text[self.at]
        if here in _COMMANDS:
            self.at += 1
            return here
        if _NUMBER.match(self.text, self.at) is None:
            raise self.fault(f"unexpected {here!r}")
        return ""

    def number(self) -> float:
        self._skip()
        found = _NUMBER.match(self.text, self.at)
        if found is None:
            raise self.fault("a number is missing")
        value = float(found.group())
        if abs(value) > LARGEST:
            raise self.fault("a number is too large")
        self.at = found.end()
        return value

    def flag(self) -> bool:
        """An arc flag: one character, which needs no space behind it."""
        self._skip()
        here = self.text[self.at : self.at + 1]
        if here not in ("0", "1"):
            raise self.fault("an arc flag must be 0 or 1")
        self.at += 1
        return here == "1"

    def point(self, origin: Point) -> Point:
        x, y = self.number(), self.number()
        return origin[0] + x, origin[1] + y

    def fault(self, what: str) -> InputError:
        return InputError(f"path data, character {self.at + 1}: {what}")

    def _skip(self) -> None:
        found = _SPACE.match(self.text, self.at)
        self.at = found.end() if found else self.at


@dataclass
class _Pen:
    """What has been drawn so far."""

    paths: list[Path2] = field(default_factory=list)
    segments: list[Segment] = field(default_factory=list)
    start: Point = (0.0, 0.0)
    here: Point = (0.0, 0.0)
    handle: Point | None = None
    handle_of: str = ""
    at_beginning: bool = True
    count: int = 0

    def origin(self, relative: bool) -> Point:
        return self.here if relative else (0.0, 0.0)

    def reflected(self, family: str) -> Point:
        """The mirror image of the last control point if the last command was of that family."""
        if self.handle is None or self.handle_of != family:
            return self.here
        return 2.0 * self.here[0] - self.handle[0], 2.0 * self.here[1] - self.handle[1]

    def draw(self, segment: Segment | None, handle: Point | None = None, family: str = "") -> None:
        if segment is not None:
            self.segments.append(segment)
            self.here = segment.end
            self.count += 1
        self.handle, self.handle_of = handle, family

    def lift(self, *, closed: bool) -> None:
        if closed and self.here != self.start:
            self.segments.append(Line(self.here, self.start))
        if self.segments:
            self.paths.append(Path2(tuple(self.segments), closed))
        self.segments, self.handle = [], None
        if closed:
            self.here = self.start


def _move(scan: _Scan, pen: _Pen, relative: bool) -> None:
    pen.lift(closed=False)
    pen.here = pen.start = scan.point(pen.origin(relative))
    pen.at_beginning = False


def _line(scan: _Scan, pen: _Pen, relative: bool) -> None:
    _line_to(pen, scan.point(pen.origin(relative)))


def _across(scan: _Scan, pen: _Pen, relative: bool) -> None:
    _line_to(pen, (scan.number() + pen.origin(relative)[0], pen.here[1]))


def _down(scan: _Scan, pen: _Pen, relative: bool) -> None:
    _line_to(pen, (pen.here[0], scan.number() + pen.origin(relative)[1]))


def _line_to(pen: _Pen, end: Point) -> None:
    pen.draw(Line(pen.here, end) if end != pen.here else None)


def _cubic(scan: _Scan, pen: _Pen, relative: bool) -> None:
    origin = pen.origin(relative)
    first = scan.point(origin)
    _cubic_to(pen, first, scan.point(origin), scan.point(origin))


def _smooth_cubic(scan: _Scan, pen: _Pen, relative: bool) -> None:
    origin = pen.origin(relative)
    _cubic_to(pen, pen.reflected("C"), scan.point(origin), scan.point(origin))


def _cubic_to(pen: _Pen, control1: Point, control2: Point, end: Point) -> None:
    moves = not control1 == control2 == end == pen.here
    pen.draw(Cubic(pen.here, control1, control2, end) if moves else None, control2, "C")


def _quadratic(scan: _Scan, pen: _Pen, relative: bool) -> None:
    origin = pen.origin(relative)
    control = scan.point(origin)
    _quadratic_to(pen, control, scan.point(origin))


def _smooth_quadratic(scan: _Scan, pen: _Pen, relative: bool) -> None:
    _quadratic_to(pen, pen.reflected("Q"), scan.point(pen.origin(relative)))


def _quadratic_to(pen: _Pen, control: Point, end: Point) -> None:
    (x0, y0), (cx, cy), (x1, y1) = pen.here, control, end
    if pen.here == control == end:
        pen.draw(None, control, "Q")
        return
    first = (x0 + 2.0 * (cx - x0) / 3.0, y0 + 2.0 * (cy - y0) / 3.0)
    second = (x1 + 2.0 * (cx - x1) / 3.0, y1 + 2.0 * (cy - y1) / 3.0)
    pen.draw(Cubic(pen.here, first, second, end), control, "Q")


def _arc(scan: _Scan, pen: _Pen, relative: bool) -> None:
    radius = (scan.number(), scan.number())
    rotation_deg = scan.number()
    large, sweep = scan.flag(), scan.flag()
    end = scan.point(pen.origin(relative))
    pen.draw(tidy_arc(Arc(pen.here, end, radius, rotation_deg, large, sweep)))


def _close(_scan: _Scan, pen: _Pen, _relative: bool) -> None:
    pen.lift(closed=True)


_STEPS = {
    "M": _move,
    "L": _line,
    "H": _across,
    "V": _down,
    "C": _cubic,
    "S": _smooth_cubic,
    "Q": _quadratic,
    "T": _smooth_quadratic,
    "A": _arc,
    "Z": _close,
}
