"""What Ctrl-C, the end of a terminal and a request to end do to a run.

The first one stops it in good order: frames that have begun are finished. A second one does not wait for
them. Nothing is lost by that: a frame's folder appears whole or not at all.
"""

from __future__ import annotations

import contextlib
import signal
import sys
from types import FrameType
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from multiprocessing.process import BaseProcess

_heard: list[signal.Signals] = []
_asked = 0


def listen() -> None:
    """Take SIGINT, SIGTERM and SIGHUP as the wish to stop; what is ignored stays so (``nohup``)."""
    for name in ("SIGINT", "SIGTERM", "SIGHUP"):
        number = getattr(signal, name, None)
        if number is not None and signal.getsignal(number) is not signal.SIG_IGN:
            signal.signal(number, _stop)
            _heard.append(number)


def ignore() -> None:
    """Hear nothing any more."""
    for number in _heard:
        signal.signal(number, signal.SIG_IGN)


def _stop(number: int, _frame: FrameType | None) -> None:
    global _asked
    _asked += 1
    if workers := _workers():
        if _asked == 1:
            _say("stopping when what is in hand is finished; once more to stop at once")
        else:
            _say("stopping at once")
            for worker in workers:
                worker.terminate()
    raise KeyboardInterrupt


def _say(text: str) -> None:
    with contextlib.suppress(OSError):  # the terminal may be gone
        start = "\n" if sys.stderr.isatty() else ""  # below the ^C that the terminal shows
        click.echo(f"{start}solander: {text}", err=True)


def _workers() -> list[BaseProcess]:
    if "multiprocessing" not in sys.modules:
        return []
    import multiprocessing

    return list(multiprocessing.active_children())
