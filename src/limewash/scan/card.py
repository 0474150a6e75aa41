"""The cards before and after the pattern: what to check, a focus chart, a count-down."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

Picture = NDArray[np.uint8]

_GROUND, _DIM, _TEXT, _BRIGHT = 10, 110, 205, 255
_PLAIN, _BOLD = cv2.FONT_HERSHEY_SIMPLEX, cv2.FONT_HERSHEY_DUPLEX

_PROJECTOR_CHECKS = (
    "Picture mode plain (natural or cinema), no automatic contrast",
    "Keystone, corner and zoom correction off",
    "Aspect 16:9 or native, unscaled: the frame on all four edges shows",
    "Sleep timer, energy saving and screen saver off",
    "Focus: the star is sharp to its middle; the circle is round",
)
_PHONE_CHECKS = (
    "On a tripod or wedged; it sees the whole picture",
    "Exposure and focus locked, flash off, no digital zoom",
    "Start filming now. Touch nothing until the end card",
)


def title_card(size: tuple[int, int], seconds_left: int, lasts_s: float, *, short: bool) -> Picture:
    """The opening card, uint8 (height, width), with the seconds until the pattern starts and those that it lasts."""
    page = _Page.blank(size)
    page.frame()
    if not short:
        page.words(110, 128, "Limewash", 72, _BRIGHT, _BOLD)
        page.words(112, 196, f"Scan pattern for {size[0]} x {size[1]}, {lasts_s:.0f} seconds", 34, _TEXT)
        page.checklist(112, 300, "Projector and player", _PROJECTOR_CHECKS)
        page.checklist(112, 660, "Phone", _PHONE_CHECKS)
        page.words(112, 915, "The pattern flashes: warn those who cannot bear flashing light.", 30, _TEXT)
        page.words(112, 965, "Do not look into the lens. Keep the cord off the path.", 30, _TEXT)
    page.star(1500, 365, 250)
    page.gratings(1250, 670)
    page.count_down(1500, 890, seconds_left)
    return page.pixels


def closing_card(size: tuple[int, int]) -> Picture:
    """The card at the end, uint8 (height, width)."""
    page = _Page.blank(size)
    page.frame()
    page.words(112, 520, "Done", 96, _BRIGHT, _BOLD)
    page.words(114, 600, "Stop filming now.", 40, _TEXT)
    return page.pixels


@dataclass(frozen=True)
class _Page:
    """A card of 1920 x 1080 design units, drawn at the projector's size without stretching."""

    pixels: Picture
    scale: float
    left: float
    top: float

    @classmethod
    def blank(cls, size: tuple[int, int]) -> _Page:
        width, height = size
        scale = min(width / 1920, height / 1080)
        pixels = np.full((height, width), _GROUND, dtype=np.uint8)
        return cls(pixels, scale, (width - 1920 * scale) / 2, (height - 1080 * scale) / 2)

    def at(self, x: float, y: float) -> tuple[int, int]:
        return round(self.left + x * self.scale), round(self.top + y * self.scale)

    def frame(self) -> None:
        """A line on the outermost pixels and marks 2.5 % inside: what is cut off can be read from it."""
        height, width = self.pixels.shape
        cv2.rectangle(self.pixels, (0, 0), (width - 1, height - 1), _BRIGHT, 1)
        inset_x, inset_y, arm = round(0.025 * width), round(0.025 * height), round(0.03 * width)
        thick = max(1, round(3 * self.scale))
        for x, side in ((inset_x, 1), (width - 1 - inset_x, -1)):
            for y, down in ((inset_y, 1), (height - 1 - inset_y, -1)):
                cv2.line(self.pixels, (x, y), (x + side * arm, y), _DIM, thick)
                cv2.line(self.pixels, (x, y), (x, y + down * arm), _DIM, thick)

    def words(self, x: float, y: float, text: str, tall: float, level: int, font: int = _PLAIN) -> None:
        """One line of text; (x, y) is the left end of its base line, `tall` the height of capitals and below."""
        (_, unit), _ = cv2.getTextSize("Hg", font, 10.0, 1)
        grade = tall * self.scale / unit * 10.0
        thick = max(1, round(tall * self.scale / (14 if font == _BOLD else 22)))
        cv2.putText(self.pixels, text, self.at(x, y), font, grade, level, thick, cv2.LINE_AA)

    def checklist(self, x: float, y: float, title: str, lines: tuple[str, ...]) -> None:
        self.words(x, y, title, 38, _BRIGHT, _BOLD)
        for number, line in enumerate(lines):
            base = y + 58 + 54 * number
            corner = self.at(x, base - 22)
            opposite = self.at(x + 24, base + 2)
            cv2.rectangle(self.pixels, corner, opposite, _TEXT, max(1, round(2 * self.scale)), cv2.LINE_AA)
            self.words(x + 46, base, line, 29, _TEXT)

    def star(self, x: float, y: float, radius: float) -> None:
        """Sectors that grow finer towards the middle: the blurred disc left there shows the focus."""
        (cx, cy), r = self.at(x, y), radius * self.scale
        reach = int(np.ceil(r)) + 1
        fine = np.arange(-reach * 4, reach * 4 + 4) / 4.0 - 0.375
        dx, dy = np.meshgrid(fine, fine)
        lit = (np.cos(36 * np.arctan2(dy, dx)) > 0) & (np.hypot(dx, dy) < r)
        box = lit.reshape(2 * reach + 1, 4, 2 * reach + 1, 4).mean(axis=(1, 3))
        target = self.pixels[cy - reach : cy + reach + 1, cx - reach : cx + reach + 1]
        np.maximum(target, np.rint(_GROUND + (_BRIGHT - _GROUND) * box).astype(np.uint8), out=target)
        cv2.circle(self.pixels, (cx, cy), round(r), _TEXT, max(1, round(2 * self.scale)), cv2.LINE_AA)

    def gratings(self, x: float, y: float) -> None:
        """Lines one and two projector pixels wide: waves or grey patches betray scaling or keystone."""
        side = round(90 * self.scale)
        index = np.arange(side)
        for number, (wide, upright) in enumerate(((1, True), (1, False), (2, True), (2, False))):
            left, top = self.at(x + 125 * number, y)
            line = np.where(index // wide % 2 == 0, _BRIGHT, 0).astype(np.uint8)
            self.pixels[top : top + side, left : left + side] = line[None, :] if upright else line[:, None]
        self.words(x, y + 128, "Lines: no waves, no grey", 24, _DIM)

    def count_down(self, x: float, y: float, seconds_left: int) -> None:
        cx, cy = self.at(x + 180, y + 25)
        radius = round(74 * self.scale)
        thick = max(1, round(6 * self.scale))
        cv2.circle(self.pixels, (cx, cy), radius, _DIM, max(1, thick // 3), cv2.LINE_AA)
        turn = round(45.0 * min(seconds_left, 8))
        cv2.ellipse(self.pixels, (cx, cy), (radius, radius), -90, 0, turn, _BRIGHT, thick, cv2.LINE_AA)
        (wide, _), _ = cv2.getTextSize(str(seconds_left), _BOLD, 2.6 * self.scale, max(1, thick))
        place = (cx - wide // 2, cy + round(24 * self.scale))
        cv2.putText(self.pixels, str(seconds_left), place, _BOLD, 2.6 * self.scale, _BRIGHT, thick, cv2.LINE_AA)
        self.words(x - 250, y + 36, "The pattern starts in", 30, _TEXT)
