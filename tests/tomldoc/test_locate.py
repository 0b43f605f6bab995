"""Every key of a TOML text is found on its line."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator
from typing import Any

import pytest
from hypothesis import given, reject
from hypothesis import strategies as st

from pipeline.tomldoc.locate import KeyPath, line_numbers

TEXT = '''\
# a comment with [brackets] and = signs
[item]
id = "x" # = ]
"quoted key" = 'a # no comment'
title = { en = "a, } b", "la" = ["b", 'c'] }
size = [
  1, # one
  [2, 3],
]
long = """
[no.table]
key = 1
""""
[item.sub]
a.b = 3

[[section]]
label.en = "x"
[section.more]
when = 1979-05-27 07:32:00Z
[[section]]
label = "y"
[[section.part]]
n = 1
[[section.part]]
n = 2
'''

EXPECTED = {
    ("item",): 2,
    ("item", "id"): 3,
    ("item", "quoted key"): 4,
    ("item", "title", "la", 1): 5,
    ("item", "size"): 6,
    ("item", "size", 0): 7,
    ("item", "size", 1): 8,
    ("item", "long"): 10,
    ("item", "sub", "a", "b"): 15,
    ("section",): 17,
    ("section", 0): 17,
    ("section", 0, "label", "en"): 18,
    ("section", 0, "more", "when"): 20,
    ("section", 1): 21,
    ("section", 1, "label"): 22,
    ("section", 1, "part", 1, "n"): 26,
}


@pytest.mark.parametrize("line_end", ["\n", "\r\n"])
@pytest.mark.parametrize("path", EXPECTED)
def test_a_key_is_found_on_its_line(path: KeyPath, line_end: str) -> None:
    assert line_numbers(TEXT.replace("\n", line_end))[path] == EXPECTED[path]


def test_every_key_of_a_text_is_found_and_none_besides() -> None:
    assert set(line_numbers(TEXT)) == set(_paths(tomllib.loads(TEXT)))


def _paths(value: Any, path: KeyPath = ()) -> Iterator[KeyPath]:
    if path:
        yield path
    if isinstance(value, dict):
        for key, each in value.items():
            yield from _paths(each, (*path, key))
    elif isinstance(value, list):
        for number, each in enumerate(value):
            yield from _paths(each, (*path, number))


def _basic(text: str) -> str:
    escaped = text.replace("\\", "\\\\").replace('"', '\\"')
    return f'"{escaped}"'


letters = st.text(alphabet='ab #[]{}=,.\\"é𐀀', max_size=6)
scalars = st.one_of(
    st.integers(-1000, 1000).map(str),
    st.sampled_from(["true", "2026-03-09", "1.5", '""', '"""x\n[y]\n"""', "'''\n'''", "'#'"]),
    letters.map(_basic),
)
keys = st.one_of(st.from_regex(r"[A-Za-z0-9_-]{1,5}", fullmatch=True), letters.map(_basic))


def _inline(children: st.SearchStrategy[str]) -> st.SearchStrategy[str]:
    lists = st.lists(children, max_size=3).map(lambda each: "[ " + ", # ]\n".join(each) + "\n]")
    tables = st.dictionaries(keys, children, max_size=3).map(
        lambda table: "{ " + ", ".join(f"{key} = {value}" for key, value in table.items()) + " }"
    )
    return st.one_of(lists, tables)


values = st.recursive(scalars, _inline, max_leaves=6)
tables = st.lists(
    st.tuples(st.sampled_from(["[[t]]", "[[u]]", "[[t.sub]]"]), st.dictionaries(keys, values, max_size=3)),
    max_size=4,
)


@given(st.dictionaries(keys, values, max_size=3), tables)
def test_whatever_is_valid_has_a_line_for_every_key(top: dict[str, str], others: list[Any]) -> None:
    lines = [f"{key} = {value}" for key, value in top.items()]
    for header, table in others:
        lines += [header, *(f"{key} = {value} # end" for key, value in table.items())]
    text = "\n".join(lines)
    try:
        document = tomllib.loads(text)
    except tomllib.TOMLDecodeError:
        reject()
    found = line_numbers(text)
    assert set(found) == set(_paths(document))
    assert all(1 <= line <= text.count("\n") + 1 for line in found.values())
