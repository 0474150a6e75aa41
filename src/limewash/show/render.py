"""From score and house to the finished film."""

from __future__ import annotations

import queue
import threading
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

import av

from limewash.errors import InputError
from limewash.media.sound import Sound, read_sound
from limewash.media.writing import VideoWriter
from limewash.progress import Progress, silent
from limewash.show.compositor import Compositor
from limewash.show.encode import planes_to_yuv420
from limewash.show.fields import Fields
from limewash.show.score import Score

_AHEAD = 4  # frames drawn while the encoder is busy


def render_show(
    score: Score,
    fields: Fields,
    out: Path,
    *,
    sound: Sound | None = None,
    crf: int = 16,
    preset: str = "veryfast",
    where: str = "score",
    progress: Progress = silent,
) -> None:
    """Render a show to a film at the size of `fields`; nothing is left behind if it is broken off.

    Parameters
    ----------
    score : Score
    fields : Fields
        The house, at the projector's native size.
    out : Path
        The film, ``.mp4``; replaced only when the new one is whole.
    sound : Sound, optional
        From the show's start; see `show_sound`.
    crf, preset
        See `VideoWriter`.
    where : str
        Named in errors about cues: the score's file.

    Raises
    ------
    InputError
        If a cue asks for something that the house does not have, or the film cannot be written.
    """
    compositor = Compositor(score, fields, where=where)
    count, rate = score.show.frame_count, score.show.exact_rate
    times_s = [float(k / rate) for k in range(count)]
    with VideoWriter(out, fields.size, rate, crf=crf, preset=preset, audio=sound) as writer:
        for done, frame in enumerate(drawn_ahead(compositor, times_s, writer.new_frame), start=1):
            writer.write(frame)
            progress(done / count, "Rendering the show")


def show_sound(score: Score, folder: Path) -> Sound | None:
    """The music that the score names, or None.

    Parameters
    ----------
    score : Score
    folder : Path
        Where the score lies: a relative file name is looked up there.

    Raises
    ------
    InputError
        If the file is missing or holds no sound.
    """
    if score.music.file is None:
        return None
    path = folder / score.music.file
    if not path.is_file():
        raise InputError(f"music.file: {path} does not exist; put the music there, or name another file")
    return read_sound(path)


def drawn_ahead(
    compositor: Compositor, times_s: Sequence[float], new_frame: Callable[[], av.VideoFrame]
) -> Iterator[av.VideoFrame]:
    """Encoded frames of rising times, in order, drawn by a thread of their own while they are used.

    Parameters
    ----------
    compositor : Compositor
        Used by that thread alone until the last frame is given.
    times_s : sequence of float
        From the show's start, rising. [s]
    new_frame : callable
        Gives an empty yuv420p frame of the compositor's size.
    """
    ready: queue.Queue[av.VideoFrame | BaseException] = queue.Queue(maxsize=_AHEAD)
    stop = threading.Event()
    artist = threading.Thread(
        target=_draw_all, args=(compositor, times_s, new_frame, ready, stop), name="show-artist", daemon=True
    )
    artist.start()
    try:
        for _ in times_s:
            item = ready.get()
            if isinstance(item, BaseException):
                raise item
            yield item
    finally:
        stop.set()
        while artist.is_alive():  # it may be waiting for room
            _drain(ready)
            artist.join(timeout=0.05)


def _draw_all(
    compositor: Compositor,
    times_s: Sequence[float],
    new_frame: Callable[[], av.VideoFrame],
    ready: queue.Queue[av.VideoFrame | BaseException],
    stop: threading.Event,
) -> None:
    try:
        for t_s in times_s:
            frame = new_frame()
            for top, planes in compositor.bands(t_s):
                planes_to_yuv420(planes, frame, top)
            compositor.forget_before(t_s)
            ready.put(frame)
            if stop.is_set():
                return
    except BaseException as error:  # it is raised again where the film is written
        ready.put(error)


def _drain(ready: queue.Queue[av.VideoFrame | BaseException]) -> None:
    while not ready.empty():
        ready.get_nowait()
