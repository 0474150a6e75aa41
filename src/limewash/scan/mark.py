"""The start mark: full-field black and white that says which pattern follows.

It is read from brightness alone, so it needs no geometry, no focus and no common clock. Chips last as long as
the holds of the pattern; white follows black at most 2.5 times a second, below the three flashes a second that
WCAG 2.2 allows.
"""

from __future__ import annotations

from typing import Literal

from limewash.errors import InputError

Form = Literal["usual", "short"]
FORMS: tuple[Form, ...] = ("usual", "short")
"""Forms of the pattern: see `plan_pattern`."""

SYNC = (0, 0, 1, 1, 1, 0, 0, 1, 0)
"""Two black chips, then the Barker sequence of length 7, whose shifted copies resemble it least."""

DATA_BITS = 8

KNOWN_SIZES = (
    (1920, 1080),
    (1280, 720),
    (1280, 800),
    (1920, 1200),
    (3840, 2160),
    (1024, 768),
    (1400, 1050),
    (1600, 1200),
    (2560, 1440),
    (2560, 1600),
    (1366, 768),
    (800, 600),
    (854, 480),
    (4096, 2160),
)
"""Projector sizes that a clip of another size is recognised as, by its mark."""

_POLYNOMIAL = 0x89  # x^7 + x^3 + 1


def mark_chips(size: tuple[int, int], form: Form) -> tuple[int, ...]:
    """The whole mark as 0 (black) and 1 (white) for a projector size [px] and form of the pattern."""
    word = size_check(size) << 1 | int(form == "short")
    return SYNC + tuple(word >> bit & 1 for bit in reversed(range(DATA_BITS)))


def size_check(size: tuple[int, int]) -> int:
    """Seven bits that stand for a projector size; all known sizes differ."""
    return crc7(f"{size[0]}x{size[1]}".encode("ascii"))


def crc7(data: bytes) -> int:
    """Cyclic redundancy check of 7 bits, polynomial x^7 + x^3 + 1, as memory cards use it."""
    register = 0
    for byte in data:
        register ^= byte
        for _ in range(8):
            register = register << 1 ^ (_POLYNOMIAL << 1 if register & 0x80 else 0)
    return register >> 1


def check_mark(word: tuple[int, ...], size: tuple[int, int]) -> Form:
    """Compare the data chips of a clip with the projector's size; tell the form of the pattern.

    Raises
    ------
    InputError
        If the clip shows the pattern of another size.
    """
    value = int("".join(str(bit) for bit in word), 2)
    if value >> 1 == size_check(size):
        return "short" if value & 1 else "usual"
    wanted = f"{size[0]}x{size[1]}"
    others = [f"{w}x{h}" for w, h in KNOWN_SIZES if value >> 1 == size_check((w, h))]
    shown = f"a pattern for {' or '.join(others)}" if others else "a pattern for another projector size (or the player "
    shown += "" if others else "stuttered while its start mark played)"
    advice = f"set the projector's size to {others[0]}, or " if others else ""
    raise InputError(
        f"the clip shows {shown}, but the projector of this project has {wanted}; {advice}make the pattern "
        f"with 'limewash scan pattern OUT.mp4 --size {wanted}' and film it again"
    )
