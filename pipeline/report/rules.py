"""The table of rules that ``docs/rules.md`` holds, printed from the registers."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator
from typing import Any

from pipeline.findings import Register, Rule

_HEAD = """\
# Rules

Made from the code by `python -m tests.make_docs`.

Every judgement has a code that is never used again for anything else. A rule whose ground is gone is not
judged, and the report says so: a master that cannot be read gives one finding, not twenty.

| codes | of | about |
|---|---|---|
| C, F, S | `solander check`, `build` | the care record; one file; files together, sessions, sequence |
| Q | `solander check`, `build` | what was measured, against the imaging specification |
| A, B | `solander verify` | archives and folders; bags and their digests |
| I | `solander verify` | images |
| M | `solander verify` | METS, MIX, PREMIS and MODS documents |
| P, T | `solander verify` | IIIF manifests and collections; image services and their tiles |
| X | `solander verify` | documents and images of one item held against each other |
| D | `solander verify` | terms of the delivery specification in use |
| E, W | `solander audit` | objects and storage roots, by the codes of the OCFL specification itself |
| K | `solander audit` | objects over time, and held against another copy |

An **error** is to be put right, a **warning** to be looked at, a **note** to be known. Where the limit comes
from the imaging specification in use, the specification may set another level, and the finding cites the
specification's own source.

These stop a build even without `--strict`: {stopping}. With `--without-clearance "reason"` the build goes
on without a conservator's clearance; C001 is then a warning and keeps the reason.
"""


def rules_markdown(registers: Iterable[Register[Any]], stopping: Collection[str]) -> str:
    """Return the page of the rules of `registers` as Markdown, in the order they are run in.

    `stopping` has the codes that stop a build.
    """
    lines = (line for register in registers for line in _of_register(register))
    return "\n".join([_HEAD.format(stopping=", ".join(sorted(stopping))), *lines])


def _of_register(register: Register[Any]) -> Iterator[str]:
    yield f"## Rules over {register.name}\n"
    for rule in register.rules.values():
        yield from _of_rule(rule)


def _of_rule(rule: Rule[Any]) -> Iterator[str]:
    yield f"### {rule.code}: {rule.title}\n"
    yield f"{' '.join(rule.explanation.split())}\n"
    yield f"- Level: {rule.level.value}"
    yield f"- Source of the limit: {rule.source}"
    yield f"- What to do: {rule.advice}"
    if rule.requires:
        yield f"- Not judged after an error of: {', '.join(sorted(rule.requires))}"
    yield ""
