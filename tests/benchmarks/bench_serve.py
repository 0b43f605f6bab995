"""How fast the preview sends tiles, in ratios to the standard library's server, in one run on one machine.

Run by hand from the repository's folder; it is no test and asserts nothing::

    python -m tests.benchmarks.bench_serve [--tiles 10000] [--connections 6]

Each server is a process of its own, over the same tiles of 20 kB in the folders of a IIIF image. Clients ask
as a browser does: the connections of one browser at once, each asking for one tile after another. The
standard library's server is asked both ways that it knows: one connection for each tile, which is how it
starts, and connections that are kept (``--protocol HTTP/1.1``); the latter sends head and body in two packets
and waits for the client in between, so it is measured on a fiftieth of the tiles.
"""

from __future__ import annotations

import argparse
import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from pathlib import Path

_OURS = """
import pathlib, sys, time
from pipeline import serve
with serve.running(serve.FolderSite(pathlib.Path(sys.argv[1])), port=int(sys.argv[2]), clock=time.time):
    time.sleep(600)
"""
_FIELDS = (
    "User-Agent: Mozilla/5.0 (X11; Linux x86_64; rv:140.0) Gecko/20100101",
    "Accept: image/avif,image/webp,image/apng,image/*,*/*;q=0.8",
    "Accept-Encoding: gzip, deflate, br",
    "Accept-Language: en-GB,en;q=0.9",
    "Sec-Fetch-Mode: no-cors",
)


def main(arguments: list[str] | None = None) -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--tiles", type=int, default=10_000)
    parser.add_argument("--connections", type=int, default=6, help="of one browser at once")
    chosen = parser.parse_args(arguments)
    with tempfile.TemporaryDirectory(prefix="bench-") as made:
        for line in _measured(Path(made), chosen.tiles, chosen.connections):
            print(line, flush=True)


def _measured(folder: Path, tiles: int, connections: int) -> Iterator[str]:
    paths = _make_tiles(folder, tiles)
    library = [sys.executable, "-m", "http.server", "--bind", "127.0.0.1", "--directory", str(folder)]
    yield f"{tiles} tiles over {connections} connections"
    with _started([sys.executable, "-c", _OURS, str(folder)]) as port:
        ours = _rate(port, paths, connections, keeps=True)
    yield f"  preview                      {ours:8.0f} tiles/s"
    with _started(library) as port:
        plain = _rate(port, paths, connections, keeps=False)
    yield f"  http.server, as it starts    {plain:8.0f} tiles/s  preview {ours / plain:.1f} times as fast"
    with _started([*library, "--protocol", "HTTP/1.1"]) as port:
        kept = _rate(port, paths[: max(len(paths) // 50, connections)], connections, keeps=True)
    yield f"  http.server, kept            {kept:8.0f} tiles/s  preview {ours / kept:.1f} times as fast"


def _make_tiles(folder: Path, tiles: int) -> list[str]:
    paths = [f"iiif/ms-7/f{n // 400:04}/{n % 400},0,512,512/512,512/0/default.jpg" for n in range(tiles)]
    for number, path in enumerate(paths):
        (folder / path).parent.mkdir(parents=True)
        (folder / path).write_bytes(number.to_bytes(4, "big") * 5000)
    return paths


@contextmanager
def _started(command: Sequence[str]) -> Iterator[int]:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
    quiet = subprocess.DEVNULL
    process = subprocess.Popen([*command, str(port)], stdout=quiet, stderr=quiet)
    try:
        _wait_for(port)
        yield port
    finally:
        process.kill()
        process.wait()


def _wait_for(port: int) -> None:
    deadline = time.monotonic() + 30
    while True:
        try:
            socket.create_connection(("127.0.0.1", port)).close()
        except OSError:
            if time.monotonic() > deadline:
                raise
            time.sleep(0.05)
        else:
            return


def _rate(port: int, paths: Sequence[str], connections: int, *, keeps: bool) -> float:
    """Return tiles per second, each checked."""
    shares = [list(enumerate(paths))[first::connections] for first in range(connections)]
    started = time.perf_counter()
    with ThreadPoolExecutor(connections) as pool:
        for each in [pool.submit(_fetch, port, share, keeps) for share in shares]:
            each.result()
    return len(paths) / (time.perf_counter() - started)


def _fetch(port: int, share: Sequence[tuple[int, str]], keeps: bool) -> None:
    for group in [share] if keeps else [[one] for one in share]:
        with (
            socket.create_connection(("127.0.0.1", port)) as connection,
            connection.makefile("rb") as answers,
        ):
            for number, path in group:
                lines = (f"GET /{path} HTTP/1.1", f"Host: 127.0.0.1:{port}", *_FIELDS, "", "")
                connection.sendall("\r\n".join(lines).encode())
                assert answers.readline().split()[1] == b"200"
                while answers.readline() != b"\r\n":
                    pass
                assert answers.read(20_000) == number.to_bytes(4, "big") * 5000


if __name__ == "__main__":
    main()
