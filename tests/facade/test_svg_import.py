"""Plain SVG from any vector editor, and files that are no such thing."""

import contextlib
import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from limewash.errors import InputError
from limewash.facade.svg import import_svg
from limewash.facade.svg_kinds import kind_from_words
from limewash.facade.tracing import Kind, Surface, Tracing
from limewash.geometry.path import Arc, Cubic
from limewash.geometry.path_measure import bounding_box

PHOTO = (400, 200)
HEAD = '<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" xmlns:ed="urn:some-editor"'
PAGE = f'{HEAD} width="400" height="200">'


def imported(tmp_path: Path, body: str, *, head: str = PAGE, notices: list[str] | None = None) -> Tracing:
    file = tmp_path / "drawing.svg"
    file.write_text(head + body + "</svg>")
    return import_svg(file, PHOTO, notice=None if notices is None else notices.append)


def box(tracing: Tracing, index: int = 0) -> tuple[float, float, float, float]:
    b = bounding_box(tracing.items[index].path)
    return b.left, b.top, b.right, b.bottom


RECT = '<rect x="40" y="20" width="100" height="50"/>'
# The first pixel's CENTRE is at 0: a page corner is half a pixel before it.
WHERE = (39.5, 19.5, 139.5, 69.5)


def test_a_page_without_an_image_is_the_photo(tmp_path: Path) -> None:
    assert box(imported(tmp_path, RECT)) == pytest.approx(WHERE)


@pytest.mark.parametrize(
    ("head", "body"),
    [
        (f'{HEAD} viewBox="0 0 400 200">', RECT),
        (f'{HEAD} width="100%" height="100%" viewBox="0 0 400 200">', RECT),
        (f'{HEAD} width="20cm" height="10cm" viewBox="0 0 400 200">', RECT),
        (f'{HEAD} width="800" viewBox="100 0 400 200">', '<g transform="translate(100)">' + RECT + "</g>"),
        (f'{HEAD} width="8in" height="4in">', f'<g transform="scale({8 * 96 / 400})">' + RECT + "</g>"),
        (PAGE, '<rect x="10%" y="10%" width="25%" height="25%"/>'),
        (PAGE, '<rect x="30pt" y="15pt" width="75pt" height="37.5pt"/>'),
        (PAGE, f'<g transform="scale({9.6 / 2.54})"><rect x="{40 / 9.6 * 2.54}" y="{20 / 9.6 * 2.54}" '
               f'width="{100 / 9.6 * 2.54}" height="{50 / 9.6 * 2.54}"/></g>'),
        (PAGE, '<g transform="rotate(90)"><g transform="translate(20,-140)"><rect width="50" height="100"/></g></g>'),
        (PAGE, '<polygon points="40,20 140,20 140,70 40,70"/>'),
        (PAGE, '<polyline points="40,20 140,20 140,70 40,70 40,20"/>'),
        (PAGE, '<path d="M40 20H140V70H40Z" style="transform:translate(0px, 0px)"/>'),
        (PAGE, '<defs><rect id="r" width="100" height="50"/></defs><use href="#r" x="40" y="20"/>'),
        (PAGE, '<symbol id="s" viewBox="0 0 10 5"><rect width="10" height="5"/></symbol>'
               '<use xlink:href="#s" x="40" y="20" width="100" height="50"/>'),
        (PAGE, '<svg x="40" y="20" width="200" height="100" viewBox="0 0 2 1"><rect width="1" height=".5"/></svg>'),
        # an image somewhere on a large page: the drawing goes with the image
        (f'{HEAD} width="297mm" height="210mm" viewBox="0 0 297 210">',
         '<image x="50" y="60" width="100" height="50"/><rect x="60" y="65" width="25" height="12.5"/>'),
        (PAGE, '<g transform="rotate(30) scale(.25)"><image href="p.png" width="400" height="200"/>' + RECT + "</g>"),
        # a photo layer hidden before saving still tells where the photo was
        (PAGE, '<g style="display:none"><image width="200" height="100"/></g>'
               '<rect x="20" y="10" width="50" height="25"/>'),
        (PAGE, '<image width="200" height="200" y="0" id="photo" preserveAspectRatio="none"/>'
               '<rect x="20" y="20" width="50" height="50"/>'),
    ],
)  # fmt: skip
def test_the_same_rectangle_however_it_is_placed(tmp_path: Path, head: str, body: str) -> None:
    tracing = imported(tmp_path, body, head=head)
    assert len(tracing.items) == 1
    assert tracing.items[0].is_area
    assert box(tracing) == pytest.approx(WHERE, abs=1e-9)


def test_round_shapes_stay_arcs(tmp_path: Path) -> None:
    tracing = imported(
        tmp_path,
        '<circle cx="100" cy="60" r="30"/><ellipse cx="200" cy="60" rx="40" ry="20"/>'
        '<rect x="10" y="100" width="60" height="40" rx="10"/><path d="M300 50 Q320 10 340 50 T 380 50"/>'
        '<circle cx="100" cy="60" r="20" transform="skewX(20)"/>',
    )
    kinds = [{type(s) for s in item.path.segments} for item in tracing.items]
    assert kinds[0] == kinds[1] == kinds[4] == {Arc}
    assert Arc in kinds[2]
    assert kinds[3] == {Cubic}
    assert box(tracing, 0) == pytest.approx((69.5, 29.5, 129.5, 89.5))
    assert box(tracing, 1) == pytest.approx((159.5, 39.5, 239.5, 79.5))
    assert box(tracing, 2) == pytest.approx((9.5, 99.5, 69.5, 139.5))
    lean = math.tan(math.radians(20.0))
    half = 20.0 * math.hypot(1.0, lean)  # a skewed circle: x' = x + lean y
    assert box(tracing, 4) == pytest.approx((99.5 + 60 * lean - half, 39.5, 99.5 + 60 * lean + half, 79.5))


def test_what_is_not_shown_is_not_traced(tmp_path: Path) -> None:
    hidden = (
        f'<g style="display:none">{RECT}</g><g display="none">{RECT}</g><defs>{RECT}</defs>'
        f'<clipPath id="c">{RECT}</clipPath><g visibility="hidden">{RECT}</g>'
        f'<style>.off, .x{{fill:red;display:none}}</style><g class="st off">{RECT}</g>'
        '<rect width="0" height="5"/><path d=""/><path/><line x1="4" x2="4"/>'
    )
    tracing = imported(tmp_path, hidden + '<g visibility="hidden"><path visibility="visible" d="M1 1H9"/></g>')
    assert len(tracing.items) == 1
    with pytest.raises(InputError, match="nothing to draw"):
        imported(tmp_path, hidden)


@pytest.mark.parametrize(
    ("label", "kind"),
    [
        ("window 3", Kind.WINDOW),
        ("Roof line", Kind.ROOF_LINE),
        ("roof-line_2", Kind.ROOF_LINE),
        ("GarageDoor", Kind.GARAGE),
        ("front_x20_door", Kind.DOOR),
        ("window frame", Kind.TRIM),
        ("roof window", Kind.WINDOW),
        ("porch posts", Kind.POST),
        ("steps", Kind.STEP),
        ("keep dark", Kind.KEEP_DARK),
        ("Neighbour's window, keep dark", Kind.KEEP_DARK),
        ("wallpaper", None),
        ("path1234", None),
        ("", None),
    ],
)
def test_kinds_are_told_from_words(label: str, kind: Kind | None) -> None:
    assert kind_from_words([label]) is kind


def test_kinds_ids_and_titles_come_from_the_nearest_words(tmp_path: Path) -> None:
    notices: list[str] = []
    tracing = imported(
        tmp_path,
        f'<g ed:label="Windows" id="layer1">{RECT}<rect id="rect5" width="9" height="9"/>'
        '<path id="p" d="M0 0H5" data-kind="Keep Dark" data-surface="left"/></g>'
        '<g data-kind="post"><path id="x" d="M0 0V9"><title>Left  one</title></path></g>'
        f'<g class="door">{RECT}</g><path id="rect5" d="M0 0H5M9 9H15"/><text>door</text>',
        notices=notices,
    )
    assert [(i.id, i.kind, i.title) for i in tracing.items] == [
        ("window-1", Kind.WINDOW, ""),
        ("rect5", Kind.WINDOW, ""),
        ("p", Kind.KEEP_DARK, ""),
        ("x", Kind.POST, "Left one"),
        ("door-1", Kind.DOOR, ""),
        ("rect5-2", Kind.OTHER, ""),
        ("rect5-3", Kind.OTHER, ""),
    ]
    assert tracing.items[2].surface is Surface.LEFT
    assert len(notices) == 3
    assert "<text> is left out" in notices[0]
    assert "taken as 'other'" in notices[1]


def test_a_path_that_nearly_returns_is_closed(tmp_path: Path) -> None:
    tracing = imported(tmp_path, '<path d="M10 10h50v30l-50 .2V10.3"/><path d="M10 10h50v30l-50 .2V11"/>')
    assert [item.is_area for item in tracing.items] == [True, False]
    path = tracing.items[0].path
    assert path.start == path.end


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (b"", "is empty"),
        (b"\x89PNG\r\n\x1a\n" + bytes(9000), "is not an SVG file; save"),
        (b"\x1f\x8b\x08" + bytes(50), "compressed SVG"),
        (b"<html><body/></html>", "outermost element is <html>"),
        (b"<svg><path d='M0 0'", "damaged at line 1, column"),
        (b'<svg xmlns="http://www.w3.org/2000/svg">\n<g>\n</svg>', r"damaged at line 3, column \d+ \(mismatched tag\)"),
        (b'<?xml version="1.0" encoding="klingon"?><svg/>', "damaged"),
        (
            b'<!DOCTYPE svg [<!ENTITY a SYSTEM "file:///etc/passwd">]><svg><path d="&a;"/></svg>',
            "entity 'a'.*not allowed",
        ),
        (b'<!DOCTYPE s [<!ENTITY a "ha"><!ENTITY b "&a;&a;">]><svg id="&b;"/>', "entity 'b'.*not allowed"),
        (b'<!DOCTYPE s [<!ENTITY % p SYSTEM "x.dtd"> %p;]><svg/>', "entity 'p'.*not allowed"),
        (b"<svg>" + b"<g>" * 300 + b"</g>" * 300 + b"</svg>", "nests its groups deeper"),
    ],
)
def test_files_that_are_no_drawing(tmp_path: Path, content: bytes, says: str) -> None:
    file = tmp_path / "drawing.svg"
    file.write_bytes(content)
    with pytest.raises(InputError, match=says):
        import_svg(file, PHOTO)


def test_a_missing_file(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="does not exist"):
        import_svg(tmp_path / "none.svg", PHOTO)


def test_namespaces_written_as_entities_are_harmless(tmp_path: Path) -> None:
    file = tmp_path / "drawing.svg"
    file.write_text(
        '<!DOCTYPE svg PUBLIC "-//W3C//DTD SVG 1.1//EN" "http://www.w3.org/Graphics/SVG/1.1/DTD/svg11.dtd" '
        '[<!ENTITY ns "http://www.w3.org/2000/svg">]>'
        f'<svg xmlns="&ns;" width="400" height="200">{RECT}</svg>'
    )
    assert box(import_svg(file, PHOTO)) == pytest.approx(WHERE)


@pytest.mark.parametrize(
    ("body", "says"),
    [
        ('<path id="roof" d="M10 10H450"/>', r"path 'roof' \(line 1\) reaches 50 px beyond the right edge"),
        ('\n\n<path d="M10 10V-20"/>', r"path on line 3 reaches 20 px beyond the upper edge"),
        ('<path id="a" d="M10 10V240.5"/>', "40.5 px beyond the lower edge"),
        ('<path id="a" d="M1 1H9" data-kind="windo"/>', "unknown kind 'windo'; did you mean 'window'"),
        ('\n<path id="a" d="M1 1H9 wrong"/>', r"line 2, <path> 'a': path data, character 8: unexpected 'w'"),
        ('<rect width="3 feet" height="9"/>', "<rect>: width: unknown unit in '3 feet'"),
        ('<rect width="3ft" height="9"/>', "unknown unit in '3ft'"),
        ('<g transform="spin(3)"><path d="M1 1H9"/></g>', "unknown function 'spin'; allowed: matrix"),
        ('<g transform="rotate(3,4)"/>', "rotate takes 1 or 3 numbers, got 2"),
        ('<g transform="rotate("/>', "cannot be read from character 1"),
        ('<polygon points="1,2 3"/>', "points has 3 numbers"),
        ('<polygon points="1,2 3,x"/>', "must be numbers"),
        ('<use href="#nothing"/>', "which is not in this file"),
        ('<use href="other.svg#a"/>', "which is not in this file"),
        ('<g id="a"><use href="#a"/></g>', "contains itself"),
        ('<image width="100" height="100"/>' + RECT, "picture under the drawing is 100 x 100, .* 400 x 200"),
        ('<g transform="scale(1 0)"><image width="400" height="200"/></g>' + RECT, "squeezed to a line"),
        ('<svg viewBox="0 0 0 9" width="5" height="5"/>', "viewBox '0 0 0 9' must be four numbers"),
    ],
)  # fmt: skip
def test_faults_say_where(tmp_path: Path, body: str, says: str) -> None:
    with pytest.raises(InputError, match=says):
        imported(tmp_path, body)


def test_a_page_of_another_aspect_is_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="page under the drawing is 400 x 300"):
        imported(tmp_path, RECT, head=f'{HEAD} width="400" height="300">')


def test_uses_that_multiply_without_end_are_refused(tmp_path: Path) -> None:
    levels = "".join(f'<g id="g{i}">{f"""<use href="#g{i - 1}"/>""" * 10}</g>' for i in range(1, 9))
    with pytest.raises(InputError, match="more than 5000 shapes"):
        imported(tmp_path, f'<defs><path id="g0" d="M1 1H9"/>{levels}</defs><use href="#g8"/>')


def test_nested_transforms_compose_in_order(tmp_path: Path) -> None:
    """Against plain matrix products by NumPy: outer transforms act last."""
    inner = '<g transform="skewX(10) scale(.5 -.5)"><path d="M10 20 60 30"/></g>'
    body = f'<g transform="translate(200 60) rotate(20)">{inner}</g>'
    c, s, k = math.cos(math.radians(20)), math.sin(math.radians(20)), math.tan(math.radians(10))
    turn = np.array([[c, -s], [s, c]])
    lean = np.array([[1.0, k], [0.0, 1.0]])
    line = imported(tmp_path, body).items[0].path
    for found, drawn in ((line.start, (10.0, 20.0)), (line.end, (60.0, 30.0))):
        expected = turn @ lean @ np.diag([0.5, -0.5]) @ np.array(drawn) + np.array([200.0, 60.0]) - 0.5
        assert np.array(found) == pytest.approx(expected)


@given(st.lists(st.tuples(st.floats(0.0, 1.0), st.binary(max_size=6)), min_size=1, max_size=4))
def test_a_damaged_file_gives_a_tracing_or_an_input_error(
    tmp_path_factory: pytest.TempPathFactory, damage: list[tuple[float, bytes]]
) -> None:
    text = bytearray(
        f'{PAGE}<g transform="rotate(2) scale(.9)"><image width="400" height="200"/>{RECT}'
        '<path id="a" data-kind="door" d="M9 9A5 5 0 0 1 20 20ZQ30 30 40 9T60 9"/></g></svg>'.encode()
    )
    for share, content in damage:
        at = int(share * len(text))
        text[at : at + len(content)] = content
    file = tmp_path_factory.mktemp("svg") / "drawing.svg"
    file.write_bytes(text)
    with contextlib.suppress(InputError):
        assert import_svg(file, PHOTO).items
