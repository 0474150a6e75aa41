"""Files from the browser, written as they come, never held in memory."""

from __future__ import annotations

import secrets
from pathlib import Path

from anyio import to_thread
from fastapi import Request

from limewash.errors import InputError
from limewash.files import make_folder

_AT_ONCE = 2**20


async def received(request: Request, folder: Path, name: str, *, suffixes: tuple[str, ...]) -> Path:
    """Write a request's body to a new file in `folder`.

    Parameters
    ----------
    request : Request
        Its whole body is the file.
    folder : Path
        Made if it is missing.
    name : str
        What the person's file is called: only its suffix is used.
    suffixes : tuple of str
        Allowed endings, lower case.

    Raises
    ------
    InputError
        If the suffix is not allowed, the file is empty, or the disk is full.
    """
    suffix = Path(name.replace("\\", "/")).suffix.lower()
    if suffix not in suffixes:
        raise InputError(f"{name or 'the file'} must end in {', '.join(suffixes)}")
    make_folder(folder)
    path = folder / f"incoming-{secrets.token_hex(6)}{suffix}"
    try:
        with path.open("xb") as file:
            waiting = bytearray()
            async for chunk in request.stream():
                waiting += chunk
                if len(waiting) >= _AT_ONCE:
                    await to_thread.run_sync(file.write, bytes(waiting))
                    waiting.clear()
            await to_thread.run_sync(file.write, bytes(waiting))
        if path.stat().st_size == 0:
            raise InputError(f"{name or 'the file'} is empty; choose it again")
    except OSError as error:
        path.unlink(missing_ok=True)
        raise InputError(f"cannot keep {name}: {error.strerror}; free some space on that disk") from None
    except BaseException:
        path.unlink(missing_ok=True)
        raise
    return path
