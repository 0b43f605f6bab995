"""docs/rules.md is made from the registers."""

from __future__ import annotations

from pathlib import Path

from pipeline import check
from pipeline.report.rules import rules_markdown

PAGE = Path(__file__).parent.parent.parent / "docs" / "rules.md"


def test_the_page_of_rules_is_fresh() -> None:
    assert PAGE.read_text(encoding="utf-8") == rules_markdown(), "run: python -m tests.make_docs"


def test_the_page_has_every_rule() -> None:
    text = rules_markdown()
    for register in check.registers():
        for rule in register.rules.values():
            assert f"### {rule.code}: {rule.title}\n" in text
