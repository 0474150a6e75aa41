"""The process that does one job: `python -m limewash.studio.worker`, told by lines of JSON.

First line in: kind and arguments. Lines out: how far it is, last the result or why it failed. When its input closes,
because the job was stopped or the studio is gone, it breaks off at the next report, cleaning up as it goes.
"""

from __future__ import annotations

import json
import sys
import threading
import time
from typing import Any

from limewash.errors import LimewashError

_REPORT_EVERY_S = 0.1


class StoppedError(Exception):
    """Nobody wants the result any more."""


def main() -> None:
    """Do the one job that the first line asks for."""
    order = json.loads(sys.stdin.readline())
    out, sys.stdout = sys.stdout, sys.stderr  # whatever a library prints must not mix with the reports
    stop = threading.Event()
    threading.Thread(target=_listen, args=(stop,), daemon=True).start()
    last = 0.0

    def say(message: dict[str, Any]) -> None:
        out.write(json.dumps(message) + "\n")
        out.flush()

    def progress(share: float, doing: str) -> None:
        nonlocal last
        if stop.is_set():
            raise StoppedError
        if time.monotonic() - last >= _REPORT_EVERY_S:
            last = time.monotonic()
            say({"share": min(max(share, 0.0), 1.0), "doing": doing})

    from limewash.studio.work import WORK

    try:
        say({"result": WORK[order["kind"]](progress, **order["arguments"])})
    except StoppedError:
        return
    except LimewashError as error:
        say({"failed": str(error)})


def _listen(stop: threading.Event) -> None:
    sys.stdin.read()
    stop.set()


if __name__ == "__main__":
    main()
