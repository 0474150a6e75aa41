"""tracing.svg: what is written reads back, also through a second reader and after a vector editor saved it."""

from dataclasses import replace
from pathlib import Path
from xml.etree import ElementTree

import pytest
import svgpathtools
from hypothesis import given
from hypothesis import strategies as st

from limewash.errors import InputError
from limewash.facade.svg import read_tracing, tracing_svg, write_tracing
from limewash.facade.tracing import Kind, Surface, Traced, Tracing
from limewash.geometry.path import Arc, Cubic, Line, Path2, polyline
from limewash.geometry.path_measure import path_length

SVG = "{http://www.w3.org/2000/svg}"


def a_tracing() -> Tracing:
    half_round = Path2(
        (
            Line((1200.0, 520.0), (1200.0, 433.3)),
            Arc((1200.0, 433.3), (1301.7, 433.3), (50.85, 50.85)),
            Line((1301.7, 433.3), (1301.7, 520.0)),
            Line((1301.7, 520.0), (1200.0, 520.0)),
        ),
        closed=True,
    )
    swag = Path2((Cubic((100.0, 200.5), (180.25, 260.0), (240.0, 260.0), (320.0, 200.1)),), closed=False)
    return Tracing(
        (1920, 1080),
        (
            Traced(
                "wall", Kind.WALL, polyline([(-0.5, 300), (1919.5, 300), (1919.5, 1000), (-0.5, 1000)], closed=True)
            ),
            Traced("half-round", Kind.WINDOW, half_round, "Window over the door"),
            Traced(
                "left door", Kind.DOOR, polyline([(500, 600), (600, 600), (600, 900)], closed=True), "", Surface.INSIDE
            ),
            Traced("swag", Kind.TRIM, swag, "Swag <\"&'> ü", Surface.LEFT),
        ),
    )


def test_a_tracing_reads_back_as_it_was(tmp_path: Path) -> None:
    write_tracing(tmp_path / "tracing.svg", a_tracing(), "photo.png")
    assert read_tracing(tmp_path / "tracing.svg") == a_tracing()


def test_groups_and_locks_are_plain_svg_and_read_back(tmp_path: Path) -> None:
    """Each group is a <g> with a title; of one whose members do not follow each other, several."""
    wall, half_round, door, swag = a_tracing().items
    grouped = Tracing(
        a_tracing().size,
        (
            wall,
            replace(half_round, group="Porch & steps"),
            replace(door, group="Porch & steps", locked=True),
            replace(swag, group="Gable"),
            replace(wall, id="wall-2", group="Porch & steps"),
        ),
    )
    path = tmp_path / "tracing.svg"
    write_tracing(path, grouped, "photo.png")
    assert read_tracing(path) == grouped
    groups = ElementTree.parse(path).getroot().findall(f"{SVG}g[@id='paths']/{SVG}g")
    assert [(g.findtext(f"{SVG}title"), len(g.findall(f"{SVG}path"))) for g in groups] == [
        ("Porch & steps", 2),
        ("Gable", 1),
        ("Porch & steps", 1),
    ]
    locked = [e.get("id") for e in ElementTree.parse(path).iter(f"{SVG}path") if e.get("data-locked") == "true"]
    assert locked == ["left door"]
    assert len(svgpathtools.svg2paths(str(path))[0]) == 5


def test_an_empty_tracing_is_a_tracing(tmp_path: Path) -> None:
    write_tracing(tmp_path / "tracing.svg", Tracing((640, 480)), "photo.png")
    assert read_tracing(tmp_path / "tracing.svg") == Tracing((640, 480))


def test_svgpathtools_reads_the_same_curves(tmp_path: Path) -> None:
    """svgpathtools 1.8 as the second reader: same elements, ids, kinds and lengths."""
    write_tracing(tmp_path / "tracing.svg", a_tracing(), "photo.png")
    theirs, attributes = svgpathtools.svg2paths(str(tmp_path / "tracing.svg"))
    ours = a_tracing().items
    assert [a["id"] for a in attributes] == [item.id for item in ours]
    assert [a["data-kind"] for a in attributes] == [item.kind.value for item in ours]
    assert [path.length(error=1e-9) for path in theirs] == pytest.approx([path_length(i.path) for i in ours], rel=1e-6)
    assert [path.isclosed() for path in theirs] == [item.path.closed for item in ours]


def test_the_photo_lies_below_and_pixel_centres_are_whole_numbers() -> None:
    root = ElementTree.fromstring(tracing_svg(a_tracing(), "scans/1/photo.png").encode())
    drawn = [e for e in root.iter() if e.tag in (f"{SVG}image", f"{SVG}path")]
    assert drawn[0].tag == f"{SVG}image"
    assert drawn[0].get("href") == "scans/1/photo.png"
    assert root.get("viewBox") == "-0.5 -0.5 1920 1080"
    assert (drawn[0].get("x"), drawn[0].get("width")) == ("-0.5", "1920")


def test_every_kind_has_a_stroke_of_its_own() -> None:
    square = polyline([(1, 1), (5, 1), (5, 5)], closed=True)
    tracing = Tracing((64, 64), tuple(Traced(kind.value, kind, square) for kind in Kind))
    root = ElementTree.fromstring(tracing_svg(tracing, "photo.png").encode())
    looks = [(e.get("stroke"), e.get("stroke-dasharray")) for e in root.iter(f"{SVG}path")]
    assert len({look[0] for look in looks}) == len(looks) == len(Kind)


def test_an_editor_may_save_it_in_its_own_way(tmp_path: Path) -> None:
    """Millimetres, other units a page unit, groups moved, extra attributes and metadata: same tracing."""
    text = tracing_svg(a_tracing(), "photo.png")
    text = text.replace('width="1920" height="1080" viewBox', 'width="508mm" height="285.75mm" viewBox', 1)
    text = text.replace(
        '<g id="paths"', '<g id="a" transform="translate(30 -7.5)"><g id="paths" transform="matrix(2 0 0 2 0 0)"'
    )
    text = text.replace("</g>", "</g></g>")
    text = text.replace(
        'd="M', 'transform="scale(.5) translate(-30,7.5)" xmlns:e="urn:e" e:spiro="yes" style="fill:red" d="M'
    )
    text = text.replace("<desc>", '<metadata><work xmlns="urn:x"><title>x</title></work></metadata><desc>')
    (tmp_path / "tracing.svg").write_text(text)
    read = read_tracing(tmp_path / "tracing.svg")
    assert [(i.id, i.kind, i.title, i.surface) for i in read.items] == [
        (i.id, i.kind, i.title, i.surface) for i in a_tracing().items
    ]
    for found, meant in zip(read.items, a_tracing().items, strict=True):
        for ours, theirs in zip(found.path.segments, meant.path.segments, strict=True):
            assert (*ours.start, *ours.end) == pytest.approx((*theirs.start, *theirs.end), abs=1e-9)


def test_the_photo_size_is_found_in_the_image_when_an_editor_drops_our_note(tmp_path: Path) -> None:
    text = tracing_svg(a_tracing(), "photo.png").replace('data-photo-size="1920 1080" data-format="1"', "")
    (tmp_path / "tracing.svg").write_text(text)
    assert read_tracing(tmp_path / "tracing.svg") == a_tracing()


names = st.text(st.characters(min_codepoint=0x20, exclude_categories=("Cs", "Cn", "Cc", "Co")), min_size=1, max_size=12)
titles = names.map(lambda s: " ".join(s.split()))
places = st.tuples(st.floats(0.0, 639.0), st.floats(0.0, 479.0)).map(lambda p: (round(p[0], 2), round(p[1], 2)))


@st.composite
def tracings(draw: st.DrawFn) -> Tracing:
    items = []
    for name in draw(st.lists(names, unique=True, max_size=4)):
        corners = draw(st.lists(places, min_size=3, max_size=6, unique=True))
        closed = draw(st.booleans())
        surface = draw(st.none() | st.sampled_from([Surface.LEFT, Surface.RIGHT]))
        path = polyline(corners, closed=closed)
        items.append(Traced(name, draw(st.sampled_from(Kind)), path, draw(titles), surface))
    return Tracing((640, 480), tuple(items))


@given(tracings())
def test_any_tracing_reads_back_bit_for_bit(tmp_path_factory: pytest.TempPathFactory, tracing: Tracing) -> None:
    file = tmp_path_factory.mktemp("svg") / "tracing.svg"
    write_tracing(file, tracing, "photo.png")
    assert read_tracing(file) == tracing


def test_a_name_that_xml_cannot_hold_is_refused() -> None:
    square = polyline([(1, 1), (5, 1), (5, 5)], closed=True)
    with pytest.raises(InputError, match="cannot be saved"):
        tracing_svg(Tracing((9, 9), (Traced("a\x00b", Kind.WALL, square),)), "photo.png")


def test_a_newer_format_is_refused(tmp_path: Path) -> None:
    text = tracing_svg(a_tracing(), "photo.png").replace('data-format="1"', 'data-format="2"')
    (tmp_path / "tracing.svg").write_text(text)
    with pytest.raises(InputError, match=r"format 2.*install a newer one"):
        read_tracing(tmp_path / "tracing.svg")


def test_an_unknown_kind_is_named_with_the_nearest(tmp_path: Path) -> None:
    text = tracing_svg(a_tracing(), "photo.png").replace('data-kind="door"', 'data-kind="dor"')
    (tmp_path / "tracing.svg").write_text(text)
    with pytest.raises(InputError, match=r"path 'left door' \(line \d+\): unknown kind 'dor'; did you mean 'door'"):
        read_tracing(tmp_path / "tracing.svg")


def test_an_outline_has_no_inside(tmp_path: Path) -> None:
    text = tracing_svg(a_tracing(), "photo.png").replace('data-surface="left"', 'data-surface="inside"')
    (tmp_path / "tracing.svg").write_text(text)
    with pytest.raises(InputError, match=r"'swag'.*takes 'left' or 'right'"):
        read_tracing(tmp_path / "tracing.svg")


def test_a_file_that_cannot_be_written_leaves_the_old_one(tmp_path: Path) -> None:
    write_tracing(tmp_path / "tracing.svg", a_tracing(), "photo.png")
    before = (tmp_path / "tracing.svg").read_bytes()
    with pytest.raises(InputError, match="cannot write"):
        write_tracing(tmp_path / "no such folder" / "tracing.svg", a_tracing(), "photo.png")
    with pytest.raises(InputError, match="cannot be saved"):
        write_tracing(tmp_path / "tracing.svg", a_tracing(), "photo\x01.png")
    assert (tmp_path / "tracing.svg").read_bytes() == before
    assert [file.name for file in tmp_path.iterdir()] == ["tracing.svg"]
