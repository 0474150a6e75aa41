"""The tracing while it is edited: revisions, undo, dragging, saving."""

from __future__ import annotations

import itertools
import threading
from collections.abc import Iterable
from dataclasses import replace

import numpy as np

from limewash.errors import InputError, did_you_mean
from limewash.facade.svg import read_tracing, tracing_svg
from limewash.facade.tracing import Kind, Traced, Tracing
from limewash.project.folder import Project
from limewash.studio.carry import Carrier
from limewash.studio.document import ConflictError, Document
from limewash.studio.ground import Ground
from limewash.studio.notices import Notices
from limewash.studio.saver import ThinnedFile
from limewash.studio.wire import (
    CarriedPath,
    Change,
    Drag,
    MapPreview,
    TracedPath,
    TracingState,
    from_traced,
    state_of,
    to_traced,
)


class TracingDesk:
    """One tracing, shared by all windows. Every method may be called from any thread."""

    def __init__(self, project: Project, ground: Ground, notices: Notices) -> None:
        self._project = project
        self._ground = ground
        self._notices = notices
        self._lock = threading.RLock()
        self._file = ThinnedFile(project, project.tracing_file)
        self._document = Document(self._read())
        self._began = self._document.revision
        self._touched: dict[str, int] = {}
        """The revision in which each path was last changed, put in or taken out."""
        self._dragged: dict[str, tuple[Traced, str]] = {}
        self._saved: Tracing = self._document.value
        self._carried: dict[Traced, CarriedPath] = {}

    @property
    def tracing(self) -> Tracing:
        """As committed, without what is being dragged."""
        with self._lock:
            return self._document.value

    @property
    def revision(self) -> int:
        with self._lock:
            return self._document.revision

    @property
    def shown(self) -> Tracing:
        """As people see it: with what is being dragged."""
        with self._lock:
            tracing = self._document.value
            if not self._dragged:
                return tracing
            known = {item.id for item in tracing.items}
            moved = (self._dragged[i.id][0] if i.id in self._dragged else i for i in tracing.items)
            new = (item for path_id, (item, _) in self._dragged.items() if path_id not in known)
            return replace(tracing, items=(*moved, *new))

    def state(self) -> TracingState:
        """Everything, ready to travel."""
        with self._lock:
            document = self._document
            return state_of(document.value, document.revision, can_undo=document.can_undo, can_redo=document.can_redo)

    def change(self, change: Change) -> TracingState:
        """Put paths in and take paths out, as one step.

        Raises
        ------
        ConflictError
            If one of these paths was changed since `change.revision`; nothing is then changed.
        InputError
            If a path has no length, reaches beyond the photo, or one to take out does not exist.
        """
        with self._lock:
            ids = [*(path.id for path in change.put), *change.remove]
            if len(set(ids)) < len(ids):
                raise InputError("one change names a path twice; name each once")
            self._check_seen(change.revision, ids)
            put = [to_traced(path, self._document.value.size) for path in change.put]
            self._check_known(change.remove)
            for path_id in ids:
                self._dragged.pop(path_id, None)
            self._commit(put, change.remove, change.what or _in_words(put, change.remove))
            return self.state()

    def add(self, path: TracedPath, what: str = "") -> tuple[str, TracingState]:
        """Put in a new path; if its id is taken it gets a free one. Gives the id and the state."""
        with self._lock:
            taken = {item.id for item in self._document.value.items} | set(self._touched)
            path_id = path.id if path.id not in taken else _free(path.kind, taken)
            put = [to_traced(path.model_copy(update={"id": path_id}), self._document.value.size)]
            self._dragged.pop(path.id, None)
            self._dragged.pop(path_id, None)
            self._commit(put, [], what or f"draw {path.kind.value}")
            return path_id, self.state()

    def replace_all(self, tracing: Tracing, what: str) -> TracingState:
        """Take another tracing of the same photo in its place, as one step."""
        with self._lock:
            if tracing.size != self._document.value.size:
                raise InputError(
                    f"that tracing is for a photo of {tracing.size[0]} x {tracing.size[1]}, this one is "
                    f"{self._document.value.size[0]} x {self._document.value.size[1]}"
                )
            self._dragged.clear()
            self._set(tracing, what)
            return self.state()

    def undo(self, revision: int) -> TracingState:
        """Take back the last step. Raises ConflictError if the page has not seen it, InputError if there is none."""
        return self._travel(revision, "undo")

    def redo(self, revision: int) -> TracingState:
        """Do the last undone step again."""
        return self._travel(revision, "redo")

    def drag(self, drag: Drag) -> None:
        """Show a path as it is being dragged; the file follows within a second."""
        item = to_traced(drag.path, self._ground.photo_size)
        with self._lock:
            if drag.revision is not None and drag.revision < self._touched.get(item.id, self._began):
                return
            self._dragged[item.id] = (item, drag.client)
        path = from_traced(item).model_dump(mode="json")
        shown = carried(item, self._ground.carrier).model_dump(mode="json")
        with self._lock:
            if self._dragged.get(item.id) == (item, drag.client):  # else a change by now, or let go
                self._notices.tell({"type": "drag", "path": path, "carried": shown, "by": drag.client})

    def drop_drag(self, path_id: str | None = None) -> None:
        """Forget what is being dragged (one path or all): it goes back to where it was."""
        with self._lock:
            gone = [i for i in self._dragged if path_id in (None, i)]
            for i in gone:
                del self._dragged[i]
        for i in gone:
            self._notices.tell({"type": "drag-end", "id": i})

    def keep_drags_of(self, client: str) -> None:
        """A page went away in the middle of a drag: what people saw becomes a step."""
        with self._lock:
            kept = [item for item, by in self._dragged.values() if client and by == client]
            for item in kept:
                del self._dragged[item.id]
            if kept:
                self._commit(kept, [], "drag")

    def preview(self) -> MapPreview:
        """The tracing as people see it, in projector pixels: quick, for the eye."""
        with self._lock:
            shown, revision, known = self.shown, self._document.revision, self._carried
        fresh = {item: known.get(item) or carried(item, self._ground.carrier) for item in shown.items}
        self._carried = fresh  # what has not moved since is not reckoned again
        return MapPreview(revision=revision, size=self._ground.projector_size, paths=list(fresh.values()))

    def save(self) -> None:
        """Write `tracing.svg` if it is not what people see. Raises InputError if it cannot be written."""
        with self._lock:
            shown = self.shown
            if shown == self._saved:
                return
        photo = (self._ground.folder / "photo.png").relative_to(self._project.root).as_posix()
        self._file.write(tracing_svg(shown, photo).encode("utf-8"))
        with self._lock:
            self._saved = shown

    def take_in_outside_changes(self) -> bool:
        """Read `tracing.svg` again if another program has saved it; True if it was."""
        with self._lock:
            if self.shown != self._saved or not self._file.changed_outside:
                return False
            self._saved = self._read()
            self._set(self._saved, "edit in another program")
            return True

    def _read(self) -> Tracing:
        size = self._ground.photo_size
        if not self._project.tracing_file.is_file():
            return Tracing(size)
        tracing = read_tracing(self._project.tracing_file)
        self._file.took_in()
        if tracing.size != size:
            raise InputError(
                f"{self._project.tracing_file} was drawn over a photo of {tracing.size[0]} x {tracing.size[1]}, but "
                f"the scan in use has one of {size[0]} x {size[1]}: choose the scan that it was drawn on"
            )
        return tracing

    def _check_seen(self, revision: int, ids: list[str]) -> None:
        try:
            for path_id in ids:
                self._document.check_seen(revision, since=self._touched.get(path_id, self._began))
        except ConflictError:
            for path_id in ids:
                self.drop_drag(path_id)  # what was dragged there is not to be: nobody shall go on seeing it
            raise

    def _check_known(self, ids: Iterable[str]) -> None:
        known = [item.id for item in self._document.value.items]
        for path_id in ids:
            if path_id not in known:
                raise InputError(f"there is no path {path_id!r}{did_you_mean(path_id, known) if known else ''}")

    def _commit(self, put: list[Traced], remove: Iterable[str], what: str) -> None:
        new = {item.id: item for item in put}
        gone = set(remove)
        old = self._document.value
        kept = [new.pop(item.id, item) for item in old.items if item.id not in gone]
        self._set(replace(old, items=(*kept, *new.values())), what)

    def _set(self, tracing: Tracing, what: str) -> None:
        before = self._document.value
        self._document.change(tracing, what)
        self._tell(before)

    def _travel(self, revision: int, way: str) -> TracingState:
        with self._lock:
            self._document.check_seen(revision)
            before = self._document.value
            self._dragged.clear()
            getattr(self._document, way)()
            self._tell(before)
            return self.state()

    def _tell(self, before: Tracing) -> None:
        old = {item.id: item for item in before.items}
        new = {item.id: item for item in self._document.value.items}
        for path_id in old.keys() | new.keys():
            if old.get(path_id) != new.get(path_id):
                self._touched[path_id] = self._document.revision
        self._notices.tell({"type": "tracing", "state": self.state().model_dump(mode="json")})


def _free(kind: Kind, taken: set[str]) -> str:
    return next(name for n in itertools.count(1) if (name := f"{kind.value}-{n}") not in taken)


def _in_words(put: list[Traced], remove: list[str]) -> str:
    if put and not remove:
        return f"change {put[0].title or put[0].kind.value}" if len(put) == 1 else f"change {len(put)} paths"
    if remove and not put:
        return "take out a path" if len(remove) == 1 else f"take out {len(remove)} paths"
    return f"change {len(put) + len(remove)} paths"


def carried(item: Traced, carrier: Carrier) -> CarriedPath:
    """One path in projector pixels, ready to travel."""
    points = np.round(carrier.carry_path(item.path), 2).tolist()
    return CarriedPath.model_construct(
        id=item.id, kind=item.kind, title=item.title, closed=item.path.closed, points=[(x, y) for x, y in points]
    )
