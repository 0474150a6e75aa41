"""Walking an SVG document: every visible drawn path in page pixels, with the words written on it and above it."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import TypeVar

from limewash.errors import InputError
from limewash.facade.svg_place import Matrix, Rectangle, fit, parse_transform, parse_view_box, translation
from limewash.facade.svg_shapes import SHAPES, Viewport, length, shape_paths
from limewash.facade.svg_xml import SVG, XLINK, Document, Element, is_svg, local_name
from limewash.geometry.path import Path2

T = TypeVar("T")

MOST_SHAPES = 5_000
MOST_LEVELS = 100

_GROUPS = ("g", "a", "switch")
_SILENT = ("text", "foreignObject")


@dataclass(frozen=True)
class DrawnPath:
    """One subpath of a drawn element.

    Attributes
    ----------
    id, title : str
        As in the file; empty if not given.
    path : Path2
        In the element's own units.
    matrix : ndarray of shape (3, 3)
        From there to page pixels.
    own, above : tuple of str
        Words on the element itself (id, title, label, classes), and on its groups from the inside out.
    data : dict
        `data-kind`, `data-surface` and `data-locked`, the nearest given on the element or its groups.
    group : str
        Title of the nearest group that has one, else empty.
    line : int
        Line of the file.
    """

    id: str
    title: str
    path: Path2
    matrix: Matrix
    own: tuple[str, ...]
    above: tuple[str, ...]
    data: dict[str, str]
    group: str
    line: int

    @property
    def where(self) -> str:
        return f"path {self.id!r} (line {self.line})" if self.id else f"path on line {self.line}"


@dataclass(frozen=True)
class PlacedImage:
    """An image in the drawing: its rectangle in user units, and the matrix from there to page pixels."""

    id: str
    frame: Rectangle
    preserve: str
    matrix: Matrix
    visible: bool


@dataclass
class Drawing:
    """What a document holds.

    Attributes
    ----------
    page : (float, float) or None
        Size of the page; None if the file does not say. [px]
    """

    page: tuple[float, float] | None
    paths: list[DrawnPath] = field(default_factory=list)
    images: list[PlacedImage] = field(default_factory=list)
    notices: list[str] = field(default_factory=list)


@dataclass(frozen=True)
class _Place:
    """What an element inherits."""

    matrix: Matrix
    view: Viewport
    shown: bool = True  # display: none hides for good
    visible: bool = True  # visibility can be set back
    above: tuple[str, ...] = ()
    data: dict[str, str] = field(default_factory=dict)
    group: str = ""
    used: tuple[int, ...] = ()
    level: int = 0


def walk(document: Document) -> Drawing:
    """Collect what a document draws.

    Hidden elements and definitions are left out (hidden images are kept: a person may hide the photo's layer
    before saving).

    Raises
    ------
    InputError
        With the line of the element that cannot be read.
    """
    return _Walk(document).run()


class _Walk:
    def __init__(self, document: Document) -> None:
        self.document = document
        self.by_id = {element.get("id"): element for element in document.root.iter() if element.get("id")}
        self.hidden_classes = _hidden_classes(document.root)
        self.shapes = 0

    def run(self) -> Drawing:
        root = self.document.root
        view_box = self._told(root, lambda: parse_view_box(root.get("viewBox", ""))) if root.get("viewBox") else None
        page = self._told(root, lambda: _page_size(root, view_box))
        self.drawing = Drawing(page)
        size = page or (0.0, 0.0)
        matrix, view = translation(0.0, 0.0), Viewport(*size)
        if view_box is not None and page is not None:
            into, box = Rectangle(0.0, 0.0, *page), view_box
            matrix = self._told(root, lambda: fit(box, into, root.get("preserveAspectRatio", "xMidYMid")))
            view = Viewport(box.width, box.height)
        self._children(root, _Place(matrix, view))
        return self.drawing

    def _children(self, element: Element, place: _Place) -> None:
        if place.level > MOST_LEVELS:
            raise InputError(f"line {self.document.line(element)}: groups are nested too deep; ungroup and save again")
        for child in element:
            self._told(child, lambda child=child: self._visit(child, place))  # type: ignore[misc]

    def _visit(self, element: Element, place: _Place) -> None:
        name = local_name(element.tag)
        if not is_svg(element, name):
            return
        style = _style(element)
        here = self._here(element, style, place)
        if name == "image":
            self._image(element, here)
        elif not here.shown and name not in _GROUPS:
            return
        elif name in _GROUPS:
            self._children(element, self._inside(element, here))
        elif name == "svg":
            self._nested(element, here)
        elif name == "use":
            self._use(element, here)
        elif name in SHAPES and here.visible:
            self._shape(element, name, here)
        elif name in _SILENT and here.visible:
            self.drawing.notices.append(
                f"line {self.document.line(element)}: <{name}> is left out; turn text into paths"
            )

    def _here(self, element: Element, style: dict[str, str], place: _Place) -> _Place:
        hidden = style.get("display") == "none" or bool(self.hidden_classes & set(element.get("class", "").split()))
        visibility = style.get("visibility", "inherit")
        visible = place.visible if visibility == "inherit" else visibility == "visible"
        transform = style.get("transform") or element.get("transform")
        matrix = place.matrix @ parse_transform(_css_free(transform)) if transform else place.matrix
        return replace(place, matrix=matrix, shown=place.shown and not hidden, visible=visible, level=place.level + 1)

    def _inside(self, element: Element, here: _Place) -> _Place:
        """What the children of a group inherit: its words too."""
        group = _title(element) or here.group
        return replace(here, above=_words(element) + here.above, data={**here.data, **_data(element)}, group=group)

    def _shape(self, element: Element, name: str, here: _Place) -> None:
        self.shapes += 1
        if self.shapes > MOST_SHAPES:
            raise InputError(f"more than {MOST_SHAPES} shapes; hide or remove what is not the tracing")
        for path in shape_paths(element, name, here.view):
            self.drawing.paths.append(
                DrawnPath(
                    id=element.get("id", ""),
                    title=_title(element),
                    path=path,
                    matrix=here.matrix,
                    own=_words(element),
                    above=here.above,
                    data={**here.data, **_data(element)},
                    group=here.group,
                    line=self.document.line(element),
                )
            )

    def _image(self, element: Element, here: _Place) -> None:
        width, height = length(element, "width", here.view.width), length(element, "height", here.view.height)
        if width <= 0.0 or height <= 0.0:
            return
        frame = Rectangle(length(element, "x", here.view.width), length(element, "y", here.view.height), width, height)
        preserve = element.get("preserveAspectRatio", "xMidYMid")
        shown = here.shown and here.visible
        self.drawing.images.append(PlacedImage(element.get("id", ""), frame, preserve, here.matrix, shown))

    def _nested(self, element: Element, here: _Place, width: str = "100%", height: str = "100%") -> None:
        """A view inside the drawing: <svg>, or <symbol> where it is used."""
        view = here.view
        into = Rectangle(
            length(element, "x", view.width),
            length(element, "y", view.height),
            length(element, "width", view.width, width),
            length(element, "height", view.height, height),
        )
        if into.width <= 0.0 or into.height <= 0.0:
            return
        matrix, inner = translation(into.x, into.y), Viewport(into.width, into.height)
        if element.get("viewBox"):
            box = parse_view_box(element.get("viewBox", ""))
            matrix = fit(box, into, element.get("preserveAspectRatio", "xMidYMid"))
            inner = Viewport(box.width, box.height)
        self._children(element, self._inside(element, replace(here, matrix=here.matrix @ matrix, view=inner)))

    def _use(self, element: Element, here: _Place) -> None:
        name = element.get("href") or element.get(f"{{{XLINK}}}href") or ""
        target = self.by_id.get(name.removeprefix("#"))
        if target is None or not name.startswith("#"):
            raise InputError(f"<use> refers to {name!r}, which is not in this file")
        if id(target) in here.used:
            raise InputError(f"<use> of {name!r} contains itself")
        shift = translation(length(element, "x", here.view.width), length(element, "y", here.view.height))
        inside = replace(self._inside(element, here), matrix=here.matrix @ shift, used=(*here.used, id(target)))
        if is_svg(target, "symbol"):
            self._nested(target, inside, element.get("width", "100%"), element.get("height", "100%"))
        else:
            self._visit(target, inside)

    def _told(self, element: Element, act: Callable[[], T]) -> T:
        """Do something; a fault gets the element's line, once."""
        try:
            return act()
        except InputError as error:
            text = str(error)
            if re.match(r"line \d+", text):
                raise
            name = element.get("id")
            where = f"line {self.document.line(element)}, <{local_name(element.tag)}>" + (f" {name!r}" if name else "")
            raise InputError(f"{where}: {text}") from None


def _page_size(root: Element, view_box: Rectangle | None) -> tuple[float, float] | None:
    """The page in px: from width and height, else from the view box at one px a unit."""
    ratio = view_box.width / view_box.height if view_box else None
    whole = (view_box.width, view_box.height) if view_box else None
    given = {k: root.get(k, "").strip() for k in ("width", "height")}
    known = {k: v for k, v in given.items() if v and v != "auto" and not v.endswith("%")}
    width = length(root, "width", 0.0) if "width" in known else None
    height = length(root, "height", 0.0) if "height" in known else None
    if (width is not None and width <= 0.0) or (height is not None and height <= 0.0):
        raise InputError("the page's width and height must be > 0")
    if width is not None and height is not None:
        return width, height
    if ratio is not None and width is not None:
        return width, width / ratio
    if ratio is not None and height is not None:
        return height * ratio, height
    return whole


def _style(element: Element) -> dict[str, str]:
    """Properties that decide about being seen and placed; the style attribute wins over the plain ones."""
    style = {k: v for k in ("display", "visibility") if (v := element.get(k))}
    for rule in element.get("style", "").split(";"):
        key, colon, value = rule.partition(":")
        if colon and key.strip() in ("display", "visibility", "transform"):
            style[key.strip()] = value.strip()
    return style


def _css_free(transform: str) -> str:
    """CSS writes units into transforms; px and deg are SVG's own units without a name."""
    return re.sub(r"(?<=[\d.])(px|deg)\b", "", transform)


def _hidden_classes(root: Element) -> set[str]:
    """Class names that the file's own style sheets do not display."""
    sheets = " ".join("".join(e.itertext()) for e in root.iter() if is_svg(e, "style"))
    hidden: set[str] = set()
    for selectors, body in re.findall(r"([^{}]+)\{([^{}]*)\}", sheets):
        if re.search(r"display\s*:\s*none", body):
            hidden.update(re.findall(r"\.([\w-]+)\s*(?=,|$)", selectors.strip()))
    return hidden


def _title(element: Element) -> str:
    for child in element:
        if child.tag in ("title", f"{{{SVG}}}title"):
            return " ".join("".join(child.itertext()).split())
    return next(iter(_labels(element)), "")


def _labels(element: Element) -> list[str]:
    """Names given in an editor's layer list: attributes named `label` of whatever namespace, or `data-name`."""
    return [v.strip() for k, v in element.items() if local_name(k) in ("label", "data-name") and v.strip()]


def _words(element: Element) -> tuple[str, ...]:
    return tuple(w for w in (_title(element), *_labels(element), element.get("id", ""), element.get("class", "")) if w)


def _data(element: Element) -> dict[str, str]:
    return {k: v for k in ("data-kind", "data-surface", "data-locked") if (v := element.get(k)) is not None}
