"""Which picture of the pattern each of a pile of photos shows, told from the photos alone, in any order.

Fringes of one axis, once the paint is taken off, span just two dimensions: a cosine and a sine. So the fringes of both
axes stand out of the pile as its four strongest directions, and lie on two circles a step apart. Where on the circle
the first step lies, and which way it turns, the code tells: the square of a code picture shows the phase of its
carrier whatever its bits are, and its sign changes at crests of the fringe (bit 0: at troughs), bit b once in 2^b
periods. None of that depends on how the camera or the projector is turned.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from limewash.scan.pattern import Axis, Hold, PatternPlan

Floats = NDArray[np.float32]
Angles = NDArray[np.float64]

_STRONG = 0.6  # of the usual span from dark to bright, with which a sample takes part
_FLAT = 0.45  # of the usual spread: a picture without fringes
_WHITE, _BLACK = 0.75, 0.25  # of the span from dark to bright
_SAME = 0.95  # correlation of pictures that may show the same
_CIRCLE = 0.75  # share of a picture that lies in the directions of the fringes
_LINKED = 0.35  # correlation of neighbours on a circle
_STRAY_DEG = {8: 5.6, 6: 3.7}  # half of the least distance from a step to a code without a change of sign
_CLEAR = 0.35  # cosine of the carrier from which on its sign is plain
_ROUNDS = 4  # of fitting the circle
_WHOLE = 0.85  # of the fringe's light that a fringe of the same axis has
_COHERENT = 0.42  # of the carrier, for a code to count
_OTHER = 0.6  # share of the variance that is left over where something else is shown
_CARRIER_DEG = 4.0  # about the error of a carrier's phase: blur where the sign changes pulls at it
_CHANGES = 0.2  # and of the number of changes to a period
_WORST = 9.0  # what a photo that fits nothing costs at most
_UNKNOWN = 30.0  # and what it costs at least
_TURNED = 0.5  # cost of taking for columns what runs along the camera's columns


@dataclass(frozen=True)
class Lines:
    """Samples of all photos along the same level and upright lines.

    Attributes
    ----------
    across : ndarray of float32, shape (photos, lines, width)
    down : ndarray of float32, shape (photos, lines, height)
    """

    across: Floats
    down: Floats

    def flat(self) -> Floats:
        """All samples of each photo, (photos, samples)."""
        return np.hstack([part.reshape(len(part), -1) for part in (self.across, self.down)])

    def split(self, flat: NDArray[np.generic]) -> tuple[NDArray[np.generic], NDArray[np.generic]]:
        """Values of all samples (samples,) as `across` and `down` have them."""
        first = self.across[0].size
        return flat[:first].reshape(self.across.shape[1:]), flat[first:].reshape(self.down.shape[1:])


@dataclass(frozen=True)
class _Circle:
    """The fringes of one axis, up to where the circle begins and which way it turns.

    `phase`, `light` and `ground` (samples,) are of the fringe; `steep` is the mean advance of the phase from sample to
    sample, across and down [rad].
    """

    step_of: dict[int, int]
    phase: NDArray[np.float32]
    light: NDArray[np.float32]
    ground: NDArray[np.float32]
    steep: tuple[float, float]


@dataclass(frozen=True)
class _Code:
    """A code picture: phase of its carrier mod pi [rad]; changes of sign to a period, turned by where they are."""

    carrier_rad: float
    changes: complex


def recognise(lines: Lines, plans: Sequence[PatternPlan]) -> tuple[PatternPlan, list[Hold | None]] | None:
    """Tell what each photo shows.

    Parameters
    ----------
    lines : Lines
        Samples of the photos.
    plans : sequence of PatternPlan
        The patterns that may have been shown.

    Returns
    -------
    plan, holds
        The pattern that was shown; the hold that each photo shows, None where it shows none. None if the photos
        do not hold the fringes of both axes.
    """
    samples = lines.flat()
    flat_kind, gratings, strong = _sort_out(samples)
    if len(gratings) < 8:
        return None
    best: tuple[float, PatternPlan, dict[int, Hold]] | None = None
    for plan in plans:
        circles = _circles(samples, gratings, strong, lines, plan.axes[0].steps)
        if len(circles) < 2:
            continue
        _add_missed(samples, gratings, circles, plan.axes[0].steps)
        codes = _codes(samples, gratings, circles, lines)
        for order in ((0, 1), (1, 0)):
            parts = [_turn(plan, a, circles[c], codes[c]) for a, c in enumerate(order)]
            cost = sum(part[0] for part in parts) + _TURNED * sum(
                abs(circles[c].steep[a]) < abs(circles[c].steep[1 - a]) for a, c in enumerate(order)
            )
            if best is None or cost < best[0]:
                best = cost, plan, {**parts[0][1], **parts[1][1]}
    if best is None:
        return None
    _, plan, found = best
    return plan, [Hold(kind) if (kind := flat_kind.get(n)) else found.get(n) for n in range(len(samples))]  # type: ignore[arg-type]


def _sort_out(samples: Floats) -> tuple[dict[int, str], NDArray[np.intp], NDArray[np.bool_]]:
    """Black and white photos; those with a grating; the samples that the projector lights well."""
    low, high = np.quantile(samples, (0.03, 0.97), axis=0).astype(np.float32)
    span = high - low
    strong = span >= max(_STRONG * float(np.quantile(span, 0.7)), 0.25 * float(np.quantile(span, 0.98)), 2.0)
    if not strong.any():
        return {}, np.zeros(0, dtype=np.intp), strong
    share = (samples[:, strong] - low[strong]) / span[strong]
    level, spread = np.median(share, axis=1), share.std(axis=1)
    flat = spread < _FLAT * np.quantile(spread, 0.7)
    kinds: dict[int, str] = {}
    for n in np.flatnonzero(flat):
        if level[n] > _WHITE or level[n] < _BLACK:
            kinds[int(n)] = "white" if level[n] > _WHITE else "black"
    return kinds, np.flatnonzero(~flat), strong


def _circles(
    samples: Floats, gratings: NDArray[np.intp], strong: NDArray[np.bool_], lines: Lines, steps: int
) -> list[_Circle]:
    """The two groups of photos that show fringes of one axis each."""
    pictures = samples[gratings][:, strong]
    pictures = pictures / pictures.mean(axis=1, keepdims=True)
    pictures -= pictures.mean(axis=0)
    pictures /= np.maximum(pictures.std(axis=0), 1e-6)
    alike = np.asarray(pictures @ pictures.T, dtype=np.float64)
    size = np.sqrt(np.diag(alike))
    alike /= np.outer(size, size)
    # Two photos of one picture, or of a fringe and its inverse, differ by noise alone: so much can be alike at all.
    most = float(np.quantile(np.abs(alike - np.eye(len(alike))).max(axis=1), 0.9))
    root = np.sqrt(1.0 / np.maximum((alike > _SAME * most).sum(axis=1), 1))  # photos of one picture count as one
    strength, directions = np.linalg.eigh(alike * np.outer(root, root))
    within = (alike * root) @ directions[:, -4:] / np.sqrt(strength[-4:])
    on_circle = np.flatnonzero((within**2).sum(axis=1) > _CIRCLE * most)
    circles = []
    for group in _linked(np.abs(alike[np.ix_(on_circle, on_circle)]) > _LINKED):
        members = on_circle[group]
        circle = None
        for reach in (1.0, 2.0):  # a missing picture pulls at the mean of all, and so at their angles
            found = _steps_on_circle(alike[np.ix_(members, members)], root[members] ** 2, steps, reach)
            step_of = {int(gratings[n]): step for n, step in zip(members, found, strict=True) if step is not None}
            if len(set(step_of.values())) < max(4, steps - 3):
                continue
            circle = _fit(samples, step_of, steps, strong, lines)
            if len(set(step_of.values())) == steps:
                break
            circle = _tidied(samples, gratings, circle, steps, strong, lines)
        if circle is not None:
            circles.append(circle)
    return sorted(circles, key=lambda circle: -len(set(circle.step_of.values())))[:2]


def _linked(link: NDArray[np.bool_]) -> list[NDArray[np.intp]]:
    """Groups of those that hang together."""
    left, groups = set(range(len(link))), []
    while left:
        group, fresh = set(), {left.pop()}
        while fresh:
            group |= fresh
            fresh = {int(n) for m in fresh for n in np.flatnonzero(link[m])} & left
            left -= fresh
        groups.append(np.array(sorted(group)))
    return groups


def _steps_on_circle(alike: Angles, weight: Angles, steps: int, reach: float) -> list[int | None]:
    """Numbers of the steps that most pictures lie at; None for those in between."""
    strength, directions = np.linalg.eigh(alike)
    angle = np.arctan2(*(directions[:, -2:] * np.sqrt(np.maximum(strength[-2:], 0.0))).T)
    step_rad = 2.0 * np.pi / steps
    near = np.radians(reach * _STRAY_DEG[steps])
    off = (angle[:, None] - angle[None, :] + 0.5 * step_rad) % step_rad - 0.5 * step_rad
    begin = int(np.argmax((weight[:, None] * (np.abs(off) < near)).sum(axis=0)))
    there = np.abs(off[:, begin]) < near
    start = angle[begin] + float(np.average(off[there, begin], weights=weight[there]))
    number = np.rint((angle - start) / step_rad).astype(int) % steps
    rest = (angle - start + 0.5 * step_rad) % step_rad - 0.5 * step_rad
    return [int(k) if abs(r) < near else None for k, r in zip(number, rest, strict=True)]


def _fit(samples: Floats, step_of: dict[int, int], steps: int, strong: NDArray[np.bool_], lines: Lines) -> _Circle:
    turn = np.array(list(step_of.values())) * (2.0 * np.pi / steps)
    basis = np.column_stack([np.ones(len(turn)), np.cos(turn), np.sin(turn)])
    ground, cosine, sine = (np.linalg.pinv(basis) @ samples[list(step_of)]).astype(np.float32)
    phase, light = np.arctan2(sine, cosine), np.hypot(cosine, sine)
    light[~strong] = 0.0
    steep = []
    for p, b in zip(lines.split(phase), lines.split(light), strict=True):
        weight = np.minimum(b[:, 1:], b[:, :-1]) ** 2
        steep.append(float((_wrapped(np.diff(p, axis=1)) * weight).sum() / max(float(weight.sum()), 1e-9)))
    return _Circle(step_of, phase, light, ground, (steep[0], steep[1]))


def _tidied(
    samples: Floats, gratings: NDArray[np.intp], circle: _Circle, steps: int, strong: NDArray[np.bool_], lines: Lines
) -> _Circle:
    """The same without pictures that lie between the steps, and with those that were missed: both are plainer now."""
    for _ in range(_ROUNDS):
        step_of = {int(n): step for n in gratings if (step := _step(samples[n], circle, steps)) is not None}
        if len(set(step_of.values())) < 3 or step_of == circle.step_of:
            break
        circle = _fit(samples, step_of, steps, strong, lines)
    return circle


def _step(sample: Floats, circle: _Circle, steps: int) -> int | None:
    """Number of the step of the fringe that a photo shows; None if it shows none."""
    step_rad = 2.0 * np.pi / steps
    seen = 2.0 * np.sum((sample - circle.ground) * circle.light * np.exp(1j * circle.phase)) / np.sum(circle.light**2)
    step = round(float(np.angle(seen)) / step_rad)
    off = abs(float(np.angle(seen)) - step * step_rad)
    return step % steps if abs(seen) > _WHOLE and off < np.radians(_STRAY_DEG[steps]) else None


def _add_missed(samples: Floats, gratings: NDArray[np.intp], circles: list[_Circle], steps: int) -> None:
    """Fringes that lie off the directions of the rest, because few photos show them."""
    for n in set(gratings.tolist()).difference(*(circle.step_of for circle in circles)):
        for circle in circles:
            step = _step(samples[n], circle, steps)
            if step is not None:
                circle.step_of[n] = step


def _codes(samples: Floats, gratings: NDArray[np.intp], circles: list[_Circle], lines: Lines) -> list[dict[int, _Code]]:
    """Carrier and changes of sign of the photos that are no fringes, by the circle that they belong to."""
    codes: list[dict[int, _Code]] = [{} for _ in circles]
    fringes = {n for circle in circles for n in circle.step_of}
    for n in gratings:
        if int(n) in fringes:
            continue
        squares = []
        for circle in circles:
            off = samples[n] - circle.ground
            turn = np.exp(2j * circle.phase)
            squares.append(4.0 * np.sum(off * off * turn * (circle.light > 0)) / np.sum(circle.light**2))
        which = int(np.argmax(np.abs(squares)))
        carrier = 0.5 * float(np.angle(squares[which]))
        if abs(squares[which]) > _COHERENT and _left_over(samples[n], circles[which], carrier) < _OTHER:
            codes[which][int(n)] = _Code(carrier, _changes(samples[n], circles[which], carrier, lines))
    return codes


def _left_over(sample: Floats, circle: _Circle, carrier_rad: float) -> float:
    """What a carrier of either sign does not explain of a photo, as a share of the fringe's own variance."""
    wave = circle.light * np.abs(np.cos(circle.phase - carrier_rad))
    off = (np.abs(sample - circle.ground) - wave) * (circle.light > 0.0)
    return float(np.sum(off * off) / (0.5 * np.sum(circle.light**2)))


def _changes(sample: Floats, circle: _Circle, carrier_rad: float, lines: Lines) -> complex:
    """Changes of the sign to a period of the fringe, each turned by the phase at which it happens."""
    way = int(abs(circle.steep[1]) > abs(circle.steep[0]))
    phase, light, off = (
        np.asarray(lines.split(part)[way], dtype=np.float64)
        for part in (circle.phase, circle.light, sample - circle.ground)
    )
    wave = np.cos(phase - carrier_rad)
    total, turns = 0.0 + 0.0j, 0.0
    for p, s, clear in zip(phase, np.sign(off * wave), (np.abs(wave) > _CLEAR) & (light > 0.0), strict=True):
        at = np.flatnonzero(clear)
        if len(at) < 2:
            continue
        ahead = _wrapped(np.diff(p[at])) * np.sign(circle.steep[way])
        usable = (ahead > 0.0) & (ahead < 0.6 * np.pi)
        middle = p[at[:-1]] + 0.5 * ahead * np.sign(circle.steep[way])
        changed = usable & (s[at[1:]] != s[at[:-1]])
        total += complex(np.exp(1j * middle[changed]).sum())
        turns += float(ahead[usable].sum()) / (2.0 * np.pi)
    return total / max(turns, 1e-9)


def _turn(plan: PatternPlan, which: int, circle: _Circle, codes: dict[int, _Code]) -> tuple[float, dict[int, Hold]]:
    """Where the circle begins and which way it turns, so that the codes make sense; cost, and what each photo shows."""
    steps = plan.axes[which].steps
    holds = [hold for hold in plan.body if hold.kind == "code" and hold.axis == which]
    fringe = {
        round(hold.phase_rad * steps / (2.0 * np.pi)): hold
        for hold in plan.body
        if hold.kind == "fringe" and hold.axis == which
    }
    carrier = np.array([hold.phase_rad for hold in holds])
    expected = np.array([_drawn_changes(plan.axes[which], hold.bit) for hold in holds])
    best: tuple[float, dict[int, Hold]] | None = None
    for way in (1, -1):
        for begin in range(steps):
            start = 2.0 * np.pi * begin / steps
            named, cost = {}, 0.0
            for n, code in codes.items():
                off_deg = np.degrees(_wrapped(2.0 * (way * code.carrier_rad + start - carrier)) / 2.0)
                changes = np.exp(1j * start) * (code.changes if way > 0 else np.conj(code.changes))
                miss = (off_deg / _CARRIER_DEG) ** 2 + np.abs((changes - expected) / _CHANGES) ** 2
                pick = int(np.argmin(miss))
                cost += min(float(miss[pick]), _WORST)
                if miss[pick] < _UNKNOWN:
                    named[n] = holds[pick]
            cost /= max(len(codes), 1)
            if best is None or cost < best[0]:
                for n, step in circle.step_of.items():
                    named[n] = fringe[(way * step + begin) % steps]
                best = cost, named
    assert best is not None
    return best


def _drawn_changes(axis: Axis, bit: int) -> complex:
    """What `_changes` would find in the pattern as it is drawn, where bits change between two pixels."""
    between = np.flatnonzero(np.diff(axis.gray_bit(bit))) + 0.5
    return complex(np.exp(2j * np.pi * between / axis.period_px).sum() * axis.period_px / axis.length_px)


def _wrapped(angle: NDArray[np.generic] | float) -> Angles:
    return np.asarray((np.asarray(angle, dtype=np.float64) + np.pi) % (2.0 * np.pi) - np.pi)
