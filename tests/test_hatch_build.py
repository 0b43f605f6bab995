"""How the library for deep zoom comes into the package: only as pinned, never in the way of installing."""

from __future__ import annotations

import hashlib
import io
import subprocess
import tarfile
from pathlib import Path

import pytest

import hatch_build


def tarball(contents: bytes = b"function OpenSeadragon() {}") -> bytes:
    """A package as a registry would hand it out, with a file more than is wanted."""
    made = io.BytesIO()
    with tarfile.open(fileobj=made, mode="w:gz") as archive:
        for name in (*hatch_build.MEMBERS, "package/package.json"):
            member = tarfile.TarInfo(name)
            member.size = len(contents)
            archive.addfile(member, io.BytesIO(contents))
    return made.getvalue()


@pytest.fixture
def pinned(monkeypatch: pytest.MonkeyPatch) -> bytes:
    """A tarball of ours that is pinned in the library's place."""
    contents = b"// as pinned"
    data, digest = tarball(contents), hashlib.sha256(contents).hexdigest()
    monkeypatch.setattr(hatch_build, "TARBALL_SHA512", hashlib.sha512(data).hexdigest())
    members = {member: (name, digest) for member, (name, _) in hatch_build.MEMBERS.items()}
    monkeypatch.setattr(hatch_build, "MEMBERS", members)
    return data


@pytest.fixture
def hook(tmp_path: Path) -> hatch_build.ViewerLibraryHook:
    return hatch_build.ViewerLibraryHook(str(tmp_path), {}, None, None, "", "wheel")  # type: ignore[arg-type]


def without_npm(*arguments: object, **options: object) -> None:
    raise subprocess.TimeoutExpired("npm", 120)


def test_what_is_pinned_is_laid_down_and_nothing_else(pinned: bytes, tmp_path: Path) -> None:
    hatch_build.lay_down(pinned, tmp_path)
    assert {path.name for path in tmp_path.iterdir()} == {"openseadragon.min.js", "openseadragon-licence.txt"}
    assert hatch_build.is_complete(tmp_path)


def test_another_tarball_is_refused_and_leaves_nothing(pinned: bytes, tmp_path: Path) -> None:
    with pytest.raises(ValueError, match="do not trust it"):
        hatch_build.lay_down(tarball(b"// something else"), tmp_path)
    assert list(tmp_path.iterdir()) == []


def test_a_file_of_another_version_is_not_taken_for_the_library(pinned: bytes, tmp_path: Path) -> None:
    hatch_build.lay_down(pinned, tmp_path)
    (tmp_path / "openseadragon.min.js").write_bytes(b"// as pinned, but older")
    assert not hatch_build.is_complete(tmp_path)


def test_a_machine_without_network_takes_the_tarball_that_it_is_given(
    pinned: bytes, hook: hatch_build.ViewerLibraryHook, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "given.tgz").write_bytes(pinned)
    monkeypatch.setenv(hatch_build.GIVEN, str(tmp_path / "given.tgz"))
    assert hook.dependencies() == []
    hook.initialize("standard", {})
    assert hatch_build.is_complete(hook.place)


def test_installing_goes_on_without_the_library_and_says_so(
    hook: hatch_build.ViewerLibraryHook, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.delenv(hatch_build.GIVEN, raising=False)
    monkeypatch.setattr(subprocess, "run", without_npm)
    monkeypatch.setattr("shutil.which", lambda name: f"/usr/bin/{name}")
    hook.initialize("standard", {})
    assert not hook.place.exists()
    shown = capsys.readouterr()
    assert "could not be fetched" in shown.out + shown.err


def test_npm_is_asked_for_only_where_it_is_needed(
    pinned: bytes, hook: hatch_build.ViewerLibraryHook, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delenv(hatch_build.GIVEN, raising=False)
    monkeypatch.setattr("shutil.which", lambda name: None)
    assert hook.dependencies() == hatch_build.NPM_FROM_PYPI
    hatch_build.lay_down(pinned, hook.place)
    assert hook.dependencies() == []
