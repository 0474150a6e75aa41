"""The one shared project of a running studio. Knows no web framework."""

from __future__ import annotations

import contextlib
import threading
from dataclasses import dataclass, replace
from pathlib import Path

from limewash.errors import InputError, LimewashError
from limewash.facade.tracing import Tracing
from limewash.project.folder import Project, open_project
from limewash.studio.ground import Ground, open_ground
from limewash.studio.hand import Hand
from limewash.studio.hand_desk import make_hand
from limewash.studio.house_desk import HouseDesk
from limewash.studio.jobs import Jobs
from limewash.studio.notices import Message, Notices
from limewash.studio.projector import Projector, Shown
from limewash.studio.recent import Recent
from limewash.studio.saver import Autosave
from limewash.studio.score_desk import ScoreDesk
from limewash.studio.settle_desk import SettleDesk, base_name
from limewash.studio.show_files import score_file
from limewash.studio.tracing_desk import TracingDesk

_SAVED_AFTER = ("tracing", "drag", "drag-end", "house", "settle")


@dataclass
class _OfScan:
    """What belongs to the scan in use, made when it is first asked for."""

    ground: Ground | None = None
    tracing: TracingDesk | None = None
    hand: Hand | None = None
    settle: SettleDesk | None = None


class Desk:
    """Holds the opened project and all that is changed in it; tells listeners of every change."""

    def __init__(self, recent: Recent | None = None) -> None:
        self.notices = Notices()
        self.recent = recent or Recent()
        self.jobs = Jobs(self.notices)
        self.projector = Projector(self.notices)
        self._lock = threading.RLock()
        self._project: Project | None = None
        self._house: HouseDesk | None = None
        self._scan = _OfScan()
        self._scores: dict[str, ScoreDesk] = {}
        self._autosave = Autosave(self.save, self.look, self._trouble)
        self.notices.listen(self._on_message)

    @property
    def project(self) -> Project:
        """The opened project, as its settings are now. Raises InputError if none is open."""
        with self._lock:
            if self._project is None or self._house is None:
                raise InputError("no project is open; open one, make a new one or try the demo house")
            return replace(self._project, house=self._house.house)

    @property
    def is_open(self) -> bool:
        return self._project is not None

    @property
    def house(self) -> HouseDesk:
        """The settings. Raises InputError if no project is open."""
        with self._lock:
            if self._house is None:
                raise InputError("no project is open; open one, make a new one or try the demo house")
            return self._house

    @property
    def ground(self) -> Ground:
        """The scan in use. Raises InputError if there is none yet."""
        with self._lock:
            if self._scan.ground is None:
                self._scan.ground = open_ground(self.project)
            if self._scan.ground is None:
                raise InputError(f"{self.project.house.name} has no scan yet; scan the house, or begin by eye")
            return self._scan.ground

    @property
    def tracing(self) -> TracingDesk:
        """The tracing of the scan in use. Raises InputError if there is no scan, or the file has a fault."""
        with self._lock:
            if self._scan.tracing is None:
                self._scan.tracing = TracingDesk(self.project, self.ground, self.notices)
            return self._scan.tracing

    @property
    def hand(self) -> Hand:
        """The cross-hair on the house."""
        with self._lock:
            if self._scan.hand is None:
                self._scan.hand = make_hand(self.ground, self.tracing, self.notices)
                self.notices.tell({"type": "hand", "hand": self._scan.hand.state().model_dump(mode="json")})
            return self._scan.hand

    @property
    def settle(self) -> SettleDesk:
        """The check points of the scan in use; of the one behind it when that is a settled one."""
        with self._lock:
            if self._scan.settle is None:
                name = base_name(self.ground.name)
                ground = Ground(name, self.project.root / "scans" / name)
                _ = self.tracing  # what is wrong with it is told now
                self._scan.settle = made = SettleDesk(self.project, ground, self._committed, self.notices)
                state = made.state().model_dump(mode="json", exclude={"before"})
                self.notices.tell({"type": "settle", "settle": state})  # a projector page that was there before it
            return self._scan.settle

    def score(self, name: str) -> ScoreDesk:
        """The score of a show. Raises InputError if it has none."""
        with self._lock:
            score_file(self.project, name)  # it may have gone meanwhile
            if name not in self._scores:
                self._scores[name] = ScoreDesk(self.project, name, self.notices)
            return self._scores[name]

    def open(self, root: Path) -> Project:
        """Open a project in place of the present one, which is saved first."""
        project = open_project(root.resolve())
        self.close_project()
        with self._lock:
            self._project = project
            self._house = HouseDesk(project, self.notices)
        self.recent.add(project.root, project.house.name)
        self.projector.serve(project.rig.projector.size)
        self.notices.tell({"type": "project", "name": project.house.name})
        threading.Thread(target=self._warm, name="warm", daemon=True).start()
        return project

    def use_scan(self, name: str) -> None:
        """Trace on this scan from now on. Raises InputError if there is none of that name."""
        self.project.scan_folder(name)
        self.house.set("choose a scan", scan=name)

    def scans_changed(self) -> None:
        """A scan came or went: what belongs to the one in use is read again."""
        self.save()
        with self._lock:
            settle = self._scan.settle
            here = self._project is not None and settle is not None and settle.scan == base_name(self._scan_name())
            # Settled or as filmed, it is the same scan: the check points' steps stay.
            self._scan = _OfScan(settle=settle if here else None)
        self.notices.tell({"type": "scan"})

    def keep_settled(self) -> None:
        """Make the settled scan and use it."""
        settle = self.settle
        self.use_scan(settle.keep().name)
        self.scans_changed()

    def close_project(self) -> None:
        """Save and let go of the project."""
        self.save()
        with self._lock:
            self._project = self._house = None
            self._scan = _OfScan()
            self._scores = {}

    def save(self) -> None:
        """Write what is not on disk yet."""
        with self._lock:
            parts = (self._house, self._scan.tracing, self._scan.settle)
        for part in parts:
            if part is not None:
                part.save()

    def look(self) -> None:
        """Take in what other programs have changed in the project."""
        with self._lock:
            parts = (self._house, self._scan.tracing)
        for part in parts:
            if part is not None:
                part.take_in_outside_changes()

    def close(self) -> None:
        """Save, stop the jobs and end."""
        self.jobs.close()
        self._autosave.close()
        self.save()

    def hello(self) -> Message:
        """What a page that just came is told."""
        with self._lock:
            hand, settle = self._scan.hand, self._scan.settle
        return {
            "project": self.project.house.name if self.is_open else None,
            "folder": str(self.project.root) if self.is_open else None,
            "projector": self.projector.state().model_dump(mode="json"),
            "hand": hand.state().model_dump(mode="json") if hand is not None else None,
            "settle": settle.state().model_dump(mode="json", exclude={"before"}) if settle is not None else None,
        }

    def client_left(self, client: str) -> None:
        """A page went away: its drags become steps."""
        self.projector.report(client, None)
        with self._lock:
            tracing = self._scan.tracing
        if tracing is not None:
            tracing.keep_drags_of(client)

    def check_shown(self, shown: Shown) -> None:
        """Whether the projector could show this. Raises InputError saying what is missing."""
        if shown.what == "map" and not (self.project.map_folder / "map.png").is_file():
            raise InputError("there is no map yet; make it on the Trace page")
        if shown.what == "tracing":
            _ = self.tracing
        if shown.what == "settle":
            _ = self.settle
        if shown.what == "show" and not (self.project.show_folder(shown.name) / "show.mp4").is_file():
            raise InputError(f"the show {shown.name!r} has no film yet; render it on the Show page")

    def _committed(self) -> Tracing:
        return self.tracing.tracing

    def _scan_name(self) -> str:
        """The scan in use; empty when there is none."""
        try:
            return self.project.scan_folder().name
        except LimewashError:
            return ""

    def _warm(self) -> None:
        """Read the scan before somebody waits for it; what is wrong with it is told when it is asked for."""
        with contextlib.suppress(LimewashError):
            _ = self.ground.carrier

    def _trouble(self, text: str) -> None:
        self.notices.tell({"type": "trouble", "message": text})

    def _on_message(self, message: Message) -> None:
        if message["type"] in _SAVED_AFTER:
            self._autosave.touch()
        if message["type"] == "house":
            self._house_changed()

    def _house_changed(self) -> None:
        project = self.project
        if self.projector.native != project.rig.projector.size:
            self.projector.serve(project.rig.projector.size)
        with self._lock:
            ground = self._scan.ground
        if ground is not None and self._scan_name() != ground.name:
            self.scans_changed()
