"""The score of a show while it is edited as text: undo, and nothing that another window or program wrote is lost."""

from __future__ import annotations

import hashlib
import threading
from typing import Literal

from limewash.errors import InputError
from limewash.project.folder import Project
from limewash.studio.document import ConflictError, Document
from limewash.studio.notices import Notices
from limewash.studio.saver import ThinnedFile
from limewash.studio.show_files import ScoreState, score_file, state_of_score


class ScoreDesk:
    """One score, shared by all windows. Every change is written at once."""

    def __init__(self, project: Project, name: str, notices: Notices) -> None:
        self.name = name
        self._notices = notices
        self._lock = threading.RLock()
        self._file = ThinnedFile(project, score_file(project, name))
        self._document = Document(self._on_disk())

    def state(self) -> ScoreState:
        """As it is on disk now; what another program wrote there is a step like any other."""
        with self._lock:
            text = self._on_disk()
            if text != self._document.value:
                self._document.change(text, "edit in another program")
            return self._state()

    def write(self, text: str, seen: str) -> ScoreState:
        """Replace the text as one step.

        Raises
        ------
        ConflictError
            If the score is not what the page has seen.
        InputError
            If the text is no score that can be read; it is then not written.
        """
        with self._lock:
            if self.state().seen != seen:
                raise ConflictError("the score was changed elsewhere meanwhile")
            state = state_of_score(self.name, text)
            if state.trouble:
                raise InputError(state.trouble)
            if text != self._document.value:
                self._document.change(text, "change the score")
                self._written()
            return self._state()

    def travel(self, seen: str, way: Literal["undo", "redo"]) -> ScoreState:
        """Take back the last step, or do it again. Raises as `write` does, or if there is no step."""
        with self._lock:
            if self.state().seen != seen:
                raise ConflictError("the score was changed elsewhere meanwhile")
            getattr(self._document, way)()
            self._written()
            return self._state()

    def _state(self) -> ScoreState:
        state = state_of_score(self.name, self._document.value)
        return state.model_copy(
            update={
                "seen": mark(self._document.value),
                "can_undo": self._document.can_undo,
                "can_redo": self._document.can_redo,
            }
        )

    def _written(self) -> None:
        self._file.write(self._document.value.encode("utf-8"))
        self._notices.tell({"type": "score", "name": self.name, "seen": mark(self._document.value)})

    def _on_disk(self) -> str:
        return self._file.path.read_text(encoding="utf-8")


def mark(text: str) -> str:
    """A short word for a text: another text has another one."""
    return hashlib.sha256(text.encode("utf-8")).hexdigest()[:16]
