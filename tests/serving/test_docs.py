"""What docs/serving.md tells people to run does what it says, with every server of the page."""

from __future__ import annotations

import os
import re
import shutil
import subprocess

import pytest

from pipeline.specs import http as http_spec
from tests.serving import sites
from tests.serving.servers import CONFIGURATIONS, PAGE, SecureServer, Server


def _checks() -> tuple[str, list[str]]:
    """What sets names, and the lines that check."""
    block = re.search(r"```sh\n(.*?)```", PAGE, re.S)
    assert block
    lines = block[1].splitlines()
    return "\n".join(lines[:3]), lines[3:]


SETTING, CHECKING = _checks()


def _printed(server: Server, path: str = "") -> dict[str, str]:
    """Run all checks below a path in one shell; returns what each line printed."""
    if shutil.which("curl") is None:
        pytest.skip("curl is not installed")
    script = [SETTING.replace("https://images.example.org", server.url + path)]
    trust = {"CURL_CA_BUNDLE": str(server.certificate)} if isinstance(server, SecureServer) else {}
    for line in CHECKING:
        script += ["echo MARK", line]
    done = subprocess.run(
        ["bash", "-c", "\n".join(script)],
        env=os.environ | trust,
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    assert not done.stderr
    return dict(zip(CHECKING, done.stdout.split("MARK\n")[1:], strict=True))


def test_each_check_prints_something_with_a_server_that_is_well(server: Server) -> None:
    sites.set_address(server.folder, server.url)
    assert len(CHECKING) == 9
    assert [line for line, printed in _printed(server).items() if not printed] == []


def test_each_check_prints_nothing_where_nothing_is_right(server: Server) -> None:
    printed = _printed(server, "/elsewhere")
    assert [line for line in CHECKING if printed[line] and ".solander" not in line] == []


@pytest.mark.parametrize("name", ["nginx.conf", "apache.conf"])
def test_configurations_know_every_media_type(name: str) -> None:
    text = (CONFIGURATIONS / name).read_text(encoding="utf-8")
    for suffix, media_type in http_spec.MEDIA_TYPES.items():
        plain = re.escape(media_type.partition(";")[0])
        assert re.search(rf"{plain}\s+\.?{suffix[1:]}\b", text), suffix


@pytest.mark.parametrize("name", ["nginx.conf", "apache.conf", "Caddyfile"])
def test_configurations_say_what_the_preview_says(name: str) -> None:
    text = (CONFIGURATIONS / name).read_text(encoding="utf-8")
    for field, value in (*http_spec.CORS_FIELDS, *http_spec.PREFLIGHT_FIELDS):
        assert re.search(rf'{field}\s+"{re.escape(value)}"', text), field
    assert http_spec.IMMUTABLE in text


def test_the_page_names_every_file_of_its_folder() -> None:
    for path in CONFIGURATIONS.iterdir():
        assert f"](serving/{path.name})" in PAGE
