"""`solander rules`: every check with its code, meaning and source."""

from __future__ import annotations

import click

from pipeline.cli import _options, _render


@click.command(short_help="Every check with its code, meaning and source.")
@_options.json_option
def rules(as_json: bool) -> None:
    """List every check with its code, level, title, source and advice."""
    from pipeline import audit, check, verify

    families = (*check.registers(), *verify.registers(), *audit.registers())
    known = [rule for register in families for rule in register.rules.values()]
    if as_json:
        names = ("code", "level", "title", "source", "advice", "explanation")
        _render.show_json([{name: str(getattr(rule, name)) for name in names} for rule in known])
        return
    for rule in known:
        _render.show(f"{rule.code}  {rule.level.value:8}{rule.title}")
        _render.show(f"      {rule.source}")
