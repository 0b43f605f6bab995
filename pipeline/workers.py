"""Where frames are processed: worker processes of this machine, or of a scheduler on another.

Everything runs through the `concurrent.futures.Executor` interface alone.
"""

from __future__ import annotations

import contextlib
import functools
import multiprocessing
import os
import signal
import threading
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import CancelledError, Executor, Future, ProcessPoolExecutor, as_completed
from concurrent.futures.process import BrokenProcessPool
from dataclasses import replace
from multiprocessing import connection
from multiprocessing.synchronize import Event
from pathlib import Path
from typing import ParamSpec, TypeVar

from pipeline import frame
from pipeline.errors import Interrupted, ToolError
from pipeline.frame import FrameJob, FrameOutcome
from pipeline.progress import SILENT, Progress

P = ParamSpec("P")
T = TypeVar("T")


@contextlib.contextmanager
def local_workers(count: int, *, cores: int = 1) -> Iterator[Executor]:
    """Worker processes of this machine, each with its share of the `cores` that we may use for decoding."""
    pool = _Pool(count, max(1, cores // count))
    try:
        yield pool
    finally:
        pool.shutdown(cancel_futures=True)


class _Pool(ProcessPoolExecutor):
    """Workers that Ctrl-C does not reach, and that can be told to leave what they have not begun."""

    def __init__(self, count: int, threads: int) -> None:
        context = multiprocessing.get_context("spawn")  # libvips's threads do not survive a fork
        with _unheard_by_children():
            self.leaving = context.Event()  # starts the process that keeps account of semaphores
        super().__init__(count, context, _begin, (threads, self.leaving))

    def submit(self, fn: Callable[P, T], /, *args: P.args, **kwargs: P.kwargs) -> Future[T]:
        """Submit a call; a worker that starts with it never hears Ctrl-C, not even while it loads."""
        call = functools.partial(_unless_leaving, fn, *args, **kwargs)
        with _unheard_by_children():
            return super().submit(call)


@contextlib.contextmanager
def _unheard_by_children() -> Iterator[None]:
    """Let processes that are started meanwhile not hear what a terminal tells all of them at once."""
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    heard = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT, signal.SIGHUP})  # is inherited
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, heard)


_leaving: Event | None = None
"""In a worker: set when calls that wait in its queue, too late to be cancelled, are not to begin."""


def _unless_leaving(fn: Callable[P, T], *args: P.args, **kwargs: P.kwargs) -> T:
    if _leaving is not None and _leaving.is_set():
        raise CancelledError
    return fn(*args, **kwargs)


def _begin(threads: int, leaving: Event) -> None:
    global _leaving
    _leaving = leaving
    threading.Thread(target=_end_with_parent, daemon=True).start()
    os.environ["VIPS_CONCURRENCY"] = str(threads)  # read by libvips when it is first loaded
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the parent decides when to stop: between frames


PATIENCE = "10s"
"""How long a scheduler is asked until it answers."""


@contextlib.contextmanager
def scheduled_workers(address: str) -> Iterator[Executor]:
    """The workers of a Dask scheduler, ``tcp://host:port``; they see the same folders as we do.

    Raises ToolError if distributed is not installed or the scheduler does not answer.
    """
    try:
        from distributed import Client
    except ImportError as error:
        raise ToolError(
            "--scheduler needs the package distributed; install it with: pip install 'solander[cluster]'"
        ) from error
    try:
        client = Client(address, timeout=PATIENCE, set_as_default=False)
    except (OSError, ValueError) as error:
        raise ToolError(f"{address}: no scheduler answers there ({error}); is it running?") from error
    with client:
        yield client.get_executor(pure=False)


def _end_with_parent() -> None:
    """Wait until the process that started this one is gone, killed perhaps; then nobody wants the work."""
    parent = multiprocessing.parent_process()
    if parent is not None:
        connection.wait([parent.sentinel])
        os._exit(1)


def run_frames(
    jobs: Sequence[FrameJob], executor: Executor, progress: Progress = SILENT
) -> dict[str, FrameOutcome]:
    """Return the outcome of every job by its frame, in the order of the jobs.

    A job whose receipt holds is not done again. Raises ToolError if a disk or a worker fails, and
    Interrupted on Ctrl-C: frames that have begun are finished and keep their receipts.
    """
    kept = {job.frame: outcome for job in jobs if (outcome := frame.finished(job))}
    waiting = [job for job in jobs if job.frame not in kept]
    if kept and waiting:
        progress.say(f"{len(kept)} of {len(jobs)} frames are done already")
    done = _submit(waiting, executor, progress) if waiting else {}
    outcomes = {name: replace(each, was_kept=True) for name, each in kept.items()} | done
    return {job.frame: outcomes[job.frame] for job in jobs}


def _submit(jobs: Sequence[FrameJob], executor: Executor, progress: Progress) -> dict[str, FrameOutcome]:
    progress.start("frames", total=len(jobs))
    futures: dict[Future[FrameOutcome], FrameJob] = {}
    done: dict[str, FrameOutcome] = {}
    try:
        for job in jobs:
            futures[executor.submit(frame.process, job)] = job
        for future in as_completed(futures):
            done[futures[future].frame] = future.result()
            progress.advance(size_bytes=_size_bytes(futures[future].master))
    except KeyboardInterrupt as interrupt:
        for future in _let_finish(futures, executor):
            if futures[future].frame not in done:
                progress.advance(size_bytes=_size_bytes(futures[future].master))
        raise Interrupted("interrupted; frames that were done are kept, run again to go on") from interrupt
    except BrokenProcessPool as error:
        raise ToolError(
            "a worker process was ended by the system, most likely for want of memory; "
            "run again with fewer at once: --jobs 1"
        ) from error
    except BaseException:
        _let_finish(futures, executor)
        raise
    finally:
        progress.finish()
    return done


def _size_bytes(master: Path) -> int:
    try:
        return master.stat().st_size
    except OSError:  # it was taken away meanwhile: its outcome says so
        return 0


def _let_finish(
    futures: Mapping[Future[FrameOutcome], FrameJob], executor: Executor
) -> list[Future[FrameOutcome]]:
    """Take back what has not begun, wait for what has, and return what was finished."""
    if isinstance(executor, _Pool):
        # a pool that breaks while some of its futures are cancelled would say so with a traceback
        executor.leaving.set()
        running = list(futures)
    else:
        running = [future for future in futures if not future.cancel()]
    finished = []
    for future in running:
        with contextlib.suppress(Exception, CancelledError):
            future.result()
            finished.append(future)
    if isinstance(executor, _Pool):
        executor.leaving.clear()  # the next item of the batch may want the workers
    return finished
