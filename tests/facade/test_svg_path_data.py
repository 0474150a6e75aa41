"""Path data, against svgpathtools 1.8 as the second reader."""

import numpy as np
import pytest
import svgpathtools
from hypothesis import given
from hypothesis import strategies as st

from limewash.errors import InputError
from limewash.facade.svg_data import format_path_data, parse_path_data
from limewash.geometry.path import Arc, Cubic, Line, Path2
from limewash.geometry.path_measure import points_at

EXAMPLES = [
    "M 10 10 L 90 10 90 60 10 60 Z",
    "m10,10 80,0 0,50h-80z",
    "M10 10H90V60h-80Z",
    "M 20 80 C 20 20 80 20 80 80 S 140 140 140 80",
    "m20 80c0-60 60-60 60 0s60 60 60 0",
    "M 20 80 Q 50 20 80 80 T 140 80 t 60 0",
    "M10-20.5.5.25-3e1-4",  # numbers that need no space between them
    "M 60 60 A 40 25 30 1 0 120 90 a40,25 30 01-60-30",
    "M60 60a40 25 30 0160-30",  # flags run together with what follows
    "M 0 0 L 10 0 Z l 5 5",  # drawing on after Z begins a new subpath at the old start
]


@pytest.mark.parametrize("data", EXAMPLES)
def test_agrees_with_svgpathtools(data: str) -> None:
    theirs = [segment for segment in svgpathtools.parse_path(data) if abs(segment.end - segment.start) > 0]
    ours = [segment for path in parse_path_data(data) for segment in path.segments]
    t = np.linspace(0.0, 1.0, 5)
    expected = [[[z.real, z.imag] for z in map(segment.point, t)] for segment in theirs]
    assert np.array([points_at(segment, t) for segment in ours]) == pytest.approx(np.array(expected), abs=1e-9)


def test_subpaths_are_split_and_their_ends_told() -> None:
    first, second = parse_path_data("M0 0 10 0 10 10Z m 20 20 h 5")
    assert (first.closed, first.segments[-1]) == (True, Line((10.0, 10.0), (0.0, 0.0)))
    assert (second.closed, second.segments) == (False, (Line((20.0, 20.0), (25.0, 20.0)),))


def test_what_goes_nowhere_is_left_out() -> None:
    assert parse_path_data("") == []
    assert parse_path_data("M 5 5 Z M 6 6 l 0 0 A 3 3 0 0 0 6 6 c 0 0 0 0 0 0 q 0 0 0 0") == []


@pytest.mark.parametrize(
    ("data", "says"),
    [
        ("10 10 L 20 20", "character 1: a command letter is missing"),
        ("L 10 10", "must begin with M"),
        ("M 10 10 L 20", "character 13: a number is missing"),
        ("M 10 10 X 20 20", "character 9: unexpected 'X'"),
        ("M 0 0 A 5 5 0 2 1 9 9", "character 15: an arc flag must be 0 or 1"),
        ("M 0 0 L 1e999 0", "too large"),
        ("M 0 0 L nan 0", "character 9: a number is missing"),
        ("M 0 0 Z 5 5", "a command letter is missing"),
    ],
)
def test_faults_are_told_with_their_position(data: str, says: str) -> None:
    with pytest.raises(InputError, match=says):
        parse_path_data(data)


def test_a_flood_of_segments_is_refused() -> None:
    with pytest.raises(InputError, match="simplify"):
        parse_path_data("M0 0" + "h1v1" * 100_001)


any_float = st.floats(-1e6, 1e6, allow_nan=False)
any_point = st.tuples(any_float, any_float)
steps = st.one_of(
    st.tuples(st.just(Line), any_point),
    st.tuples(st.just(Cubic), any_point, any_point, any_point),
    st.tuples(st.just(Arc), any_point, st.tuples(st.floats(1e-3, 1e5), st.floats(1e-3, 1e5)), st.booleans()),
)


@st.composite
def paths(draw: st.DrawFn) -> Path2:
    here = first = draw(any_point)
    segments = []
    for kind, end, *rest in draw(st.lists(steps, min_size=1, max_size=5)):
        if end in (here, first):
            continue
        if kind is Line:
            segments.append(Line(here, end))
        elif kind is Cubic:
            segments.append(Cubic(here, rest[0], rest[1], end))
        else:
            segments.append(Arc(here, end, rest[0], draw(st.floats(-360.0, 360.0)), rest[1], draw(st.booleans())))
        here = end
    closed = draw(st.booleans()) and len(segments) > 0
    if closed or not segments:
        segments.append(Cubic(here, (1.0, 2.0), (3.0, 4.5), first) if draw(st.booleans()) else Line(here, first))
    if segments[0] == Line(first, first):
        segments = [Line(first, (first[0] + 1.0, first[1]))]
        closed = False
    return Path2(tuple(segments), closed)


@given(paths())
def test_written_data_reads_back_bit_for_bit(path: Path2) -> None:
    assert parse_path_data(format_path_data(path)) == [path]


@given(st.text(alphabet="MmLlHhVvCcSsQqTtAaZz0123456789.,-+eE ", max_size=40))
def test_any_text_gives_paths_or_an_input_error(data: str) -> None:
    try:
        read = parse_path_data(data)
    except InputError:
        return
    assert all(path.segments for path in read)
