"""The phone as a track pad: an address on the local network that is open only while somebody wants it.

It is a second, small app on another port; the studio itself never leaves this computer. A one-time code lets one phone
in; it then has a pass of its own.
"""

from __future__ import annotations

import hmac
import io
import ipaddress
import secrets
import socket
import threading
import time
from dataclasses import dataclass, field

import segno

from limewash.errors import InputError
from limewash.studio.notices import Notices
from limewash.studio.wire import Wire

LETTERS = "ABCDEFGHJKLMNPQRSTUVWXYZ23456789"
"""No signs that look like others: this may be typed in the dark."""
CODE_LENGTH = 8
CODE_VALID_S = 600.0
MOST_WRONG = 8
"""So many wrong codes close the link: nobody may go on guessing."""


class PhoneState(Wire):
    """The link, for the desk's pages."""

    open: bool
    address: str
    """What the phone opens, code and all; empty while the link is closed."""
    code: str
    phones: int
    """How many phones are let in."""
    trouble: str


@dataclass
class PhoneLink:
    """Codes and passes of the link; knows no web framework.

    A code lets one phone in and is then used up; the next is made at once, for the next phone.
    """

    notices: Notices
    host: str = ""
    port: int = 0
    trouble: str = ""
    _code: str = ""
    _made_at: float = 0.0
    _wrong: int = 0
    _passes: set[str] = field(default_factory=set)
    _lock: threading.RLock = field(default_factory=threading.RLock)

    @property
    def is_open(self) -> bool:
        return bool(self._code)

    def begin(self, host: str, port: int) -> PhoneState:
        """Open the link at an address."""
        with self._lock:
            self.host, self.port, self.trouble = host, port, ""
            self._passes.clear()
            self._new_code()
            return self.tell()

    def end(self, trouble: str = "") -> PhoneState:
        """Close it: no code and no pass is worth anything any more."""
        with self._lock:
            self._code, self.trouble = "", trouble
            self._passes.clear()
            return self.tell()

    def let_in(self, code: str) -> str:
        """A pass for a phone that knows the code.

        Raises
        ------
        InputError
            If the code is wrong, used or old. After eight wrong ones the link closes.
        """
        with self._lock:
            if not self.is_open:
                raise InputError("the phone link is closed; open it in the studio")
            if time.monotonic() - self._made_at > CODE_VALID_S:
                self._new_code()
                self.tell()
                raise InputError("that code is too old; scan the new one")
            if not hmac.compare_digest(plain_code(code).encode(), self._code.encode()):
                self._wrong += 1
                if self._wrong >= MOST_WRONG:
                    self.end("Too many wrong codes were tried; the phone link was closed.")
                raise InputError("that code is wrong or was used already; scan the one that the studio shows now")
            given = secrets.token_urlsafe(32)
            self._passes.add(given)
            self._new_code()
            self.tell()
            return given

    def knows(self, given: str | None) -> bool:
        """Whether a pass is one of ours."""
        with self._lock:
            return given is not None and any(hmac.compare_digest(given.encode(), one.encode()) for one in self._passes)

    def state(self) -> PhoneState:
        """Everything, for the desk's pages only."""
        with self._lock:
            address = f"http://{self.host}:{self.port}/?code={self._code}" if self.is_open else ""
            return PhoneState(
                open=self.is_open, address=address, code=self._code, phones=len(self._passes), trouble=self.trouble
            )

    def tell(self) -> PhoneState:
        """Tell the desk's pages that something changed, without the code itself."""
        state = self.state()
        self.notices.tell({"type": "phone", "open": state.open, "phones": state.phones})
        return state

    def _new_code(self) -> None:
        self._code = "".join(secrets.choice(LETTERS) for _ in range(CODE_LENGTH))
        self._made_at, self._wrong = time.monotonic(), 0


def plain_code(text: str) -> str:
    """A code as people type it: small letters, blanks and dashes do not matter."""
    return "".join(sign for sign in text.upper() if sign.isalnum())[: CODE_LENGTH * 2]


def qr_svg(address: str) -> str:
    """A QR code of an address as SVG, black on white with its quiet zone."""
    picture = io.BytesIO()
    segno.make(address, error="m").save(
        picture, kind="svg", border=4, dark="#000", light="#fff", omitsize=True, xmldecl=False
    )
    return picture.getvalue().decode("utf-8")


def lan_address() -> str:
    """This computer's address on the local network.

    Raises
    ------
    InputError
        If it is on none.
    """
    # A datagram socket that is connected sends nothing; it only tells which way packets would go.
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))
            found = str(probe.getsockname()[0])
        except OSError:
            found = "127.0.0.1"
    if ipaddress.ip_address(found).is_loopback:
        raise InputError("this computer is on no local network; join the phone's network, or make a hot spot")
    return found
