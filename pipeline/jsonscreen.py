"""Whether a JSON document keeps to a schema: yes or no, and fast.

A schema is compiled into functions once; a large document that is good then costs a fraction of what a
library takes that can also say what is wrong. The keywords are those of JSON Schema draft 2020-12 (Core
and Validation) that our schemas use; references lead into the same document.
"""

from __future__ import annotations

import functools
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import Any, TypeAlias

Screen: TypeAlias = Callable[[Any], bool]
"""Tells whether a value keeps to a schema, or to a part of one."""
Schema: TypeAlias = "Mapping[str, Any] | bool"

_KIND_OF: dict[type, str] = {
    dict: "object",
    list: "array",
    str: "string",
    bool: "boolean",
    int: "number",
    float: "number",
    type(None): "null",
}
_SAY_NOTHING = {"$schema", "$id", "$defs", "$comment", "title", "description", "default", "examples"}
_READ_WITH_ANOTHER = {"then", "else", "minContains", "maxContains"}


@functools.cache
def expression(pattern: str) -> re.Pattern[str]:
    r"""Return a pattern of a schema as Python has it.

    In a schema (ECMA-262) ``$`` is the end of the text; in Python it is also before a last line end.
    """
    parts = re.finditer(r"\\.|\[(?:\\.|[^\]\\])*\]|.", pattern, re.DOTALL)
    return re.compile("".join(r"\Z" if part[0] == "$" else part[0] for part in parts))


def is_equal(one: Any, other: Any) -> bool:
    """Whether two values are the same in JSON: 1 and 1.0 are, 1 and true are not."""
    if isinstance(one, dict) and isinstance(other, dict):
        return one.keys() == other.keys() and all(is_equal(value, other[key]) for key, value in one.items())
    if isinstance(one, list) and isinstance(other, list):
        return len(one) == len(other) and all(map(is_equal, one, other))
    return bool(one == other) and isinstance(one, bool) == isinstance(other, bool)


class Screens:
    """The screens of one schema document and of its parts."""

    def __init__(self, root: Schema) -> None:
        self.root = root
        self._shared: dict[str, Screen] = {}
        self._by_part: dict[int, Screen] = {}

    @property
    def whole(self) -> Screen:
        """The screen of the whole document. Raises ValueError for a keyword that is not known."""
        return self.of(self.root)

    def of(self, part: Schema) -> Screen:
        """Return the screen of a part, which is made once; `part` is an object of the document itself."""
        if id(part) not in self._by_part:
            self._by_part[id(part)] = self.screen(part)
        return self._by_part[id(part)]

    def screen(self, schema: Schema) -> Screen:
        """Return a screen: the tests for each Python type are chosen here."""
        if isinstance(schema, bool):
            return _passes if schema else _fails
        tests = self._tests(schema)
        by_type = {python_type: tuple(tests[kind]) for python_type, kind in _KIND_OF.items()}

        def is_good(value: Any) -> bool:
            found = by_type.get(type(value))
            for test in by_type.get(_plain_type(value), _NEVER) if found is None else found:
                if not test(value):
                    return False
            return True

        return is_good

    def reference(self, target: str) -> Screen:
        """Return the screen of a shared part, which may be in the making: parts refer to one another."""
        shared = self._shared
        if target not in shared:
            shared[target] = _fails
            shared[target] = self.screen(_part(self.root, target))
        return lambda value: shared[target](value)

    def _tests(self, schema: Mapping[str, Any]) -> dict[str, list[Screen]]:
        tests: dict[str, list[Screen]] = {kind: [] for kind in _KIND_OF.values()}
        for keyword, limit in schema.items():
            if keyword in _SAY_NOTHING or keyword in _READ_WITH_ANOTHER:
                continue
            if keyword not in _KEYWORDS:
                raise ValueError(f"{keyword!r} is not a keyword that is screened")
            for kind, test in _KEYWORDS[keyword](self, limit, schema):
                tests[kind].append(test)
        return tests


Tests: TypeAlias = Iterator[tuple[str, Screen]]
"""Kinds of values, each with a test that those have to pass."""


def _passes(value: Any) -> bool:
    return True


def _fails(value: Any) -> bool:
    return False


_NEVER = (_fails,)
"""The tests of what is nothing that JSON has."""


def _part(root: Schema, target: str) -> Any:
    part: Any = root
    for step in target.removeprefix("#").split("/")[1:]:
        part = part[step]
    return part


def _plain_type(value: Any) -> type:
    """The type that a value of a subclass counts as."""
    return next((each for each in _KIND_OF if isinstance(value, each)), object)


def _every_kind(test: Screen) -> Tests:
    for kind in dict.fromkeys(_KIND_OF.values()):
        yield kind, test


# ---------------------------------------------------------------------------------------- any value


def _ref(screens: Screens, target: str, schema: Mapping[str, Any]) -> Tests:
    yield from _every_kind(screens.reference(target))


def _type(screens: Screens, wanted: str | Sequence[str], schema: Mapping[str, Any]) -> Tests:
    allowed = {wanted} if isinstance(wanted, str) else set(wanted)
    for kind in set(_KIND_OF.values()) - allowed:
        yield kind, _is_whole if kind == "number" and "integer" in allowed else _fails


def _is_whole(value: Any) -> bool:
    return isinstance(value, int) or value.is_integer()


def _const(screens: Screens, wanted: Any, schema: Mapping[str, Any]) -> Tests:
    yield from _enum(screens, [wanted], schema)


def _enum(screens: Screens, wanted: Sequence[Any], schema: Mapping[str, Any]) -> Tests:
    texts = frozenset(each for each in wanted if isinstance(each, str))
    others = [each for each in wanted if not isinstance(each, str)]
    for kind in dict.fromkeys(_KIND_OF.values()):
        if kind == "string":
            yield kind, texts.__contains__
        else:
            yield kind, lambda value: any(is_equal(value, each) for each in others)


def _all_of(screens: Screens, parts: Sequence[Schema], schema: Mapping[str, Any]) -> Tests:
    for part in parts:
        yield from _every_kind(screens.screen(part))


def _any_of(screens: Screens, parts: Sequence[Schema], schema: Mapping[str, Any]) -> Tests:
    tests = [screens.screen(part) for part in parts]
    yield from _every_kind(lambda value: any(test(value) for test in tests))


def _one_of(screens: Screens, parts: Sequence[Schema], schema: Mapping[str, Any]) -> Tests:
    tests = [screens.screen(part) for part in parts]
    yield from _every_kind(lambda value: sum(test(value) for test in tests) == 1)


def _not(screens: Screens, part: Schema, schema: Mapping[str, Any]) -> Tests:
    screen = screens.screen(part)
    yield from _every_kind(lambda value: not screen(value))


def _if(screens: Screens, part: Schema, schema: Mapping[str, Any]) -> Tests:
    condition = screens.screen(part)
    then, otherwise = (screens.screen(schema.get(branch, True)) for branch in ("then", "else"))
    yield from _every_kind(lambda value: then(value) if condition(value) else otherwise(value))


# ---------------------------------------------------------------------------------- texts and numbers


def _pattern(screens: Screens, pattern: str, schema: Mapping[str, Any]) -> Tests:
    search = expression(pattern).search
    yield "string", lambda value: search(value) is not None


def _min_length(screens: Screens, least: int, schema: Mapping[str, Any]) -> Tests:
    yield "string", lambda value: len(value) >= least


def _max_length(screens: Screens, most: int, schema: Mapping[str, Any]) -> Tests:
    yield "string", lambda value: len(value) <= most


def _minimum(screens: Screens, least: float, schema: Mapping[str, Any]) -> Tests:
    yield "number", lambda value: value >= least


def _maximum(screens: Screens, most: float, schema: Mapping[str, Any]) -> Tests:
    yield "number", lambda value: value <= most


def _exclusive_minimum(screens: Screens, limit: float, schema: Mapping[str, Any]) -> Tests:
    yield "number", lambda value: value > limit


def _exclusive_maximum(screens: Screens, limit: float, schema: Mapping[str, Any]) -> Tests:
    yield "number", lambda value: value < limit


# --------------------------------------------------------------------------------------------- arrays


def _items(screens: Screens, part: Schema, schema: Mapping[str, Any]) -> Tests:
    screen, first = screens.screen(part), len(schema.get("prefixItems", ()))
    yield "array", lambda value: all(map(screen, value[first:] if first else value))


def _prefix_items(screens: Screens, parts: Sequence[Schema], schema: Mapping[str, Any]) -> Tests:
    tests = [screens.screen(part) for part in parts]
    yield "array", lambda value: all(test(each) for test, each in zip(tests, value, strict=False))


def _contains(screens: Screens, part: Schema, schema: Mapping[str, Any]) -> Tests:
    screen = screens.screen(part)
    least, most = schema.get("minContains", 1), schema.get("maxContains", float("inf"))
    yield "array", lambda value: least <= sum(map(screen, value)) <= most


def _min_items(screens: Screens, least: int, schema: Mapping[str, Any]) -> Tests:
    yield "array", lambda value: len(value) >= least


def _max_items(screens: Screens, most: int, schema: Mapping[str, Any]) -> Tests:
    yield "array", lambda value: len(value) <= most


def _unique_items(screens: Screens, is_wanted: bool, schema: Mapping[str, Any]) -> Tests:
    if is_wanted:
        yield "array", _are_unique


def _are_unique(values: Sequence[Any]) -> bool:
    if all(isinstance(each, str) for each in values):
        return len(set(values)) == len(values)
    return not any(is_equal(each, other) for place, each in enumerate(values) for other in values[:place])


# -------------------------------------------------------------------------------------------- objects


def _properties(screens: Screens, parts: Mapping[str, Schema], schema: Mapping[str, Any]) -> Tests:
    find = {key: screens.screen(part) for key, part in parts.items()}.get

    def are_good(value: Mapping[str, Any]) -> bool:
        for key, each in value.items():
            screen = find(key)
            if screen is not None and not screen(each):
                return False
        return True

    yield "object", are_good


def _additional_properties(screens: Screens, part: Schema, schema: Mapping[str, Any]) -> Tests:
    screen, known = screens.screen(part), frozenset(schema.get("properties", ()))
    yield "object", lambda value: all(screen(each) for key, each in value.items() if key not in known)


def _property_names(screens: Screens, part: Schema, schema: Mapping[str, Any]) -> Tests:
    screen = screens.screen(part)
    yield "object", lambda value: all(map(screen, value))


def _required(screens: Screens, keys: Sequence[str], schema: Mapping[str, Any]) -> Tests:
    wanted = frozenset(keys)
    yield "object", lambda value: wanted <= value.keys()


def _dependent_required(
    screens: Screens, needs: Mapping[str, Sequence[str]], schema: Mapping[str, Any]
) -> Tests:
    yield (
        "object",
        lambda value: all(value.keys() >= set(keys) for key, keys in needs.items() if key in value),
    )


def _min_properties(screens: Screens, least: int, schema: Mapping[str, Any]) -> Tests:
    yield "object", lambda value: len(value) >= least


def _max_properties(screens: Screens, most: int, schema: Mapping[str, Any]) -> Tests:
    yield "object", lambda value: len(value) <= most


_KEYWORDS: dict[str, Callable[[Screens, Any, Mapping[str, Any]], Tests]] = {
    "$ref": _ref,
    "type": _type,
    "const": _const,
    "enum": _enum,
    "allOf": _all_of,
    "anyOf": _any_of,
    "oneOf": _one_of,
    "not": _not,
    "if": _if,
    "pattern": _pattern,
    "minLength": _min_length,
    "maxLength": _max_length,
    "minimum": _minimum,
    "maximum": _maximum,
    "exclusiveMinimum": _exclusive_minimum,
    "exclusiveMaximum": _exclusive_maximum,
    "items": _items,
    "prefixItems": _prefix_items,
    "contains": _contains,
    "minItems": _min_items,
    "maxItems": _max_items,
    "uniqueItems": _unique_items,
    "properties": _properties,
    "additionalProperties": _additional_properties,
    "propertyNames": _property_names,
    "required": _required,
    "dependentRequired": _dependent_required,
    "minProperties": _min_properties,
    "maxProperties": _max_properties,
}
