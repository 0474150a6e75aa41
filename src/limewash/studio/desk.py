"""The one shared project of a running studio. Knows no web framework."""

from __future__ import annotations

import threading
from pathlib import Path

from limewash.errors import InputError
from limewash.project.folder import Project, open_project
from limewash.studio.ground import Ground, open_ground
from limewash.studio.hand import Hand
from limewash.studio.hand_desk import make_hand
from limewash.studio.notices import Message, Notices
from limewash.studio.projector import Projector, Shown
from limewash.studio.recent import Recent
from limewash.studio.saver import Autosave
from limewash.studio.tracing_desk import TracingDesk


class Desk:
    """Holds the opened project and all that is changed in it; tells listeners of every change."""

    def __init__(self, recent: Recent | None = None) -> None:
        self.notices = Notices()
        self.recent = recent or Recent()
        self._lock = threading.RLock()
        self._project: Project | None = None
        self._ground: Ground | None = None
        self._tracing: TracingDesk | None = None
        self._hand: Hand | None = None
        self.projector = Projector(self.notices)
        self._autosave = Autosave(self.save, lambda text: self.notices.tell({"type": "trouble", "message": text}))
        self.notices.listen(self._on_message)

    @property
    def project(self) -> Project:
        """The opened project. Raises InputError if none is."""
        if self._project is None:
            raise InputError("no project is open; open one, make a new one or try the demo house")
        return self._project

    @property
    def is_open(self) -> bool:
        return self._project is not None

    @property
    def ground(self) -> Ground:
        """The scan in use. Raises InputError if there is none yet."""
        if self._ground is None:
            raise InputError(f"{self.project.house.name} has no scan yet; scan the house, or begin by eye")
        return self._ground

    @property
    def has_ground(self) -> bool:
        return self._ground is not None

    @property
    def tracing(self) -> TracingDesk:
        """The tracing of the scan in use. Raises InputError if there is no scan, or the file has a fault."""
        with self._lock:
            ground = self.ground
            if self._tracing is None:
                self._tracing = TracingDesk(self.project, ground, self.notices)
            return self._tracing

    @property
    def hand(self) -> Hand:
        """The cross-hair on the house."""
        with self._lock:
            if self._hand is None:
                self._hand = make_hand(self.ground, self.tracing, self.notices)
            return self._hand

    def open(self, root: Path) -> Project:
        """Open a project in place of the present one, which is saved first."""
        project = open_project(root.resolve())
        self.close_project()
        with self._lock:
            self._project = project
            self._ground = open_ground(project)
        self.projector.serve(project.rig.projector.size)
        self.recent.add(project.root, project.house.name)
        self.notices.tell({"type": "project", "name": project.house.name})
        return project

    def reload(self) -> None:
        """Read `house.toml` and the scans again: something in the project has changed."""
        self.open(self.project.root)

    def close_project(self) -> None:
        """Save and let go of the project."""
        self.save()
        with self._lock:
            self._project = self._ground = self._tracing = self._hand = None

    def save(self) -> None:
        """Write what is not on disk yet."""
        with self._lock:
            tracing = self._tracing
        if tracing is not None:
            tracing.save()

    def close(self) -> None:
        """Save and end."""
        self._autosave.close()
        self.save()

    def hello(self) -> dict[str, object]:
        """What a page that just came is told."""
        with self._lock:
            hand = self._hand
        return {
            "project": self._project.house.name if self._project else None,
            "projector": self.projector.state().model_dump(mode="json"),
            "hand": hand.state().model_dump(mode="json") if hand else None,
        }

    def check_shown(self, shown: Shown) -> None:
        """Whether the projector could show this. Raises InputError saying what is missing."""
        if shown.what == "map" and not (self.project.map_folder / "map.png").is_file():
            raise InputError("there is no map yet; make it on the Trace page")
        if shown.what in ("tracing", "settle"):
            _ = self.tracing
        if shown.what == "show" and not (self.project.show_folder(shown.name) / "show.mp4").is_file():
            raise InputError(f"the show {shown.name!r} has no film yet; render it on the Show page")

    def client_left(self, client: str) -> None:
        """A page went away."""
        self.projector.report(client, None)
        with self._lock:
            tracing = self._tracing
        if tracing is not None:
            tracing.keep_drags_of(client)

    def _on_message(self, message: Message) -> None:
        if message["type"] in ("tracing", "drag", "drag-end"):
            self._autosave.touch()
