"""The wheel: complete in itself, installed in an empty environment away from the checkout."""

from __future__ import annotations

import hashlib
import os
import subprocess
import sys
import venv
import zipfile
from pathlib import Path

import pytest

import hatch_build

ROOT = Path(__file__).parent.parent


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("wheel")
    _run(sys.executable, "-m", "pip", "wheel", str(ROOT), "--no-deps", "--wheel-dir", str(folder), cwd=folder)
    (made,) = folder.glob("solander-*.whl")
    return made


def _run(*command: str, cwd: Path) -> subprocess.CompletedProcess[str]:
    quiet = {"PIP_DISABLE_PIP_VERSION_CHECK": "1", "PYTHONDONTWRITEBYTECODE": "1"}
    environment = {name: value for name, value in os.environ.items() if name != "PYTHONPATH"} | quiet
    ran = subprocess.run(command, capture_output=True, text=True, cwd=cwd, env=environment)
    assert ran.returncode == 0, f"{command}: {ran.stdout}\n{ran.stderr}"
    return ran


def test_the_wheel_holds_schemas_templates_and_the_invented_library(wheel: Path) -> None:
    names = set(zipfile.ZipFile(wheel).namelist())
    for path in (*(ROOT / "schemas").rglob("*"), *(ROOT / "pipeline/report/templates").rglob("*")):
        if path.is_file():
            inside = (
                path.relative_to(ROOT)
                if path.is_relative_to(ROOT / "pipeline")
                else "pipeline" / path.relative_to(ROOT)
            )
            assert str(inside) in names
    assert "demo_data/solander.toml" in names
    assert not any(name.startswith(("tests/", "docs/")) or name.endswith(".tif") for name in names)


def test_the_wheel_carries_what_pages_of_a_site_need(wheel: Path) -> None:
    """OpenSeadragon too, as pinned: it is fetched at build time, for which npm or the network is needed."""
    names = set(zipfile.ZipFile(wheel).namelist())
    ours = [path for path in (ROOT / "pipeline/pages").rglob("*") if path.is_file()]
    assert {str(path.relative_to(ROOT)) for path in ours if "__pycache__" not in path.parts} <= names
    for name, digest in hatch_build.MEMBERS.values():
        data = zipfile.ZipFile(wheel).read(f"pipeline/pages/library/{name}")
        assert hashlib.sha256(data).hexdigest() == digest


@pytest.mark.large
def test_the_demo_runs_from_an_installed_wheel_away_from_the_checkout(wheel: Path, tmp_path: Path) -> None:
    venv.create(tmp_path / "env", with_pip=True)
    programs = tmp_path / "env" / ("Scripts" if sys.platform == "win32" else "bin")
    _run(str(programs / "python"), "-m", "pip", "install", "--quiet", str(wheel), cwd=tmp_path)
    ran = _run(str(programs / "solander"), "demo", "--small", "library", cwd=tmp_path)
    assert "Made in library" in ran.stdout
    items = sorted(path.parent.name for path in (tmp_path / "library").glob("*/item.toml"))
    assert len(items) >= 7
    built = [item for item in items if "trial" not in item]
    made = sorted(path.name for path in (tmp_path / "library/bundles").iterdir())
    assert made == sorted(f"{item}-{kind}" for item in built for kind in ("publication", "preservation"))
    assert [path.name for path in (tmp_path / "library/reports").iterdir()] == ["adl-trial-1"]
