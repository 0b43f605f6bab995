"""Writes the pages of the docs that are made from the code: commands, exit statuses, rules.

Run it after a change: ``python -m tests.make_docs``. `tests/test_docs.py` fails while a page is stale.
"""

from __future__ import annotations

from pathlib import Path

import click

from pipeline import check
from pipeline.cli.main import solander
from pipeline.errors import ExitStatus
from pipeline.report.rules import rules_markdown

DOCS = Path(__file__).parent.parent / "docs"


def pages() -> dict[Path, str]:
    """The text of each page that is made."""
    return {
        DOCS / "commands.md": _commands(),
        DOCS / "rules.md": rules_markdown(check.registers(), check.STOPPING),
    }


def _commands() -> str:
    parts = [
        "# Commands",
        "Made from the code by `python -m tests.make_docs`.",
        "Results go to standard output, progress and messages to standard error. Commands that take an item "
        "take several; a batch ends with the highest status among them.",
        "## Exit statuses",
        "| status | meaning |\n|---|---|\n"
        + "\n".join(f"| {each.value} | {each.meaning} |" for each in ExitStatus),
        *(_help(names, command) for names, command in _walk(("solander",), solander)),
    ]
    return "\n\n".join(parts) + "\n"


def _walk(names: tuple[str, ...], command: click.Command) -> list[tuple[tuple[str, ...], click.Command]]:
    found = [(names, command)]
    if isinstance(command, click.Group):
        for name in sorted(command.commands):
            found += _walk((*names, name), command.commands[name])
    return found


def _help(names: tuple[str, ...], command: click.Command) -> str:
    parent = None
    for name in names:
        parent = click.Context(command, info_name=name, parent=parent, max_content_width=100)
        parent.terminal_width = 100
    assert parent
    return f"## {' '.join(names)}\n\n```\n{command.get_help(parent).rstrip()}\n```"


if __name__ == "__main__":
    for path, text in pages().items():
        path.write_text(text, encoding="utf-8")
