"""What the projector shows, and whether its page shows it pixel by pixel."""

from __future__ import annotations

import threading
from dataclasses import dataclass, field
from typing import Annotated, Literal

from pydantic import Field

from limewash.studio.notices import Notices
from limewash.studio.wire import Wire

What = Literal[
    "black", "white", "focus", "grid", "marks", "pattern", "pattern-film", "tracing", "map", "show", "settle"
]

WORDS: dict[str, str] = {
    "black": "black",
    "white": "white",
    "focus": "focus chart",
    "grid": "alignment grid",
    "marks": "registration marks",
    "pattern": "pattern, one picture",
    "pattern-film": "pattern film",
    "tracing": "live tracing",
    "map": "map",
    "show": "show",
    "settle": "check points",
}


class Shown(Wire):
    """What to show: `name` of a show, `index` of a pattern's picture."""

    what: What
    name: Annotated[str, Field(max_length=80)] = ""
    index: Annotated[int, Field(ge=0, le=10_000)] = 0


class Look(Wire):
    """How lines are drawn on the house."""

    line_px: Annotated[float, Field(ge=1.0, le=20.0)] = 2.0
    colour: Annotated[str, Field(pattern="^#[0-9a-fA-F]{6}$")] = "#ffffff"
    by_kind: bool = False
    """Each kind in a colour of its own instead of `colour`."""


class PageReport(Wire):
    """What the projector page says of its window."""

    screen: tuple[float, float]
    """Of the display, as the browser counts. [CSS px]"""
    window: tuple[float, float]
    """Inside the window. [CSS px]"""
    ratio: Annotated[float, Field(gt=0.0, le=16.0)]
    """Display pixels for each CSS pixel."""
    full_screen: bool = False
    awake: bool = False
    """Whether the display is kept from sleeping."""


class ProjectorState(Wire):
    """All of it, for the pages."""

    native: tuple[int, int]
    what: What
    name: str
    index: int
    turn: int
    """Grows each time that something is asked for: a film that has ended begins again only then."""
    words: str
    blanked: bool
    look: Look
    page: PageReport | None
    warnings: list[str]


@dataclass
class Projector:
    """The one projector output of a desk. Black until something is asked for."""

    notices: Notices
    native: tuple[int, int] = (1920, 1080)
    shown: Shown = field(default_factory=lambda: Shown(what="black"))
    look: Look = field(default_factory=Look)
    blanked: bool = False
    turn: int = 0
    _pages: dict[str, PageReport] = field(default_factory=dict)
    _lock: threading.RLock = field(default_factory=threading.RLock)

    def show(self, shown: Shown) -> ProjectorState:
        """Show something; ends blanking."""
        with self._lock:
            self.shown, self.blanked, self.turn = shown, False, self.turn + 1
            return self._tell()

    def blank(self, blanked: bool) -> ProjectorState:
        """Black at once, or back to what was shown."""
        with self._lock:
            self.blanked = blanked
            return self._tell()

    def set_look(self, look: Look) -> ProjectorState:
        """Thickness and colour of lines."""
        with self._lock:
            self.look = look
            return self._tell()

    def serve(self, native: tuple[int, int]) -> None:
        """Another project: its projector's native size; black."""
        with self._lock:
            self.native, self.shown, self.blanked = native, Shown(what="black"), False
            self._tell()

    def report(self, client: str, page: PageReport | None) -> None:
        """A projector page tells of its window, or goes away (None)."""
        with self._lock:
            if page is None and client not in self._pages:
                return
            if page is None:
                del self._pages[client]
            else:
                self._pages[client] = page
            self._tell()

    def state(self) -> ProjectorState:
        """Everything, ready to travel."""
        with self._lock:
            page = next(reversed(self._pages.values()), None)
            words = WORDS[self.shown.what]
            return ProjectorState(
                native=self.native,
                what=self.shown.what,
                name=self.shown.name,
                index=self.shown.index,
                turn=self.turn,
                words=f"{words} {self.shown.name}" if self.shown.name else words,
                blanked=self.blanked,
                look=self.look,
                page=page,
                warnings=warnings(self.native, page, len(self._pages)),
            )

    def _tell(self) -> ProjectorState:
        state = self.state()
        self.notices.tell({"type": "projector", "state": state.model_dump(mode="json")})
        return state


def warnings(native: tuple[int, int], page: PageReport | None, pages: int = 1) -> list[str]:
    """Why the projector's pixels are not met one by one, each with what to do; empty when all is well.

    Parameters
    ----------
    native : (int, int)
        The projector's native width and height. [px]
    page : PageReport or None
        What the page says of its window; None when no page is open.
    pages : int
        How many projector pages are open.
    """
    if page is None:
        return []
    found = []
    screen = (round(page.screen[0] * page.ratio), round(page.screen[1] * page.ratio))
    if abs(screen[0] - native[0]) > 1 or abs(screen[1] - native[1]) > 1:
        found.append(
            f"The projector page is on a display of {screen[0]} x {screen[1]} pixels, but the projector has "
            f"{native[0]} x {native[1]}: move it to the projector's display, or set that display to its native size."
        )
    elif abs(page.ratio - 1.0) > 1e-3:
        found.append(
            f"The picture is enlarged {page.ratio:.0%} on its way: set the browser's zoom (Ctrl+0) and "
            "the projector display's scaling in the system settings to 100 %."
        )
    if not page.full_screen and not _fills(page):
        found.append("The projector page does not fill its display: press F on it for full screen.")
    if pages > 1:
        found.append("More than one projector page is open: close all but the one on the projector.")
    return found


def _fills(page: PageReport) -> bool:
    return all(abs(a - b) < 1.0 for a, b in zip(page.screen, page.window, strict=True))
