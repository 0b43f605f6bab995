"""Options of the test run, and what holds for all tests."""

from __future__ import annotations

import pytest
from hypothesis import settings

settings.register_profile("any machine", deadline=None)
settings.load_profile("any machine")


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption("--large", action="store_true", help="also run tests that take gigabytes or minutes")


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    if not config.getoption("--large"):
        skip = pytest.mark.skip(reason="needs --large")
        for item in items:
            if "large" in item.keywords:
                item.add_marker(skip)
