"""The arithmetic of the viewer, tested by the test runner of Node where there is one."""

from __future__ import annotations

import json
import shutil
import subprocess
from pathlib import Path

import pytest

from pipeline.pages import asset_files

NODE = shutil.which("node")
COMPILER = Path(__file__).parents[1] / "web/node_modules/typescript/bin/tsc"
SCRIPTS = Path(__file__).parent / "scripts"

needs_node = pytest.mark.skipif(NODE is None, reason="Node is not installed: it runs the tests of scripts")


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Modules and their tests side by side, as modules."""
    place = tmp_path_factory.mktemp("scripts")
    (place / "package.json").write_text('{"type": "module"}')
    for path in (*asset_files.WEB.glob("*.js"), *SCRIPTS.glob("*.test.js")):
        shutil.copy(path, place)
    return place


@needs_node
def test_the_tests_of_scripts_pass(folder: Path) -> None:
    ran = subprocess.run([str(NODE), "--test"], cwd=folder, capture_output=True, text=True)
    assert ran.returncode == 0, ran.stdout
    assert "# pass 0" not in ran.stdout


@needs_node
@pytest.mark.parametrize("name", ["viewer.js", "page.js", "dialogs.js"])
def test_joined_modules_are_one_that_can_be_read(name: str, tmp_path: Path) -> None:
    script = tmp_path / f"{Path(name).stem}.mjs"
    script.write_bytes(asset_files.by_name()[name].data)
    ran = subprocess.run([str(NODE), "--check", str(script)], capture_output=True, text=True)
    assert ran.returncode == 0, ran.stderr


@needs_node
@pytest.mark.skipif(not COMPILER.is_file(), reason="TypeScript is not installed: npm ci --prefix tests/web")
def test_the_types_in_comments_hold(folder: Path) -> None:
    for name, constant in (("words.js", "WORDS"), ("dialog-words.js", "DIALOG_WORDS")):
        words = f"/** @type {{Record<string, string>}} */\nexport const {constant} = {{}};\n"
        (folder / name).write_text(words)
    options = {
        "noEmit": True,
        "checkJs": True,
        "strict": True,
        "module": "es2022",
        "target": "es2023",
        "lib": ["es2023", "dom", "dom.iterable"],
        "types": [],
    }
    settings = {"compilerOptions": options, "files": ["viewer.js", "page.js"]}
    (folder / "tsconfig.json").write_text(json.dumps(settings))
    ran = subprocess.run([str(NODE), str(COMPILER), "-p", str(folder)], capture_output=True, text=True)
    assert ran.stdout == ""
    assert ran.returncode == 0
