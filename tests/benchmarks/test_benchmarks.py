"""The benchmarks run: on next to nothing, and without a look at the times."""

from __future__ import annotations

import shutil

import pytest

from tests.benchmarks import bench_audit, bench_measures, bench_publish, bench_serve, bench_verify


def test_the_benchmark_of_verification_runs(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    if shutil.which("sha512sum") is None:
        pytest.skip("no sha512sum on this system")
    smaller = bench_verify.make_pictures
    monkeypatch.setattr(
        bench_verify, "make_pictures", lambda bag, pictures: smaller(bag, pictures, width_px=60, height_px=40)
    )
    bench_verify.main(["--gigabytes", "0.0003", "--files", "150", "--pictures", "2", "--rounds", "1"])
    printed = capsys.readouterr().out
    heads = [line.split()[0] for line in printed.splitlines() if not line.startswith(" ")]
    assert heads == ["digests", "2", "150", "150"]
    assert "times two sha512sum" in printed
    assert "times the walk" in printed


def test_the_benchmark_of_audits_runs(capsys: pytest.CaptureFixture[str]) -> None:
    if shutil.which("sha512sum") is None:
        pytest.skip("no sha512sum on this system")
    bench_audit.main(["--gigabytes", "0.0003", "--objects", "20", "--rounds", "1"])
    printed = capsys.readouterr().out
    assert [line.split()[0] for line in printed.splitlines() if not line.startswith(" ")] == ["content", "20"]


def test_the_benchmark_of_publication_runs(capsys: pytest.CaptureFixture[str]) -> None:
    bench_publish.main(["--items", "1", "4", "--views", "1", "--rounds", "2"])
    assert [line.split()[0] for line in capsys.readouterr().out.splitlines()] == ["1", "4"]


def test_the_benchmark_of_the_preview_runs(capsys: pytest.CaptureFixture[str]) -> None:
    bench_serve.main(["--tiles", "12", "--connections", "2"])
    printed = capsys.readouterr().out.splitlines()
    assert printed[0] == "12 tiles over 2 connections"
    assert [line.split()[0] for line in printed[1:]] == ["preview", "http.server,", "http.server,"]


def test_the_benchmark_of_measures_runs(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(bench_measures, "cost", bench_measures._timed)  # without a process for each
    bench_measures.main(["--megapixels", "0.3", "--rounds", "1"])
    head, *lines = capsys.readouterr().out.splitlines()
    assert "0.3 million pixels" in head
    assert [line.split()[:2] for line in lines] == [
        [kind, work]
        for kind in ("page", "target", "flat")
        for work in ("nothing", "measures", "tiles", "derivatives")
    ]
    assert all("of the tiles' CPU" in line for line in lines)
