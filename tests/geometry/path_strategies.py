"""Hypothesis strategies for path segments of photo-like size."""

from hypothesis import strategies as st

from limewash.geometry.path import Arc, Cubic, Line

coordinates = st.floats(-2000.0, 2000.0, allow_nan=False).map(lambda v: round(v, 3))
points = st.tuples(coordinates, coordinates)
radii = st.floats(0.5, 3000.0).map(lambda v: round(v, 3))


def distinct(segment: Line | Arc | Cubic) -> bool:
    return abs(segment.start[0] - segment.end[0]) + abs(segment.start[1] - segment.end[1]) > 0.01


lines = st.builds(Line, points, points).filter(distinct)
cubics = st.builds(Cubic, points, points, points, points).filter(distinct)
arcs = st.builds(
    Arc,
    points,
    points,
    st.tuples(radii, radii),
    st.floats(-180.0, 180.0).map(lambda v: round(v, 3)),
    st.booleans(),
    st.booleans(),
).filter(distinct)
segments = lines | cubics | arcs
