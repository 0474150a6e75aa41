"""Settling the map by eye: check points that are moved on the house until they sit."""

from __future__ import annotations

import shutil
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Annotated, Literal

import cv2
import numpy as np
from numpy.typing import NDArray
from pydantic import Field

from limewash.errors import InputError
from limewash.facade.checkpoints import FILE, CheckPoint, CheckPoints, checkpoints_text, read_checkpoints
from limewash.facade.settle import Method, Settling, settled_correspondence
from limewash.facade.tracing import Traced, Tracing
from limewash.files import write_text
from limewash.project.folder import Project
from limewash.scan.correspondence import save_correspondence
from limewash.studio.document import Document
from limewash.studio.ground import Ground
from limewash.studio.notices import Notices
from limewash.studio.saver import ThinnedFile
from limewash.studio.tracing_desk import carried
from limewash.studio.wire import CarriedPath, Coordinate, Point, Wire

SETTLED = "-settled"
_BEFORE, _AFTER = (150, 110, 60), (255, 214, 140)


class NewCheckPoint(Wire):
    """A place of the map to check; without a name it gets a number."""

    revision: int
    map_px: Point
    name: Annotated[str, Field(max_length=60)] = ""
    part: Annotated[str, Field(max_length=60)] = ""


class MovedCheckPoint(Wire):
    """What to change about a check point: move it by so much, name it, say which flat part it lies on."""

    revision: int
    by_px: tuple[Coordinate, Coordinate] | None = None
    to_px: Point | None = None
    name: Annotated[str, Field(min_length=1, max_length=60)] | None = None
    part: Annotated[str, Field(max_length=60)] | None = None
    hold: Annotated[str, Field(max_length=40)] = ""
    """Names one drag: all its changes are one step for undo."""


class Chosen(Wire):
    """The check point that keys and phone move; empty for none."""

    name: Annotated[str, Field(max_length=60)]


class ChosenMethod(Wire):
    """How to settle."""

    revision: int
    method: Method


class SettlePoint(Wire):
    """A check point, ready to travel."""

    name: str
    part: str
    map_px: Point
    house_px: Point
    left_over_px: float
    """How far it is from where it should sit after settling: 0 where it is met exactly."""


class SettleState(Wire):
    """All of it."""

    revision: int
    scan: str
    settled: bool
    """Whether the scan in use is the settled one."""
    kept: bool
    """Whether what is seen is what was kept."""
    method: Method
    size: tuple[int, int]
    points: list[SettlePoint]
    chosen: str
    before: list[CarriedPath]
    paths: list[CarriedPath]
    """As it lands now."""
    can_undo: str | None
    can_redo: str | None
    trouble: str
    """Why these points fix no plane; the map then stays as it was."""


class SettleDesk:
    """Check points of one scan. The scan itself is never changed: keeping makes another one beside it."""

    def __init__(self, project: Project, ground: Ground, tracing: Callable[[], Tracing], notices: Notices) -> None:
        self._project = project
        self._ground = ground
        self._notices = notices
        self._lock = threading.RLock()
        self._file = ThinnedFile(project, project.root / FILE)
        self._document = Document(self._read())
        self._saved = self._document.value
        self._chosen = self._document.value.point[0].name if self._document.value.point else ""
        self._tracing = tracing
        self._carried: dict[Traced, CarriedPath] = {}

    @property
    def scan(self) -> str:
        """The scan that is settled, as it was filmed."""
        return self._ground.name

    def state(self) -> SettleState:
        """Everything, ready to travel."""
        with self._lock:
            points, before = self._document.value, self._before()
            settling, trouble = self._settling(points)
            rest = settling.left_over_px() if not trouble else np.zeros(len(points.point))
            return SettleState(
                revision=self._document.revision,
                scan=points.scan,
                settled=self._project.scan_folder().name == points.scan + SETTLED,
                kept=self._is_kept(points),
                method=points.method,
                size=self._ground.projector_size,
                points=[
                    SettlePoint(**point.model_dump(), left_over_px=round(float(off), 3))
                    for point, off in zip(points.point, rest, strict=True)
                ],
                chosen=self._chosen,
                before=before,
                paths=[_moved(path, settling) for path in before],
                can_undo=self._document.can_undo,
                can_redo=self._document.can_redo,
                trouble=trouble,
            )

    def add(self, new: NewCheckPoint) -> SettleState:
        """A new check point, which sits where the map now lands. Raises InputError if its name is taken."""
        with self._lock:
            self._document.check_seen(new.revision)
            points = self._document.value
            settling, _ = self._settling(points)
            x, y = settling.apply([new.map_px])[0].tolist()
            name = new.name or _free_name({point.name for point in points.point})
            point = CheckPoint(name=name, part=new.part, map_px=new.map_px, house_px=(x, y))
            self._chosen = name
            return self._set(points.with_points((*points.point, point)), f"check {name}")

    def change(self, name: str, change: MovedCheckPoint) -> SettleState:
        """Move or name a check point."""
        with self._lock:
            self._document.check_seen(change.revision)
            points = self._document.value
            old = points.named(name)
            x, y = change.to_px or old.house_px
            dx, dy = change.by_px or (0.0, 0.0)
            point = CheckPoint(
                name=change.name or old.name,
                part=old.part if change.part is None else change.part,
                map_px=old.map_px,
                house_px=(x + dx, y + dy),
            )
            self._chosen = point.name
            return self._set(points.with_point(name, point), f"move {point.name}", change.hold)

    def remove(self, name: str, revision: int) -> SettleState:
        """Take a check point out."""
        with self._lock:
            self._document.check_seen(revision)
            points = self._document.value
            points.named(name)
            left = tuple(point for point in points.point if point.name != name)
            self._chosen = left[0].name if left else ""
            return self._set(points.with_points(left), f"take out {name}")

    def choose(self, name: str) -> SettleState:
        """Which check point the keys and the phone move."""
        with self._lock:
            if name:
                self._document.value.named(name)
            self._chosen = name
            return self._tell()

    def nudge(self, dx: float, dy: float, hold: str = "") -> SettleState:
        """Move the chosen check point. Raises InputError if none is chosen."""
        if not self._chosen:
            raise InputError("choose a check point first")
        with self._lock:
            moved = MovedCheckPoint(revision=self._document.revision, by_px=(dx, dy), hold=hold)
            return self.change(self._chosen, moved)

    def set_method(self, revision: int, method: Method) -> SettleState:
        """How to settle."""
        with self._lock:
            self._document.check_seen(revision)
            return self._set(self._document.value.model_copy(update={"method": method}), "change the way of settling")

    def travel(self, revision: int, way: Literal["undo", "redo"]) -> SettleState:
        """Take back the last step, or do it again."""
        with self._lock:
            self._document.check_seen(revision)
            getattr(self._document, way)()
            names = [point.name for point in self._document.value.point]
            if self._chosen not in names:
                self._chosen = names[0] if names else ""
            return self._tell()

    def keep(self) -> Path:
        """Write the settled scan beside the scan that it comes from; gives its folder.

        Raises
        ------
        InputError
            If there are no check points, or they fix no plane.
        """
        with self._lock:
            points = self._document.value
        if not points.point:
            raise InputError("put at least one check point and move it until it sits")
        settling = Settling(points.point, points.method)
        source = self._project.root / "scans" / points.scan
        target = self._project.root / "scans" / (points.scan + SETTLED)
        target.mkdir(exist_ok=True)
        for name in ("photo.png", "daylight.png", "findings.json", "wall.json"):
            if (source / name).is_file():
                shutil.copyfile(source / name, target / name)
        save_correspondence(
            target / "correspondence.npz", settled_correspondence(self._ground.correspondence, settling)
        )
        write_text(target / FILE, checkpoints_text(points))
        return target

    def save(self) -> None:
        """Write `checkpoints.toml` if it has changed."""
        with self._lock:
            points = self._document.value
            if points == self._saved:
                return
        self._file.write(checkpoints_text(points).encode("utf-8"))
        with self._lock:
            self._saved = points

    def picture(self) -> NDArray[np.uint8]:
        """Before (dim) and after (bright) in projector pixels, each check point with the way it went."""
        state = self.state()
        picture = np.zeros((state.size[1], state.size[0], 3), dtype=np.uint8)
        for paths, colour in ((state.before, _BEFORE), (state.paths, _AFTER)):
            for path in paths:
                points = np.rint(np.array(path.points) * 16).astype(np.int32)
                cv2.polylines(picture, [points], path.closed, colour, 2, cv2.LINE_AA, shift=4)
        for point in state.points:
            a, b = (tuple(round(v) for v in place) for place in (point.map_px, point.house_px))
            cv2.arrowedLine(picture, a, b, (255, 255, 255), 1, cv2.LINE_AA, tipLength=0.3)
            cv2.circle(picture, b, 8, (255, 255, 255), 1, cv2.LINE_AA)
        return picture

    def _before(self) -> list[CarriedPath]:
        """The tracing as it is now, as the scan alone carries it; what has not changed since is not reckoned again."""
        carrier = self._ground.carrier
        items = self._tracing().items
        self._carried = {item: self._carried.get(item) or carried(item, carrier) for item in items}
        return list(self._carried.values())

    def _set(self, points: CheckPoints, what: str, hold: str = "") -> SettleState:
        self._document.change(points, what, hold)
        return self._tell()

    def _tell(self) -> SettleState:
        state = self.state()
        self._notices.tell({"type": "settle", "settle": state.model_dump(mode="json", exclude={"before"})})
        return state

    def _settling(self, points: CheckPoints) -> tuple[Settling, str]:
        try:
            return Settling(points.point, points.method), ""
        except InputError as error:
            return Settling((), points.method), str(error)

    def _is_kept(self, points: CheckPoints) -> bool:
        path = self._project.root / "scans" / (points.scan + SETTLED) / FILE
        return path.is_file() and path.read_text(encoding="utf-8") == checkpoints_text(points)

    def _read(self) -> CheckPoints:
        path = self._project.root / FILE
        if path.is_file():
            points = read_checkpoints(path)
            self._file.took_in()
            if points.scan == self._ground.name:
                return points
        return CheckPoints(scan=self._ground.name)


def base_name(scan: str) -> str:
    """The scan that a settled one comes from; any other is its own."""
    return scan.removesuffix(SETTLED)


def _moved(path: CarriedPath, settling: Settling) -> CarriedPath:
    points = np.round(settling.apply(path.points), 2).tolist()
    return path.model_copy(update={"points": [(x, y) for x, y in points]})


def _free_name(taken: set[str]) -> str:
    return next(name for n in range(1, len(taken) + 2) if (name := f"point {n}") not in taken)
