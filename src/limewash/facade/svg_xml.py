"""Reading an SVG file's XML without trusting it."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from xml.etree import ElementTree
from xml.parsers import expat

from limewash.errors import InputError

SVG = "http://www.w3.org/2000/svg"
XLINK = "http://www.w3.org/1999/xlink"

MOST_BYTES = 128 * 1024 * 1024
MOST_ELEMENTS = 200_000
MOST_DEPTH = 200
MOST_ENTITY = 1000

Element = ElementTree.Element


@dataclass(frozen=True)
class Document:
    """A parsed file: its root and the line on which each element begins (by `id()` of the element)."""

    root: Element
    lines: dict[int, int]

    def line(self, element: Element) -> int:
        return self.lines.get(id(element), 0)


def local_name(tag: str) -> str:
    """Name without its namespace."""
    return tag.rpartition("}")[2]


def is_svg(element: Element, name: str) -> bool:
    """Whether this is the SVG element of that name (files without any namespace are taken as SVG)."""
    return element.tag in (name, f"{{{SVG}}}{name}")


def read_document(path: Path) -> Document:
    """Parse an SVG file.

    Nothing outside the file is ever opened. Entities are refused unless they are short plain text of the
    file's own (some editors write their namespaces so).

    Raises
    ------
    InputError
        If the file is missing, too large, damaged (with line and column), hostile, or no SVG.
    """
    data = _bytes_of(path)
    if data[:2] == b"\x1f\x8b":
        raise InputError(f"{path} is a compressed SVG; save it as plain SVG and try again")
    if b"<" not in data[:4096]:
        raise InputError(f"{path} is not an SVG file; save the drawing as plain SVG from the vector editor")
    parse = _Parse(path)
    parse.feed(data)
    document = parse.document()
    if not is_svg(document.root, "svg"):
        raise InputError(f"{path} is not an SVG file: its outermost element is <{local_name(document.root.tag)}>")
    return document


def _bytes_of(path: Path) -> bytes:
    if path.is_dir():
        raise InputError(f"{path} is a folder; give the SVG file that was drawn over the photo")
    if not path.is_file():
        raise InputError(f"{path} does not exist; give the SVG file that was drawn over the photo")
    size = path.stat().st_size
    if size == 0:
        raise InputError(f"{path} is empty; save the drawing again as plain SVG")
    if size > MOST_BYTES:
        raise InputError(
            f"{path} has {size / 1e6:.0f} MB, allowed are {MOST_BYTES / 1e6:.0f}; link the photo, do not embed it"
        )
    try:
        return path.read_bytes()
    except OSError as error:
        raise InputError(f"cannot read {path}: {error.strerror}") from error


@dataclass
class _Parse:
    """One pass of expat into an element tree, with limits."""

    path: Path
    builder: ElementTree.TreeBuilder = field(default_factory=ElementTree.TreeBuilder)
    lines: dict[int, int] = field(default_factory=dict)
    depth: int = 0

    def __post_init__(self) -> None:
        self.parser = expat.ParserCreate(namespace_separator="}")
        self.parser.buffer_text = True
        self.parser.StartElementHandler = self._start
        self.parser.EndElementHandler = self._end
        self.parser.CharacterDataHandler = self.builder.data
        self.parser.EntityDeclHandler = self._entity
        self.parser.ExternalEntityRefHandler = self._external

    def feed(self, data: bytes) -> None:
        try:
            self.parser.Parse(data, True)
        except expat.ExpatError as error:
            raise InputError(
                f"{self.path} is damaged at line {error.lineno}, column {error.offset + 1} "
                f"({expat.ErrorString(error.code)}); save it again as plain SVG"
            ) from None
        except (ValueError, LookupError) as error:
            if isinstance(error, InputError):
                raise
            raise InputError(f"{self.path} is damaged ({error}); save it again as plain SVG") from None

    def document(self) -> Document:
        return Document(self.builder.close(), self.lines)

    def _start(self, tag: str, attributes: dict[str, str]) -> None:
        self.depth += 1
        if self.depth > MOST_DEPTH:
            raise InputError(f"{self.path} nests its groups deeper than {MOST_DEPTH} levels; ungroup and save again")
        element = self.builder.start(_clark(tag), {_clark(k): v for k, v in attributes.items()})
        self.lines[id(element)] = self.parser.CurrentLineNumber
        if len(self.lines) > MOST_ELEMENTS:
            raise InputError(f"{self.path} has more than {MOST_ELEMENTS} elements; remove what is not the tracing")

    def _end(self, tag: str) -> None:
        self.depth -= 1
        self.builder.end(_clark(tag))

    def _entity(
        self,
        name: str,
        is_parameter: bool,
        value: str | None,
        _base: str | None,
        _system: str | None,
        _public: str | None,
        _notation: str | None,
    ) -> None:
        # A declared value that holds "&" could grow without end; one that is outside the file has no value here.
        if is_parameter or value is None or "&" in value or len(value) > MOST_ENTITY:
            raise InputError(f"{self.path} declares the entity {name!r}, which is not allowed; save it as plain SVG")

    def _external(self, *_names: str | None) -> int:
        raise InputError(f"{self.path} refers to another file by an entity, which is not allowed; save it as plain SVG")


def _clark(name: str) -> str:
    """expat's "uri}name" as ElementTree's "{uri}name"."""
    return "{" + name if "}" in name else name
