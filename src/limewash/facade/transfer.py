"""Transfer of the tracing from photo pixels to projector pixels, through the scan's correspondence.

Along each path planes are fitted to what the scan saw on both sides of it, so that lines run straight across
window glass and gaps of the scan, and edges at depth steps land on the right surface (the rule is in
`limewash.facade.surfaces`).
"""

from __future__ import annotations

from dataclasses import asdict, dataclass

import numpy as np
from numpy.typing import NDArray

from limewash.errors import InputError
from limewash.facade.candidates import shared_planes, side_planes, with_stretches
from limewash.facade.front import LEAST_VOTES, Front, measure_front
from limewash.facade.joining import mapped_points
from limewash.facade.lens import find_lens
from limewash.facade.nearness import find_epipole
from limewash.facade.parallel import parallel_planes
from limewash.facade.quality import TransferQuality
from limewash.facade.samples import Samples, gather
from limewash.facade.siblings import is_hidden, is_post, laid_on, row_of_posts
from limewash.facade.sides import STEP, Sides, sides_of
from limewash.facade.strips import chain_of, strip_along
from limewash.facade.surfaces import Surfaces, choose
from limewash.facade.tracing import Kind, Traced, Tracing
from limewash.facade.votes import lean_votes, path_votes
from limewash.scan.correspondence import Correspondence

Array = NDArray[np.float64]

NEAR, BAND = 1.2, 24.0
"""Samples nearer to the line may mix both sides; those further away say little about it. [projector px]"""
STRIDE = 3
"""For what concerns the whole scan (lens, main wall, nearness) every third row and column is enough."""
ROUGH_PX = 1.5
FAR_PX = 20.0
"""Further from any sample the transfer is called extrapolated. [photo px]"""


@dataclass(frozen=True, eq=False)
class TransferredPath:
    """One traced path in projector pixels.

    Attributes
    ----------
    id, kind, title, closed
        As in the tracing.
    points : ndarray of float64 and shape (N, 2)
        Chain of points within 0.05 px of the true curve; a closed one does not repeat its first point. [px]
    quality : TransferQuality
    """

    id: str
    kind: Kind
    title: str
    closed: bool
    points: Array
    quality: TransferQuality

    def quality_json(self) -> dict[str, object]:
        """Id, kind, title and quality as plain data."""
        return {"id": self.id, "kind": self.kind.value, "title": self.title, **asdict(self.quality)}


def transfer(
    tracing: Tracing, correspondence: Correspondence, *, camera_side: tuple[float, float] | None = None
) -> tuple[TransferredPath, ...]:
    """Carry every path of a tracing to projector pixels.

    Parameters
    ----------
    tracing : Tracing
        In pixels of the scan's photo.
    correspondence : Correspondence
    camera_side : (float, float), optional
        Direction from the projector's lens to the camera's, x right and y down as seen from behind the projector;
        any length. Without it the scan tells (see `limewash.facade.nearness`).

    Returns
    -------
    paths : tuple of TransferredPath
        In the tracing's order.

    Raises
    ------
    InputError
        If the tracing belongs to a photo of another size, or the scan has too few points to fit anything.
    """
    if tracing.size != correspondence.camera_size:
        raise InputError(
            f"the tracing is drawn on a photo of {tracing.size[0]} x {tracing.size[1]} px, the scan's photo has "
            f"{correspondence.camera_size[0]} x {correspondence.camera_size[1]}; import the drawing over this photo"
        )
    if not tracing.items:
        return ()
    return _Scene(tracing, correspondence, camera_side).transferred(tracing.items)


class _Scene:
    """What is known about the whole scan, shared by all paths."""

    def __init__(
        self, tracing: Tracing, correspondence: Correspondence, camera_side: tuple[float, float] | None
    ) -> None:
        rng = np.random.default_rng(0)
        thin = gather(correspondence, stride=STRIDE)
        if len(thin.photo) < 50:
            raise InputError(f"the scan has only {len(thin.photo) * STRIDE**2} points; scan again")
        self.lens, self.wall = find_lens(thin, correspondence.camera_size, rng)
        thin = thin.straightened(self.lens.straighten(thin.photo))
        band_px = BAND * thin.scale
        chains = {item.id: chain_of(item.path, 0.3 * thin.scale) for item in tracing.items}
        near = [(chains[item.id], item.path.closed) for item in tracing.items]
        samples = gather(correspondence, near, band_px, like=thin)
        self.samples = samples.straightened(self.lens.straighten(samples.photo))
        self.nearness = find_epipole(self.wall, thin) if self.wall else None
        self.sides = {item.id: self._sides(item, chains[item.id]) for item in tracing.items}
        self.planes = {name: side_planes(sides, _dice()) for name, sides in self.sides.items()}
        self.front = self._measured(thin, correspondence, camera_side)

    def _sides(self, item: Traced, chain: Array) -> Sides:
        samples, closed = self.samples, item.path.closed
        near_px, band_px = NEAR * samples.scale, BAND * samples.scale
        strip = strip_along(chain, samples, closed=closed, near_px=near_px, band_px=band_px)
        count = max(2, int(np.ceil(strip.length_px / (STEP * samples.scale))))
        stations = strip.points_at((np.arange(count) + 0.5) / count * strip.length_px)
        return sides_of(item, strip, samples, self.lens.straighten(stations), self.nearness)

    def transferred(self, items: tuple[Traced, ...]) -> tuple[TransferredPath, ...]:
        """Lay every path on its surfaces, and map it."""
        warnings: dict[str, list[str]] = {item.id: [] for item in items}
        laid = {item.id: self._laid(item, warnings[item.id]) for item in items}
        self._lay_hidden_posts(laid, warnings)
        paths = []
        for item in items:
            sides, surfaces = self.sides[item.id], laid[item.id]
            points = mapped_points(item.path, sides.strip, surfaces, self.lens, self.samples.scale)
            quality = _quality(sides, surfaces, _name(item), warnings[item.id])
            paths.append(TransferredPath(item.id, item.kind, item.title, item.path.closed, points, quality))
        return tuple(paths)

    def _laid(self, item: Traced, warnings: list[str]) -> Surfaces:
        sides, planes = self.sides[item.id], self.planes[item.id]
        if self.front is not None:
            planes = [*planes, *parallel_planes(sides, self.front)]
        planes = with_stretches(planes, sides, _dice())
        if planes:
            return choose(sides, planes, self.front)
        if self.wall is None:
            raise InputError(
                f"no scan data near {_name(item)!r}, and no main wall to lay it on; scan again or remove it"
            )
        warnings.append(f"no scan data within {FAR_PX:.0f} px of {_name(item)!r}: laid on the plane of the main wall")
        return laid_on(sides, self.wall)

    def _lay_hidden_posts(self, laid: dict[str, Surfaces], warnings: dict[str, list[str]]) -> None:
        posts = {name: (sides, laid[name]) for name, sides in self.sides.items() if is_post(sides)}
        row = row_of_posts(posts.values(), self.front) if self.front is not None else None
        if row is None:
            return
        for name, (sides, surfaces) in posts.items():
            if is_hidden(sides, surfaces):
                laid[name] = laid_on(sides, row)
                warnings[name].append(
                    f"the scan does not show {_name(sides.item)!r}: laid in a row with the other posts"
                )

    def _measured(
        self, thin: Samples, correspondence: Correspondence, camera_side: tuple[float, float] | None
    ) -> Front | None:
        """Measure the front, and find out which way is nearer."""
        found = [(sides, self.planes[name]) for name, sides in self.sides.items()]
        if self.nearness is None:
            return None
        front = measure_front(found, shared_planes(found), self.nearness, thin)
        if front is None:
            return None
        if camera_side is not None:
            middle = np.array([correspondence.projector_size], dtype=np.float64) / 2.0
            return front.with_sign(float(np.copysign(LEAST_VOTES, front.way(middle)[0] @ np.array(camera_side))))
        picture = np.stack([correspondence.camera_x, correspondence.camera_y], axis=-1)[::STRIDE, ::STRIDE]
        straight = self.lens.straighten(picture.reshape(-1, 2).astype(np.float64)).reshape(picture.shape)
        votes = lean_votes(front, straight, STRIDE)
        votes += sum(path_votes(sides, planes, front) for sides, planes in found)
        return front.with_sign(votes)


def _name(item: Traced) -> str:
    return item.title or item.id


def _dice() -> np.random.Generator:
    """The same for each path, whose result then does not depend on the others."""
    return np.random.default_rng(1)


def _quality(sides: Sides, surfaces: Surfaces, named: str, warnings: list[str]) -> TransferQuality:
    count = sides.count
    held = np.bincount(sides.station[surfaces.used], minlength=count) > 0
    reach = int(np.ceil(FAR_PX / surfaces.station_px))
    held = _spread(held, reach, sides.strip.closed)
    extrapolated = 1.0 - float(held.mean())
    if surfaces.used.any() and extrapolated > 0.4:
        share = f"{extrapolated:.0%} of {named!r}"
        warnings.append(f"{share} has no scan data within {FAR_PX:.0f} px: check it on the house")
    if surfaces.residual_px > ROUGH_PX:
        warnings.append(f"what {named!r} lies on is not flat or was scanned poorly ({surfaces.residual_px:.1f} px)")
    return TransferQuality(
        support=int(np.count_nonzero(surfaces.used)),
        residual_px=surfaces.residual_px,
        extrapolated=extrapolated,
        surfaces=len(np.unique(surfaces.labels)),
        warnings=tuple(warnings),
    )


def _spread(flags: NDArray[np.bool_], by: int, closed: bool) -> NDArray[np.bool_]:
    """Flags with their neighbours up to `by` places away."""
    window = np.ones(2 * by + 1)
    if closed and len(flags) > 2 * by:
        flags = np.concatenate([flags[-by:], flags, flags[:by]]) if by else flags
        return np.asarray(np.convolve(flags, window, mode="valid") > 0)
    return np.asarray(np.convolve(flags, window, mode="full")[by : by + len(flags)] > 0)
