"""Frames in worker processes: order, what is kept, failures, interruption, another scheduler."""

from __future__ import annotations

import dataclasses
import os
import subprocess
import sys
import time
from concurrent.futures import Future, ThreadPoolExecutor
from pathlib import Path, PurePosixPath
from typing import Any

import pytest

from pipeline import frame, workers
from pipeline.errors import Interrupted, ToolError
from pipeline.frame import FrameJob
from tests import make
from tests.test_frame import job_for


def jobs_for(tmp_path: Path, count: int) -> list[FrameJob]:
    jobs = []
    for number in range(1, count + 1):
        master = make.tiff(tmp_path / f"a{number}.tif", pixels=make.picture(40 + number, 30))
        job = job_for(master, tmp_path, derive=False)
        name = f"a{number}"
        jobs.append(
            dataclasses.replace(
                job, frame=name, file=PurePosixPath(master.name), folder=tmp_path / "work" / name
            )
        )
    return jobs


class Listener:
    def __init__(self) -> None:
        self.heard: list[tuple[str, Any]] = []

    def start(self, task: str, *, total: int) -> None:
        self.heard.append(("start", total))

    def advance(self, amount: int = 1, *, size_bytes: int = 0) -> None:
        self.heard.append(("advance", amount))

    def say(self, message: str) -> None:
        self.heard.append(("say", message))

    def finish(self) -> None:
        self.heard.append(("finish", None))


def test_processes_give_what_this_process_gives_in_the_order_of_the_jobs(tmp_path: Path) -> None:
    jobs = jobs_for(tmp_path, 3)
    here = {job.frame: frame.process(job) for job in jobs}
    for job in jobs:
        (job.folder / frame.RECEIPT).unlink()
    with workers.local_workers(2, cores=7) as pool:
        there = workers.run_frames(jobs, pool)
        assert pool.submit(os.getenv, "VIPS_CONCURRENCY").result() == "3"  # each its share of the cores
    assert list(there) == ["a1", "a2", "a3"]
    assert there == here


def test_what_is_done_is_kept_and_said(tmp_path: Path) -> None:
    jobs, listener = jobs_for(tmp_path, 3), Listener()
    frame.process(jobs[1])
    with ThreadPoolExecutor(1) as pool:
        outcomes = workers.run_frames(jobs, pool, listener)
        again = workers.run_frames(jobs, pool, Listener())
    assert [each.was_kept for each in outcomes.values()] == [False, True, False]
    assert all(each.was_kept for each in again.values())
    assert listener.heard[:2] == [("say", "1 of 3 frames are done already"), ("start", 2)]
    assert listener.heard.count(("advance", 1)) == 2


def test_a_worker_that_the_system_ends_is_explained(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    jobs = jobs_for(tmp_path, 1)
    with workers.local_workers(1) as pool:
        doomed = pool.submit(os._exit, 9)
        monkeypatch.setattr(pool, "submit", lambda *_: doomed)
        with pytest.raises(ToolError, match="--jobs 1"):
            workers.run_frames(jobs, pool)


def test_a_pool_serves_the_next_item_after_one_that_failed(tmp_path: Path) -> None:
    (tmp_path / "file").touch()
    doomed, *others = jobs_for(tmp_path, 3)
    with workers.local_workers(1) as pool:
        with pytest.raises(ToolError, match="cannot be written"):
            workers.run_frames([dataclasses.replace(doomed, folder=tmp_path / "file" / "a1")], pool)
        assert list(workers.run_frames(others, pool)) == ["a2", "a3"]


class _Interrupting(ThreadPoolExecutor):
    """Hands out one finished frame, then the person presses Ctrl-C."""

    def submit(self, *arguments: Any, **options: Any) -> Future[Any]:
        if self._work_queue.qsize() or len(self._threads):
            raise KeyboardInterrupt
        return super().submit(*arguments, **options)


def test_an_interruption_lets_frames_that_have_begun_end(tmp_path: Path) -> None:
    jobs = jobs_for(tmp_path, 3)
    with _Interrupting(1) as pool, pytest.raises(Interrupted, match="run again to go on"):
        workers.run_frames(jobs, pool)
    assert frame.finished(jobs[0])
    assert not frame.finished(jobs[2])


@pytest.mark.skipif(sys.platform == "win32", reason="sends a signal")
def test_a_scheduler_that_is_not_there_is_said_to_be_missing(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(workers, "PATIENCE", "500ms")
    with (
        pytest.raises(ToolError, match="no scheduler answers"),
        workers.scheduled_workers("tcp://127.0.0.1:9"),
    ):
        pass


def test_the_workers_of_a_scheduler_give_the_same(tmp_path: Path) -> None:
    jobs = jobs_for(tmp_path, 2)
    here = {job.frame: frame.process(job) for job in jobs}
    for job in jobs:
        (job.folder / frame.RECEIPT).unlink()
    environment = os.environ | {"PYTHONWARNINGS": "ignore", "PYTHONPATH": str(Path.cwd())}
    scheduler = subprocess.Popen(
        [sys.executable, "-m", "distributed.cli.dask_scheduler", "--host", "127.0.0.1", "--port", "0",
         "--no-dashboard", "--scheduler-file", str(tmp_path / "scheduler.json")],
        env=environment, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
    )  # fmt: skip
    worker = None
    try:
        _wait_for(tmp_path / "scheduler.json")
        import json

        address = json.loads((tmp_path / "scheduler.json").read_text())["address"]
        worker = subprocess.Popen(
            [sys.executable, "-m", "distributed.cli.dask_worker", address, "--no-dashboard", "--no-nanny",
             "--host", "127.0.0.1", "--local-directory", str(tmp_path / "dask")],
            env=environment, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
        )  # fmt: skip
        with workers.scheduled_workers(address) as pool:
            there = workers.run_frames(jobs, pool)
    finally:
        for process in (worker, scheduler):
            if process:
                process.kill()  # how a scheduler ends is not what is tested
                process.wait()
    assert there == here


def _wait_for(path: Path) -> None:
    for _ in range(200):
        if path.exists() and path.stat().st_size:
            return
        time.sleep(0.1)
    raise AssertionError(f"{path} did not appear")
