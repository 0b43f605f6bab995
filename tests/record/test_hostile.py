"""Whatever stands in the files, a person gets an error of ours with problems, never a traceback."""

from __future__ import annotations

import tomllib
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pipeline.errors import PipelineError, Problem
from pipeline.record import load_item, load_settings
from tests.record.make_record import ITEM, PAGES, SETTINGS, Record, record
from tests.record.test_item import FULL
from tests.record.test_settings import FULL as FULL_SETTINGS

quick = settings(deadline=None, max_examples=60, suppress_health_check=[HealthCheck.too_slow])
values = st.sampled_from(
    (
        *(
            "1",
            "-1",
            "0.5",
            "nan",
            "true",
            '""',
            '"x"',
            '"f. 1r"',
            "2026-03-09",
            "2026-03-09T10:00:00Z",
            "10:00:00",
        ),
        *(
            "[]",
            "[1]",
            '["a", "a"]',
            "[[1]]",
            "{}",
            '{ en = "x" }',
            "{ id = 1 }",
            "[{}]",
            '[{ id = "s1" }, 3]',
        ),
    )
)


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Record:
    return record(tmp_path_factory.mktemp("hostile") / "item")


def _problems(load: Callable[[], object]) -> tuple[Problem, ...]:
    """What a person is told; any other exception than ours comes through."""
    try:
        load()
    except PipelineError as error:
        return error.problems or (Problem(where="", found="", expected=""),)
    return ()


def _loads_or_tells(folder: Path, item: bytes, pages: bytes) -> None:
    (folder / "item.toml").write_bytes(item)
    (folder / "pages.csv").write_bytes(pages)
    problems = _problems(lambda: load_item(folder, load_settings(None)))
    assert all(problem.where and problem.found and problem.expected for problem in problems)


@quick
@given(st.binary(max_size=60), st.integers(0, len(PAGES)), st.integers(0, 8))
def test_bytes_put_anywhere_into_pages_csv_are_read_or_told(
    made: Record, noise: bytes, at: int, cut: int
) -> None:
    pages = PAGES.encode()
    _loads_or_tells(made.folder, ITEM.encode(), pages[:at] + noise + pages[at + cut :])


@quick
@given(st.binary(max_size=12), st.integers(0, len(FULL)), st.integers(0, 8))
def test_bytes_put_anywhere_into_item_toml_are_read_or_told(
    made: Record, noise: bytes, at: int, cut: int
) -> None:
    item = FULL.encode()
    _loads_or_tells(made.folder, item[:at] + noise + item[at + cut :], PAGES.encode())


LINES = [n for n, line in enumerate(FULL.splitlines()) if "=" in line or line.startswith("[")]


@quick
@given(st.sampled_from(LINES), values, st.booleans())
def test_any_value_at_any_key_of_item_toml_is_read_or_told(
    made: Record, at: int, value: str, as_whole_table: bool
) -> None:
    _loads_or_tells(made.folder, _with_value(FULL, at, value, as_whole_table).encode(), PAGES.encode())


SETTINGS_LINES = [
    n for n, line in enumerate(FULL_SETTINGS.splitlines()) if "=" in line or line.startswith("[")
]


@quick
@given(st.sampled_from(SETTINGS_LINES), values, st.booleans())
def test_any_value_at_any_key_of_solander_toml_is_read_or_told(
    made: Record, at: int, value: str, as_whole_table: bool
) -> None:
    path = made.folder / "settings-under-test.toml"
    path.write_text(_with_value(FULL_SETTINGS, at, value, as_whole_table), encoding="utf-8")
    problems = _problems(lambda: load_settings(path))
    assert all(problem.where and problem.found and problem.expected for problem in problems)


def _with_value(text: str, at: int, value: str, as_whole_table: bool) -> str:
    """Give the key on a line another value, or the name of a table a value in its place."""
    lines = text.splitlines()
    line = lines[at]
    if "=" in line:
        lines[at] = f"{line.split('=')[0]}= {value}"
    elif as_whole_table and "." not in line:
        lines = [f"{line.strip('[]')} = {value}", *lines[:at]]
    return "\n".join(lines)


def test_the_texts_that_are_tampered_with_are_sound() -> None:
    for text in (FULL, FULL_SETTINGS, ITEM, SETTINGS):
        assert tomllib.loads(text)
