"""`house.toml` while it is edited in forms: revisions, undo, faults at their fields, saving with comments kept."""

from __future__ import annotations

import threading
from typing import Annotated, Any, Literal

import pydantic
from pydantic import Field

from limewash.errors import InputError
from limewash.project.carry_changes import changed_text
from limewash.project.folder import HOUSE_FILE, Project
from limewash.project.models import HOUSE_FORMAT, House
from limewash.project.toml_models import read_model
from limewash.studio.document import ConflictError, Document
from limewash.studio.merge import Clash, Side, merged
from limewash.studio.notices import Notices
from limewash.studio.saver import ThinnedFile
from limewash.studio.wire import Wire

Plain = dict[str, Any]


class HouseChange(Wire):
    """The whole house as the form has it; `revision` is the newest that the page has seen.

    After a clash it is sent again with what the person has `decided` field by field, and the revision that this was
    decided for.
    """

    revision: int
    house: dict[str, Any]
    decided: Annotated[dict[str, Side], Field(max_length=200)] = Field(default_factory=dict)
    decided_for: int | None = None
    what: Annotated[str, Field(max_length=80)] = "change the site"


class HouseState(Wire):
    """The house at one revision, ready to travel."""

    revision: int
    house: dict[str, Any]
    can_undo: str | None
    can_redo: str | None


class FaultyFormError(InputError):
    """Values that the model refuses: each fault with the place of its field, as `rig.0.projector.throw_ratio`."""

    def __init__(self, faults: list[dict[str, str]]) -> None:
        super().__init__(f"{faults[0]['where'] or 'this'}: {faults[0]['message']}")
        self.where = faults[0]["where"]
        self.faults = faults


class FormClashError(ConflictError):
    """Fields that two windows changed differently: the person decides, for the present `revision`."""

    def __init__(self, clashes: list[Clash], revision: int) -> None:
        names = ", ".join(clash.where for clash in clashes)
        super().__init__(f"changed in another window too: {names}; choose which values are right")
        self.clashes = [vars(clash) for clash in clashes]
        self.revision = revision


class HouseDesk:
    """The settings of a project, shared by all windows."""

    def __init__(self, project: Project, notices: Notices) -> None:
        self._notices = notices
        self._lock = threading.RLock()
        self._path = project.root / HOUSE_FILE
        self._file = ThinnedFile(project, self._path)
        self._file.took_in()
        self._document = Document(project.house)
        self._saved = project.house

    @property
    def house(self) -> House:
        """As it is now; reading takes no lock, so that it can be read while something else is told of a change."""
        return self._document.value

    def state(self) -> HouseState:
        """Everything, ready to travel."""
        with self._lock:
            document = self._document
            return HouseState(
                revision=document.revision,
                house=document.value.model_dump(mode="json"),
                can_undo=document.can_undo,
                can_redo=document.can_redo,
            )

    def change(self, change: HouseChange) -> HouseState:
        """Take the form's values as one step, together with what other windows changed since the page's revision.

        Raises
        ------
        FormClashError
            If another window has changed the same fields to something else; nothing is then changed.
        ConflictError
            If what the page has seen is too long ago.
        FaultyFormError
            If a value is refused; nothing is then changed.
        """
        with self._lock:
            house = self._together(change, checked_house(change.house))
            if house != self._document.value:
                self._document.change(house, change.what)
                self._tell()
            return self.state()

    def _together(self, change: HouseChange, house: House) -> House:
        """What the page wants, laid together with what it has not seen."""
        document = self._document
        if change.revision == document.revision:
            return house
        base = document.at(change.revision)
        if base is None:
            raise ConflictError("this page is of long ago; load it again, then repeat your change")
        decided = change.decided if change.decided_for == document.revision else {}
        was, mine, theirs = (one.model_dump(mode="json") for one in (base, house, document.value))
        value, clashes = merged(was, mine, theirs, decided)
        if clashes:
            raise FormClashError(clashes, document.revision)
        return checked_house(value)

    def set(self, what: str, **changes: object) -> None:
        """Change top-level values from inside the studio, as one step."""
        with self._lock:
            self._document.change(House.model_validate({**self.house.model_dump(), **changes}), what)
            self._tell()

    def travel(self, revision: int, way: Literal["undo", "redo"]) -> HouseState:
        """Take back the last step, or do it again."""
        with self._lock:
            self._document.check_seen(revision)
            getattr(self._document, way)()
            self._tell()
            return self.state()

    def save(self) -> None:
        """Write `house.toml` if it has changed; comments and order in it stay."""
        with self._lock:
            house = self._document.value
            if house == self._saved:
                return
            # Somebody may have edited the file by hand meanwhile: only our own changes go into it.
            text = changed_text(self._path.read_text(encoding="utf-8-sig"), _plain(self._saved), _plain(house))
            self._file.write(text.encode("utf-8"))
            self._saved = house

    def take_in_outside_changes(self) -> bool:
        """Read `house.toml` again if somebody has saved it elsewhere; True if it says something else now."""
        with self._lock:
            if self._document.value != self._saved or not self._file.changed_outside:
                return False
            house = read_model(self._path, House, newest_format=HOUSE_FORMAT)
            self._file.took_in()
            self._saved = house
            if house != self._document.value:
                self._document.change(house, "edit in another program")
                self._tell()
            return True

    def _tell(self) -> None:
        self._notices.tell({"type": "house", "state": self.state().model_dump(mode="json")})


def checked_house(data: Plain) -> House:
    """A house from a form's values. Raises FaultyFormError with every fault at its field."""
    try:
        return House.model_validate(data)
    except pydantic.ValidationError as error:
        raise FaultyFormError([_fault(one) for one in error.errors()]) from None


def _fault(one: Any) -> dict[str, str]:
    message = str(one["msg"]).removeprefix("Value error, ").removeprefix("Input should be ")
    if one["type"] not in ("value_error", "missing", "extra_forbidden"):
        message = f"must be {message}" if not message.startswith("must") else message
    return {"where": ".".join(str(part) for part in one["loc"]), "message": message}


def _plain(house: House) -> Plain:
    return house.model_dump(mode="json", exclude_none=True)
