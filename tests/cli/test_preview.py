"""`solander preview`: what is said, the browser, the end, mistakes."""

from __future__ import annotations

import http.client
import json
import os
import signal
import socket
import subprocess
import sys
import webbrowser
from pathlib import Path
from urllib.parse import urlsplit

import pytest

from pipeline.cli import preview
from pipeline.cli.main import run
from tests.publish import tiny

Said = pytest.CaptureFixture[str]
COMMAND = [sys.executable, "-c", "from pipeline.cli.main import main; main()", "preview", "--port", "0"]


@pytest.fixture
def bundle(place: Path) -> Path:
    """A bundle in the folder that we stand in."""
    return tiny.bundle(place)


@pytest.fixture
def ended(monkeypatch: pytest.MonkeyPatch) -> list[float]:
    """Ctrl-C as soon as the preview waits; the list has what it waited for."""
    waits: list[float] = []

    def sleep(seconds: float) -> None:
        waits.append(seconds)
        raise KeyboardInterrupt

    monkeypatch.setattr(preview, "sleep", sleep)
    return waits


@pytest.fixture
def opened(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """The addresses that a browser was opened at."""
    addresses: list[str] = []
    monkeypatch.setattr(webbrowser, "open", addresses.append)
    return addresses


def fetched(url: str, path: str) -> tuple[int, bytes]:
    connection = http.client.HTTPConnection(urlsplit(url).netloc, timeout=20)
    try:
        connection.request("GET", path)
        answer = connection.getresponse()
        return answer.status, answer.read()
    finally:
        connection.close()


@pytest.mark.skipif(sys.platform == "win32", reason="sends a signal as a terminal does")
@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_it_serves_until_it_is_asked_to_end_and_leaves_nothing_behind(bundle: Path, number: int) -> None:
    with subprocess.Popen(
        [*COMMAND, "--json", bundle.name],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        cwd=bundle.parent,
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.default_int_handler),  # a job's is ignored
    ) as process:
        assert process.stdout is not None
        said = json.loads("".join(iter(process.stdout.readline, "}\n")) + "}")
        assert said["items"] == ["ms-1"]
        status, page = fetched(said["url"], "/items/ms-1/")
        assert (status, b"Item ms-1" in page) == (200, True)
        assert fetched(said["url"], "/nothing")[0] == 404
        process.send_signal(number)
        try:
            out, errors = process.communicate(timeout=20)
        finally:
            process.kill()
    assert process.returncode == 130
    assert out == ""
    assert errors.splitlines() == ["note: /nothing: not found"]
    with pytest.raises(OSError):  # noqa: PT011, nobody is there
        fetched(said["url"], "/")


def test_the_address_is_said_and_how_to_end(bundle: Path, ended: list[float], capsys: Said) -> None:
    assert run(["preview", bundle.name, "--port", "0"]) == 130
    first, second = capsys.readouterr().out.splitlines()
    assert first.startswith(f"{bundle.name} at http://127.0.0.1:")
    assert first.endswith("/")
    assert second == "Ctrl-C ends it"
    assert ended


def test_what_is_left_out_is_noted(bundle: Path, ended: list[float], capsys: Said) -> None:
    (tiny.bundle(bundle.parent, "ms-2") / "data/iiif/ms-2/manifest.json").write_text("{")
    run(["preview", ".", "--port", "0"])
    assert (
        "note: left out: ms-2-publication: iiif/ms-2/manifest.json: is not a JSON" in capsys.readouterr().err
    )


@pytest.mark.parametrize(
    ("screen", "is_terminal", "options", "expected"),
    [
        ({"DISPLAY": ":0"}, True, [], 1),
        ({"WAYLAND_DISPLAY": "wayland-0"}, True, [], 1),
        ({"DISPLAY": ":0"}, True, ["--no-browser"], 0),
        ({"DISPLAY": ":0", "CI": "true"}, True, [], 0),
        ({"DISPLAY": ":0"}, False, [], 0),
        ({}, True, [], 0),
    ],
)
def test_a_browser_is_opened_where_a_person_sits_before_a_screen(
    bundle: Path,
    ended: list[float],
    opened: list[str],
    monkeypatch: pytest.MonkeyPatch,
    screen: dict[str, str],
    is_terminal: bool,
    options: list[str],
    expected: int,
) -> None:
    for name in ("DISPLAY", "WAYLAND_DISPLAY", "CI"):
        monkeypatch.delenv(name, raising=False)
    for name, value in screen.items():
        monkeypatch.setenv(name, value)
    monkeypatch.setattr(sys, "platform", "linux")
    monkeypatch.setattr(preview, "is_at_terminal", lambda: is_terminal)
    run(["preview", bundle.name, "--port", "0", *options])
    assert len(opened) == expected
    assert all(address.startswith("http://127.0.0.1:") for address in opened)


def test_a_port_that_is_taken_is_said_with_a_way_out(bundle: Path, ended: list[float], capsys: Said) -> None:
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        port = other.getsockname()[1]
        assert run(["preview", bundle.name, "--port", str(port)]) == 7
    assert (
        f"solander: port {port} is taken by another program; give another one, or 0"
        in capsys.readouterr().err
    )
    assert ended == []


def test_what_cannot_be_previewed_is_said_in_words(place: Path, capsys: Said) -> None:
    os.mkdir("empty")  # noqa: PTH102, where we stand
    assert run(["preview", "empty", "--port", "0"]) == 5
    assert capsys.readouterr().err.startswith("solander: empty: found no bundle, expected a site made by")
    assert run(["preview", "nowhere", "--port", "0", "--json"]) == 5
    assert json.loads(capsys.readouterr().out)["status"] == 5


@pytest.mark.parametrize("port", ["65536", "-1", "http"])
def test_what_is_no_port_is_refused(bundle: Path, port: str) -> None:
    assert run(["preview", bundle.name, f"--port={port}"]) == 2
