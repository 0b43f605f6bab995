"""Writes the pages of the docs that are made from the code: commands, exit statuses, rules, measures.

Run it after a change: ``python -m tests.make_docs``. `tests/test_docs.py` fails while a page is stale.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from pipeline import audit, check, verify
from pipeline.cli.main import solander
from pipeline.errors import ExitStatus
from pipeline.report.rules import rules_markdown
from tests.measures_page import measures_markdown

_SETTINGS: dict[str, Any] = {"help_option_names": solander.context_settings["help_option_names"]}

DOCS = Path(__file__).parent.parent / "docs"


def pages() -> dict[Path, str]:
    """The text of each page that is made."""
    return {
        DOCS / "commands.md": _commands(),
        DOCS / "measures.md": measures_markdown(),
        DOCS / "rules.md": rules_markdown(
            (*check.registers(), *verify.registers(), *audit.registers()), check.STOPPING
        ),
    }


def _commands() -> str:
    parts = [
        "# Commands",
        "Made from the code by `python -m tests.make_docs`.",
        "Results go to standard output, progress and messages to standard error. Commands that take an item "
        "take several; a batch ends with the highest status among them.",
        "`--json` prints one JSON document on standard output: a list with one object for each item, or one "
        "object if the run ended before it came to an item. Every object of an item has `folder` and "
        "`status`; an object with `error` tells what stopped it, and its `problems` where, what "
        "was found and what was expected.",
        "## Exit statuses",
        "| status | meaning |\n|---|---|\n"
        + "\n".join(f"| {each.value} | {each.meaning} |" for each in ExitStatus),
        *(_help(context) for context in _walk(None, "solander", solander)),
    ]
    return "\n\n".join(parts) + "\n"


def _walk(parent: click.Context | None, name: str, command: click.Command) -> list[click.Context]:
    here = click.Context(
        command, info_name=name, parent=parent, terminal_width=100, max_content_width=100, **_SETTINGS
    )
    found = [here]
    if isinstance(command, click.Group):
        for each in command.list_commands(here):
            found += _walk(here, each, command.commands[each])
    return found


def _help(context: click.Context) -> str:
    return f"## {context.command_path}\n\n```\n{context.command.get_help(context).rstrip()}\n```"


if __name__ == "__main__":
    for path, text in pages().items():
        path.write_text(text, encoding="utf-8")
