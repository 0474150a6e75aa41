"""The score of a show while it is edited as text: undo, and nothing that another window or program wrote is lost."""

from __future__ import annotations

import hashlib
import threading
from typing import Literal

from limewash.errors import InputError
from limewash.project.folder import Project
from limewash.studio.document import MOST_PAST, ConflictError, Document
from limewash.studio.merge import merged_text
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
        self._texts: dict[str, str] = {}
        """What pages were told or have sent, by its mark."""

    def state(self) -> ScoreState:
        """As it is on disk now; what another program wrote there is a step like any other."""
        with self._lock:
            text = self._on_disk()
            if text != self._document.value:
                self._document.change(text, "edit in another program")
            return self._state()

    def write(self, text: str, seen: str) -> ScoreState:
        """Replace the text as one step, together with what was changed elsewhere since the page has seen it.

        Raises
        ------
        ConflictError
            If the same lines were changed elsewhere, or what the page has seen is too long ago.
        InputError
            If the text is no score that can be read; it is then not written.
        """
        with self._lock:
            state = state_of_score(self.name, text)
            if state.trouble:
                raise InputError(state.trouble)
            both = self._together(text, seen)
            if both != self._document.value:
                self._document.change(both, "change the score")
                self._written()
            return self._state().model_copy(update={"sent": self._known(text)})

    def _together(self, text: str, seen: str) -> str:
        """What the page wants, laid together with what it has not seen."""
        if self.state().seen == seen:
            return text
        base = self._texts.get(seen)
        both = None if base is None else merged_text(base, text, self._document.value)
        if both is None or state_of_score(self.name, both).trouble:
            raise ConflictError("the score was changed elsewhere meanwhile")
        return both

    def _known(self, text: str) -> str:
        word = mark(text)
        self._texts[word] = text
        if len(self._texts) > MOST_PAST:
            del self._texts[next(iter(self._texts))]
        return word

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
                "seen": self._known(self._document.value),
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
