"""The page of rules is made from the registers alone."""

from __future__ import annotations

from pipeline import check
from pipeline.report.rules import rules_markdown


def test_the_page_has_every_rule_and_says_which_stop_a_build() -> None:
    text = rules_markdown(check.registers(), check.STOPPING)
    assert f"even without `--strict`: {', '.join(sorted(check.STOPPING))}." in text
    for register in check.registers():
        for rule in register.rules.values():
            assert f"### {rule.code}: {rule.title}\n" in text
