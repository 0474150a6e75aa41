"""SVG drawn over the photo, read as a tracing."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np

from limewash.errors import InputError
from limewash.facade.svg_kinds import kind_from_words
from limewash.facade.svg_place import Matrix, Rectangle, fit, parse_numbers
from limewash.facade.svg_walk import Drawing, DrawnPath, PlacedImage, walk
from limewash.facade.svg_write import FORMAT
from limewash.facade.svg_xml import Document, Element, is_svg, read_document
from limewash.facade.tracing import Kind, Traced, Tracing, parse_kind, parse_surface
from limewash.geometry.path import Line, Path2
from limewash.geometry.path_measure import bounding_box
from limewash.geometry.path_transform import transform_path

Size = tuple[int, int]
Notice = Callable[[str], None]

CLOSE_PX = 1e-3
"""Points nearer than this are one point."""
GAP_PX = 0.5
"""An imported path whose ends are nearer than this was meant to be closed."""
MARGIN_PX = 1.0
"""How far a path may reach beyond the photo's edge: hands slip."""
ASPECT_TOLERANCE = 0.01


def read_tracing(path: Path) -> Tracing:
    """Read `tracing.svg`, whether we wrote it or a vector editor has saved it since.

    Raises
    ------
    InputError
        If it is missing, damaged, no SVG, of a newer format, does not tell the photo's size, has an unknown
        kind, or a path outside the photo.
    """
    document = read_document(path)
    version = document.root.get("data-format", "1")
    if not version.isdigit() or int(version) > FORMAT:
        raise InputError(f"{path} has format {version}; this Limewash reads up to {FORMAT}: install a newer one")
    size = _photo_size(document, path)
    return _tracing(path, document, size, notice=_ignore, gap_px=CLOSE_PX)


def import_svg(path: Path, photo_size: Size, *, notice: Notice | None = None) -> Tracing:
    """Read a plain SVG that any vector editor drew over the photo.

    The kind of each path is its `data-kind`, else told from the words of its title, layer name, id and class,
    else from those of its groups; else it is `other`, with a notice.

    Parameters
    ----------
    path : Path
    photo_size : (int, int)
        Width and height of the project's photo. [px]
    notice : callable, optional
        Called with a sentence for each thing that the person may want to know.

    Raises
    ------
    InputError
        If the file is missing, damaged or no SVG, draws nothing, has another aspect than the photo, an unknown
        kind, or a path outside the photo.
    """
    tracing = _tracing(path, read_document(path), photo_size, notice=notice or _ignore, gap_px=GAP_PX)
    if not tracing.items:
        raise InputError(f"{path} has nothing to draw: no visible path; show the layer with the tracing and save again")
    return tracing


def _ignore(_text: str) -> None:
    pass


def _tracing(path: Path, document: Document, size: Size, *, notice: Notice, gap_px: float) -> Tracing:
    try:
        drawing = walk(document)
        for text in drawing.notices:
            notice(text)
        to_photo = _page_to_photo(drawing, size)
        items = tuple(_traced(drawing.paths, to_photo, size, notice, gap_px))
    except InputError as error:
        raise InputError(f"{path}: {error}") from None
    return Tracing(size, items)


def _photo_size(document: Document, path: Path) -> Size:
    """The photo's size: as we noted it, or else as the image element shows it."""
    words = parse_numbers(document.root.get("data-photo-size", ""))
    if len(words) != 2:
        image = next((e for e in document.root.iter() if is_svg(e, "image")), None)
        words = [_plain_number(image, "width"), _plain_number(image, "height")] if image is not None else []
    if len(words) != 2 or not all(1.0 <= w <= 100_000.0 for w in words):
        raise InputError(f"{path} does not tell the photo's size; bring it in with 'limewash trace import' instead")
    return round(words[0]), round(words[1])


def _plain_number(element: Element, name: str) -> float:
    try:
        return float(element.get(name, "0").removesuffix("px"))
    except ValueError:
        return 0.0


def _page_to_photo(drawing: Drawing, size: Size) -> Matrix:
    """From page px to photo px: by the image that is drawn over, else the whole page is the photo."""
    image = _photo_image(drawing.images)
    if image is not None:
        frame, preserve, matrix = image.frame, image.preserve, image.matrix
    else:
        page = drawing.page or (float(size[0]), float(size[1]))
        frame, preserve, matrix = Rectangle(0.0, 0.0, *page), "none", np.eye(3)
    stretched = image is not None and preserve.split()[:1] == ["none"]
    aspect = (frame.width / frame.height) / (size[0] / size[1])
    if not stretched and abs(math.log(aspect)) > ASPECT_TOLERANCE:
        raise InputError(
            f"the {'picture' if image else 'page'} under the drawing is {frame.width:g} x {frame.height:g}, which has "
            f"another aspect than the photo, {size[0]} x {size[1]}; draw over this project's photo"
        )
    # The photo's picture begins half a pixel before the centre of its first pixel.
    shown = matrix @ fit(Rectangle(-0.5, -0.5, *map(float, size)), frame, preserve)
    return _inverse(shown)


def _photo_image(images: list[PlacedImage]) -> PlacedImage | None:
    """The one called "photo", else the largest, visible ones first."""

    def rank(image: PlacedImage) -> tuple[bool, bool, float]:
        area = image.frame.width * image.frame.height * abs(float(np.linalg.det(image.matrix[:2, :2])))
        return image.id == "photo", image.visible, area

    return max(images, key=rank, default=None)


def _inverse(m: Matrix) -> Matrix:
    """Inverse of an affine matrix; exact when it only shifts."""
    (a, c, x), (b, d, y) = m[0], m[1]
    det = a * d - b * c
    if abs(det) < 1e-12:
        raise InputError("the picture under the drawing is squeezed to a line; draw over this project's photo")
    return np.array(
        [[d / det, -c / det, (c * y - d * x) / det], [-b / det, a / det, (b * x - a * y) / det], [0.0, 0.0, 1.0]]
    )


def _traced(drawn: list[DrawnPath], to_photo: Matrix, size: Size, notice: Notice, gap_px: float) -> Iterator[Traced]:
    names = _Names({path.id for path in drawn if path.id})
    for item in drawn:
        path = _tidied(_moved(item.path, to_photo @ item.matrix), gap_px)
        if path is None:
            continue
        kind = _kind(item)
        if kind is None:
            kind = Kind.OTHER
            notice(f"{item.where}: nothing says what it is, taken as 'other'; name it, for instance 'window 1'")
        word = item.data.get("data-surface")
        surface = parse_surface(word, where=item.where, closed=path.closed) if word else None
        _check_inside(path, size, item.where)
        locked = item.data.get("data-locked") == "true"
        yield Traced(names.give(item.id, kind), kind, path, item.title, surface, item.group, locked)


def _kind(item: DrawnPath) -> Kind | None:
    if "data-kind" in item.data:
        return parse_kind(item.data["data-kind"], where=item.where)
    return kind_from_words((*item.own, *item.above))


def _moved(path: Path2, matrix: Matrix) -> Path2:
    if np.allclose(matrix, np.eye(3), rtol=0.0, atol=1e-12):
        return path  # our own files: no rounding at all
    return transform_path(path, matrix)


def _tidied(path: Path2, gap_px: float) -> Path2 | None:
    """Drop lines without length, close what was meant to be closed; None if nothing is left."""
    kept = [s for s in path.segments if not (isinstance(s, Line) and math.dist(s.start, s.end) < CLOSE_PX)]
    if not kept:
        return None
    for i, (before, after) in enumerate(itertools.pairwise(kept)):
        if before.end != after.start:
            kept[i + 1] = replace(after, start=before.end)
    closed = path.closed or (len(kept) > 1 and math.dist(kept[0].start, kept[-1].end) < gap_px)
    if closed and kept[-1].end != kept[0].start:
        kept[-1] = replace(kept[-1], end=kept[0].start)
    if closed and len(kept) == 2 and all(isinstance(s, Line) for s in kept):
        return Path2((kept[0],), closed=False)  # there and back again is a line, not an area
    return Path2(tuple(kept), closed)


def _check_inside(path: Path2, size: Size, where: str) -> None:
    box = bounding_box(path)
    beyond = {
        "left": -0.5 - box.left,
        "upper": -0.5 - box.top,
        "right": box.right - (size[0] - 0.5),
        "lower": box.bottom - (size[1] - 0.5),
    }
    edge, far = max(beyond.items(), key=lambda side: side[1])
    if not far <= MARGIN_PX:
        raise InputError(
            f"{where} reaches {far:.4g} px beyond the {edge} edge of the photo ({size[0]} x {size[1]}); move or trim it"
        )


class _Names:
    """Gives every path an id of its own, keeping those of the file where it can."""

    def __init__(self, reserved: set[str]) -> None:
        self.reserved = reserved
        self.given: set[str] = set()

    def give(self, wanted: str, kind: Kind) -> str:
        if wanted and wanted not in self.given:
            name = wanted
        else:
            stem, first = (wanted, 2) if wanted else (kind.value, 1)
            taken = self.given | self.reserved
            name = next(n for i in itertools.count(first) if (n := f"{stem}-{i}") not in taken)
        self.given.add(name)
        return name
