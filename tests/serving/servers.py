"""Web servers on the loopback address with the configurations of the docs, and a plain client."""

from __future__ import annotations

import http.client
import os
import re
import shutil
import socket
import ssl
import subprocess
import time
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager
from dataclasses import dataclass
from pathlib import Path

import httpx
import pytest

from pipeline import serve

CONFIGURATIONS = Path(__file__).parent.parent.parent / "docs" / "serving"
PAGE = CONFIGURATIONS.with_suffix(".md").read_text(encoding="utf-8")
HOST, FOLDER = "images.example.org", "/srv/images"
CERTIFICATE, KEY = f"/etc/ssl/{HOST}.pem", f"/etc/ssl/private/{HOST}.key"
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
    folder: Path

    @property
    def url(self) -> str:
        """Of the site, without a slash at its end."""
        return f"http://127.0.0.1:{self.port}"

    def ask(self, path: str, method: str = "GET", **fields: str) -> Answer:
        """Send one request, the path as it is; names of fields have ``_`` for the hyphen."""
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=20)
        try:
            return ask(connection, path, method, **fields)
        finally:
            connection.close()


@dataclass(kw_only=True)
class SecureServer(Server):
    """A server that speaks HTTP/2 over TLS."""

    certificate: Path
    client: httpx.Client

    @property
    def url(self) -> str:
        return f"https://localhost:{self.port}"

    def ask(self, path: str, method: str = "GET", **fields: str) -> Answer:
        headers = {name.replace("_", "-"): value for name, value in fields.items()}
        as_it_is = {"target": path.encode()}
        with self.client.stream(method, self.url, headers=headers, extensions=as_it_is) as answer:
            assert answer.http_version == "HTTP/2"
            body = b"".join(answer.iter_raw())
        return Answer(status=answer.status_code, fields=dict(answer.headers), body=body)


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
def nginx(site: Path, scratch: Path, tls: str = "") -> Iterator[int]:
    """nginx with the documented server block in a configuration that writes into `scratch` alone."""
    program, port = _program("nginx"), _free_port()
    block = _documented("nginx.conf", site)
    block = block.replace(
        "listen 80;", tls.replace("443", f"127.0.0.1:{port}") or f"listen 127.0.0.1:{port};"
    )
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
        yield port


@contextmanager
def caddy(site: Path, scratch: Path, tls: str = "") -> Iterator[int]:
    """Caddy with the documented site, and nothing that it would ask of the network."""
    program, port = _program("caddy"), _free_port()
    alone = "{\n\tadmin off\n\tauto_https off\n}\n"
    address = f"https://localhost:{port}" if tls else f"http://127.0.0.1:{port}"
    text = _documented("Caddyfile", site).replace(f"{HOST} {{", f"{address} {{\n\tbind 127.0.0.1\n{tls}")
    (scratch / "Caddyfile").write_text(alone + text)
    with _started([program, "run", "--adapter", "caddyfile", "--config", "Caddyfile"], port, scratch):
        yield port


_MODULES = (
    *("mpm_event", "authn_core", "authz_core", "authz_host", "alias", "dir", "mime", "filter", "setenvif"),
    *("headers", "deflate", "allowmethods", "rewrite"),
)
"""What Debian enables and we need, then what the docs say to enable."""
_TLS_MODULES = ("socache_shmcb", "ssl", "http2")


@contextmanager
def apache(site: Path, scratch: Path, tls: str = "") -> Iterator[int]:
    """Apache httpd with the documented virtual host and the modules that are named in it."""
    program, port = _program("apache2"), _free_port()
    host = _documented("apache.conf", site).replace("*:80", f"127.0.0.1:{port}")
    host = host.replace("    TraceEnable", f"{tls}    TraceEnable")
    modules = "".join(
        f"LoadModule {name}_module /usr/lib/apache2/modules/mod_{name}.so\n"
        for name in (*_MODULES, *(_TLS_MODULES if tls else ()))
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
        yield port


OTHERS: dict[str, tuple[Callable[[Path, Path, str], AbstractContextManager[int]], str]] = {
    "nginx": (nginx, "nginx"),
    "caddy": (caddy, "caddyfile"),
    "apache": (apache, "apache"),
}
"""What starts a server, and how the docs mark what it needs for TLS."""
PLAIN = ["preview", *OTHERS]
ALL = [*PLAIN, *(f"{name} with TLS" for name in OTHERS)]


@contextmanager
def started(name: str, site: Path, scratch: Path) -> Iterator[Server]:
    """Give one of the servers, by its name in `ALL`."""
    if name == "preview":
        with preview(site, scratch) as running:
            yield running
        return
    name, _, is_secure = name.partition(" ")
    start, marked = OTHERS[name]
    if not is_secure:
        with start(site, scratch, "") as port:
            yield Server(name=name, port=port, folder=site)
        return
    certificate, key = _certificate(scratch)
    with (
        start(site, scratch, _said_of_tls(marked, certificate, key)) as port,
        httpx.Client(http2=True, http1=False, verify=_trusting(certificate), timeout=20) as client,
    ):
        client.headers.clear()
        yield SecureServer(name=name, port=port, folder=site, certificate=certificate, client=client)


def _said_of_tls(marked: str, certificate: Path, key: Path) -> str:
    """What the docs tell to add, for another certificate."""
    block = re.search(rf"```{marked}\n(.*?)```", PAGE, re.DOTALL)
    assert block
    assert CERTIFICATE in block[1]
    assert KEY in block[1]
    return block[1].replace(CERTIFICATE, str(certificate)).replace(KEY, str(key))


def _certificate(scratch: Path) -> tuple[Path, Path]:
    """Make a certificate for `localhost` that nobody else trusts, and its key."""
    certificate, key = scratch / "certificate.pem", scratch / "key.pem"
    subprocess.run(
        [
            *(
                _program("openssl"),
                "req",
                "-x509",
                "-newkey",
                "ec",
                "-pkeyopt",
                "ec_paramgen_curve:prime256v1",
            ),
            *("-nodes", "-days", "1", "-subj", "/CN=localhost", "-addext", "subjectAltName=DNS:localhost"),
            *("-keyout", str(key), "-out", str(certificate)),
        ],
        check=True,
        capture_output=True,
    )
    return certificate, key


def _trusting(certificate: Path) -> ssl.SSLContext:
    return ssl.create_default_context(cafile=str(certificate))


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
