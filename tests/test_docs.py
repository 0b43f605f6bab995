"""The docs say what the code does: made pages are fresh, links hold, every command has help."""

from __future__ import annotations

import itertools
import re
import tomllib
from pathlib import Path

import click
import pytest

from pipeline.cli.main import run, solander
from pipeline.errors import ExitStatus
from pipeline.measurements import Quantity
from tests import make
from tests.make_docs import pages
from tests.measures_page import FAMILIES

ROOT = Path(__file__).parent.parent
WRITTEN = [*ROOT.glob("*.md"), *(ROOT / "docs").rglob("*.md")]


@pytest.mark.parametrize("path", pages(), ids=lambda path: path.name)
def test_pages_made_from_the_code_are_fresh(path: Path) -> None:
    assert path.read_text(encoding="utf-8") == pages()[path], "run: python -m tests.make_docs"


def test_every_quantity_is_told_of_once_and_by_its_label() -> None:
    told = [quantity for family in FAMILIES for quantity in family.said]
    assert sorted(told) == sorted(Quantity)
    page = (ROOT / "docs/measures.md").read_text(encoding="utf-8")
    assert all(f"**{each.label}**<br>`{each.value}`" in page for each in Quantity)
    assert "| – |\n" not in page.split("## Real pages")[0]  # every quantity has its rule


def test_places_within_pages_that_are_linked_to_are_there() -> None:
    page = (ROOT / "docs/measures.md").read_text(encoding="utf-8")
    rules = (ROOT / "docs/rules.md").read_text(encoding="utf-8")
    for target, anchor in re.findall(r"\]\(([^)#]*)#([^)]+)\)", page):
        headings = re.findall(r"^#+ (.*)$", rules if target else page, re.M)
        assert anchor in {re.sub(r"[^\w -]", "", each.lower()).replace(" ", "-") for each in headings}


def test_every_package_that_is_depended_on_has_its_reason() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    wanted = itertools.chain(project["dependencies"], *project["optional-dependencies"].values())
    names = {re.match(r"[A-Za-z0-9-]+", each)[0] for each in wanted}  # type: ignore[index]
    page = (ROOT / "docs/decisions/0003-dependencies.md").read_text(encoding="utf-8")
    assert {name for name in names if not re.search(rf"(?<![\w-]){name}(?![\w-])", page)} == set()


@pytest.mark.parametrize("path", WRITTEN, ids=lambda path: str(path.relative_to(ROOT)))
def test_links_between_pages_hold(path: Path) -> None:
    for target in re.findall(r"\]\(([^)#]+)(?:#[^)]*)?\)", path.read_text(encoding="utf-8")):
        if not target.startswith(("http://", "https://")):
            assert (path.parent / target).exists(), f"{path.name} links to {target}"


def _commands(group: click.Group) -> list[click.Command]:
    found: list[click.Command] = []
    for command in group.commands.values():
        found += [command, *(_commands(command) if isinstance(command, click.Group) else [])]
    return found


@pytest.mark.parametrize("command", _commands(solander), ids=lambda command: command.name)
def test_every_command_and_option_has_help(command: click.Command) -> None:
    assert command.help
    for parameter in command.params:
        if isinstance(parameter, click.Option) and parameter.name != "help":
            assert parameter.help, parameter.name


def test_the_readme_has_the_two_commands_that_newcomers_are_promised() -> None:
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    block = re.search(r"```sh\n(.*?)```", readme, re.S)
    assert block
    assert block[1].splitlines() == [
        "python3 -m venv .venv && .venv/bin/pip install -e '.[test]' && .venv/bin/solander demo",
        ".venv/bin/pytest",
    ]


def test_the_commands_for_an_item_of_ones_own_do_what_the_readme_says(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    section = readme.split("## An item of your own")[1]
    block = re.search(r"```sh\n(.*?)```", section, re.S)
    assert block
    monkeypatch.chdir(tmp_path)
    masters = Path("path/to/masters")
    masters.mkdir(parents=True)
    for number, side in enumerate(("001r", "001v"), 1):
        make.tiff(masters / f"b14_{side}.tif", pixels=make.picture(150 + number, 200))
    commands = [line.split("#")[0].split()[1:] for line in block[1].splitlines()]
    assert [command[0] for command in commands] == ["new", "check", "build", "publish", "deposit", "audit"]
    assert run(commands[0]) is ExitStatus.DONE
    item = Path("my-item/item.toml")
    item.write_text(item.read_text().replace("cleared = false", "cleared = true"))
    for command in commands[1:3]:
        assert run([*command, "--jobs", "1"]) in (ExitStatus.DONE, ExitStatus.WANTING)
    assert len(list(Path("bundles").iterdir())) == 2
    for command in commands[3:]:
        given = [str(path) for word in command for path in (Path().glob(word) if "*" in word else [word])]
        assert run(given) is ExitStatus.DONE
    assert Path("site/items/b14/index.html").is_file()
