"""Web servers on the loopback address with the configurations of the docs, and a plain client."""

from __future__ import annotations

import http.client
import os
import shutil
import socket
import subprocess
import time
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager
from dataclasses import dataclass, field
from pathlib import Path

import pytest

from pipeline import serve

CONFIGURATIONS = Path(__file__).parent.parent.parent / "docs" / "serving"
HOST, FOLDER = "images.example.org", "/srv/images"
"""What stands for a site in the docs."""


@dataclass(frozen=True, kw_only=True)
class Answer:
    """What came back."""

    status: int
    fields: dict[str, str]
    body: bytes


@dataclass(kw_only=True)
class Server:
    """A server that answers at a port."""

    name: str
    port: int
    folder: Path = field(default_factory=Path)

    def ask(self, path: str, method: str = "GET", **fields: str) -> Answer:
        """Send one request, the path as it is; names of fields have ``_`` for the hyphen."""
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=20)
        try:
            return ask(connection, path, method, **fields)
        finally:
            connection.close()


def ask(connection: http.client.HTTPConnection, path: str, method: str = "GET", **fields: str) -> Answer:
    """Send one request on a connection that stays open."""
    headers = {name.replace("_", "-"): value for name, value in fields.items()}
    connection.putrequest(method, path, skip_accept_encoding=True)
    for name, value in headers.items():
        connection.putheader(name, value)
    connection.endheaders()
    answer = connection.getresponse()
    found = {name.lower(): value for name, value in answer.getheaders()}
    return Answer(status=answer.status, fields=found, body=answer.read())


# --------------------------------------------------------------------------------------------- ours


@contextmanager
def preview(site: Path, scratch: Path) -> Iterator[Server]:
    """Our own server."""
    with serve.running(serve.FolderSite(site), port=0, clock=time.time) as running:
        yield Server(name="preview", port=running.port, folder=site)


# ------------------------------------------------------------------------------------------- others


@contextmanager
def nginx(site: Path, scratch: Path) -> Iterator[Server]:
    """nginx with the documented server block in a configuration that writes into `scratch` alone."""
    program, port = _program("nginx"), _free_port()
    block = _documented("nginx.conf", site).replace("listen 80;", f"listen 127.0.0.1:{port};")
    kinds = ("client_body", "proxy", "fastcgi", "uwsgi", "scgi")
    main = f"""
        daemon off;
        worker_processes 1;
        pid {scratch}/pid;
        error_log {scratch}/error.log;
        {"user www-data;" if os.geteuid() == 0 else ""}
        events {{ }}
        http {{
            access_log off;
            {"".join(f"{kind}_temp_path {scratch}/{kind};" for kind in kinds)}
            {block}
        }}
    """
    (scratch / "main.conf").write_text(main)
    with _started([program, "-e", f"{scratch}/error.log", "-c", f"{scratch}/main.conf"], port, scratch):
        yield Server(name="nginx", port=port, folder=site)


@contextmanager
def caddy(site: Path, scratch: Path) -> Iterator[Server]:
    """Caddy with the documented site, and nothing that it would ask of the network."""
    program, port = _program("caddy"), _free_port()
    alone = "{\n\tadmin off\n\tauto_https off\n}\n"
    (scratch / "Caddyfile").write_text(
        alone + _documented("Caddyfile", site).replace(f"{HOST} {{", f"http://127.0.0.1:{port} {{")
    )
    with _started([program, "run", "--adapter", "caddyfile", "--config", "Caddyfile"], port, scratch):
        yield Server(name="caddy", port=port, folder=site)


_MODULES = (
    *("mpm_event", "authn_core", "authz_core", "authz_host", "alias", "dir", "mime", "filter", "setenvif"),
    *("headers", "deflate", "allowmethods"),
)
"""What Debian enables and we need, then what the docs say to enable."""


@contextmanager
def apache(site: Path, scratch: Path) -> Iterator[Server]:
    """Apache httpd with the documented virtual host and the modules that are named in it."""
    program, port = _program("apache2"), _free_port()
    host = _documented("apache.conf", site).replace("*:80", f"127.0.0.1:{port}")
    modules = "".join(
        f"LoadModule {name}_module /usr/lib/apache2/modules/mod_{name}.so\n" for name in _MODULES
    )
    main = f"""
ServerRoot {scratch}
ServerName localhost
PidFile {scratch}/pid
DefaultRuntimeDir {scratch}
ErrorLog {scratch}/error.log
Listen 127.0.0.1:{port}
{modules}
TypesConfig /dev/null
{"User www-data" if os.geteuid() == 0 else ""}
{"Group www-data" if os.geteuid() == 0 else ""}
<Directory />
    Require all denied
</Directory>
{host}
"""
    (scratch / "main.conf").write_text(main)
    with _started([program, "-D", "FOREGROUND", "-f", f"{scratch}/main.conf"], port, scratch):
        yield Server(name="apache", port=port, folder=site)


STARTERS: dict[str, Callable[[Path, Path], AbstractContextManager[Server]]] = {
    "preview": preview,
    "nginx": nginx,
    "caddy": caddy,
    "apache": apache,
}


def _program(name: str) -> str:
    program = shutil.which(name, path=f"{os.environ.get('PATH', '')}:/usr/sbin")
    if program is None:
        pytest.skip(f"{name} is not installed; .ci/run does it")
    return program


def _documented(name: str, site: Path) -> str:
    text = (CONFIGURATIONS / name).read_text(encoding="utf-8")
    assert HOST in text
    assert FOLDER in text
    return text.replace(FOLDER, str(site))


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


@contextmanager
def _started(command: list[str], port: int, scratch: Path) -> Iterator[None]:
    """Run a server until the context ends; fail with its own words if it does not answer."""
    own = {"HOME": str(scratch), "XDG_DATA_HOME": str(scratch), "XDG_CONFIG_HOME": str(scratch)}
    with (scratch / "said").open("wb") as said:
        process = subprocess.Popen(
            command, cwd=scratch, env=os.environ | own, stdin=subprocess.DEVNULL, stdout=said, stderr=said
        )
    try:
        _wait_for(port, process, scratch)
        yield
    finally:
        process.terminate()
        process.wait(timeout=20)


def _wait_for(port: int, process: subprocess.Popen[bytes], scratch: Path) -> None:
    deadline = time.monotonic() + 20
    while time.monotonic() < deadline and process.poll() is None:
        try:
            socket.create_connection(("127.0.0.1", port), timeout=1).close()
        except OSError:
            time.sleep(0.05)
        else:
            return
    pytest.fail(f"does not answer: {(scratch / 'said').read_text(errors='replace')}")
