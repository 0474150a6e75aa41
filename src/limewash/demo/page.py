"""A self-contained HTML page: pictures inside, no request to anywhere."""

from __future__ import annotations

import base64
import html
from collections.abc import Sequence
from dataclasses import dataclass, field
from importlib import resources

import cv2
import numpy as np
from numpy.typing import NDArray

Picture = NDArray[np.uint8]

_STYLE = (resources.files("limewash.demo") / "page.css").read_text(encoding="utf-8")


@dataclass
class Page:
    """Collects the parts of a page in reading order."""

    title: str
    lead: str
    parts: list[str] = field(default_factory=list)

    def heading(self, text: str) -> None:
        """Begin a section."""
        self.parts.append(f"<h2>{html.escape(text)}</h2>")

    def text(self, text: str) -> None:
        """A paragraph; `code` between back-quotes."""
        self.parts.append(f"<p>{_inline(text)}</p>")

    def picture(self, picture: Picture, caption: str, *, width: int = 1280) -> None:
        """One picture over the whole width."""
        self.parts.append(_figure(picture, caption, width))

    def pictures(self, pictures: Sequence[tuple[Picture, str]], *, small: bool = False) -> None:
        """Pictures side by side, or below each other on a phone."""
        inner = "".join(_figure(picture, caption, 480 if small else 800) for picture, caption in pictures)
        self.parts.append(f'<div class="{"strip" if small else "pair"}">{inner}</div>')

    def video(self, source: str, poster: Picture, caption: str) -> None:
        """A film that lies beside the page; the still is inside the page."""
        self.parts.append(
            f'<figure><video controls preload="none" src="{html.escape(source)}" poster="{_data(poster, 1280)}">'
            f"</video><figcaption>{_inline(caption)}</figcaption></figure>"
        )

    def table(self, columns: Sequence[str], rows: Sequence[Sequence[str]], *, words: bool = False) -> None:
        """A table; numbers stand right unless it holds words."""
        head = "".join(f'<th scope="col">{html.escape(column)}</th>' for column in columns)
        body = "".join("<tr>" + "".join(f"<td>{_inline(cell)}</td>" for cell in row) + "</tr>" for row in rows)
        kind = ' class="words"' if words else ""
        self.parts.append(
            f'<div class="scroll"><table{kind}><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table></div>'
        )

    def steps(self, items: Sequence[str]) -> None:
        """A numbered list."""
        self.parts.append("<ol>" + "".join(f"<li>{_inline(item)}</li>" for item in items) + "</ol>")

    def cautions(self, items: Sequence[str]) -> None:
        """What can hurt someone, where it is read before anything is carried outside."""
        inner = "".join(f"<li>{_inline(item)}</li>" for item in items)
        self.parts.append(f'<div class="care"><ul>{inner}</ul></div>')

    def html(self) -> str:
        """The whole page."""
        return (
            '<!doctype html>\n<html lang="en"><head><meta charset="utf-8">'
            '<meta name="viewport" content="width=device-width, initial-scale=1">'
            '<link rel="icon" href="data:,">'
            f"<title>{html.escape(self.title)}</title><style>{_STYLE}</style></head><body><main>"
            f'<h1>{html.escape(self.title)}</h1><p class="lead">{_inline(self.lead)}</p>'
            + "\n".join(self.parts)
            + "</main></body></html>\n"
        )


def _inline(text: str) -> str:
    pieces = html.escape(text).split("`")
    return "".join(f"<code>{piece}</code>" if number % 2 else piece for number, piece in enumerate(pieces))


def _figure(picture: Picture, caption: str, width: int) -> str:
    height = picture.shape[0] * min(width, picture.shape[1]) // picture.shape[1]
    return (
        f'<figure><img src="{_data(picture, width)}" width="{min(width, picture.shape[1])}" height="{height}" '
        f'alt="{html.escape(caption, quote=True)}"><figcaption>{_inline(caption)}</figcaption></figure>'
    )


def _data(picture: Picture, width: int) -> str:
    if picture.shape[1] > width:
        height = round(picture.shape[0] * width / picture.shape[1])
        picture = np.asarray(cv2.resize(picture, (width, height), interpolation=cv2.INTER_AREA), dtype=np.uint8)
    bgr = cv2.cvtColor(picture, cv2.COLOR_RGB2BGR)
    _, encoded = cv2.imencode(".jpg", bgr, [cv2.IMWRITE_JPEG_QUALITY, 84])
    return "data:image/jpeg;base64," + base64.b64encode(encoded.tobytes()).decode("ascii")
