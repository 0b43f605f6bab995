"""JSON documents: read, written the same way every time, and checked against our schemas.

The only importer of jsonschema and jsonschema_rs.
"""

from __future__ import annotations

import functools
import itertools
import json
import math
import re
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, TypeAlias

from pipeline.errors import InputError
from pipeline.files import write_atomically

JsonValue: TypeAlias = "Mapping[str, JsonValue] | Sequence[JsonValue] | str | int | float | bool | None"
"""What a JSON document may be made of."""

PACKAGE = Path(__file__).parent


@functools.cache
def schemas_folder() -> Path:
    """Where our schema files are: inside an installed package, or at the top of a checkout."""
    installed = PACKAGE / "schemas"
    return installed if installed.is_dir() else PACKAGE.parent / "schemas"


def to_bytes(document: object) -> bytes:
    """Return a document as UTF-8: indented by two, keys as they stand, a line end at the end.

    What UTF-8 cannot hold (bytes of a file name that are not text) is escaped, and read back alike.
    """
    text = json.dumps(document, ensure_ascii=False, indent=2, allow_nan=False) + "\n"
    return text.encode(errors="backslashreplace")


def encodable(value: JsonValue) -> JsonValue:
    """Return a document with bytes of file names that are no UTF-8 written out as text: ``\\udcff``.

    For documents that go to readers that know no half of a surrogate pair.
    """
    if isinstance(value, str):
        return value.encode("utf-8", "backslashreplace").decode("utf-8")
    if isinstance(value, Mapping):
        return {key: encodable(each) for key, each in value.items()}
    if isinstance(value, Sequence):
        return [encodable(each) for each in value]
    return value


def write(path: Path, document: object) -> None:
    """Write a document atomically. Raises ToolError."""
    write_atomically(path, to_bytes(document))


MOST_BYTES = 256 * 1024 * 1024
MOST_VALUES = 5_000_000
"""Commas and opening brackets: a document of nothing but brackets takes sixty times its size in memory."""
MOST_LEVELS = 200
"""Arrays and objects inside one another."""


def read(path: Path, *, most_bytes: int = MOST_BYTES) -> Any:
    """Return a JSON document. Raises InputError if it is not there, not JSON, or beyond our limits."""
    return parse(_bytes_of(path, most_bytes), str(path), most_bytes=most_bytes)


def parse(
    data: bytes,
    name: str,
    *,
    most_bytes: int = MOST_BYTES,
    object_of: Callable[[list[tuple[str, Any]]], dict[str, Any]] | None = None,
) -> Any:
    """Return the JSON document that `data` is; `name` is what messages call it.

    `object_of` makes an object of its keys and values; it sees keys that stand there more than once.

    Raises InputError if it is not JSON (RFC 8259), or larger or more deeply nested than we take on.
    """
    if len(data) > most_bytes:
        raise InputError(
            f"{name}: is larger than {most_bytes:,} bytes, the most that is read of a JSON document"
        )
    if data.count(b",") + data.count(b"[") + data.count(b"{") > MOST_VALUES:
        raise InputError(
            f"{name}: holds more than {MOST_VALUES:,} values, the most that is read of a JSON document"
        )
    too_deep = f"{name}: is not a JSON document that is read: it is more than {MOST_LEVELS} levels deep"
    try:
        document = json.loads(
            data, parse_constant=_refuse_constant, parse_float=_finite, object_pairs_hook=object_of
        )
    except ValueError as error:  # also numbers of thousands of digits
        raise InputError(f"{name}: is not a JSON document ({error})") from error
    except RecursionError as error:
        raise InputError(too_deep) from error
    if _is_deeper(document, MOST_LEVELS):
        raise InputError(too_deep)
    return document


def _bytes_of(path: Path, most_bytes: int) -> bytes:
    try:
        if not path.is_file() and path.exists() and not path.is_dir():
            raise InputError(f"{path}: cannot be read (it is not a file but a device, pipe or socket)")
        with path.open("rb") as stream:
            return stream.read(most_bytes + 1)
    except FileNotFoundError as error:
        raise InputError(f"{path}: is not there") from error
    except OSError as error:
        raise InputError(f"{path}: cannot be read ({error.strerror or error})") from error


def _refuse_constant(name: str) -> float:
    raise ValueError(f"{name} is no number in JSON")


def _finite(text: str) -> float:
    number = float(text)
    if math.isinf(number):
        raise ValueError(f"the number {text[:40]} is too large")
    return number


def _is_deeper(document: Any, most_levels: int) -> bool:
    """Whether arrays and objects stand in one another deeper than that; looks level by level."""
    level = [document]
    for _ in range(most_levels):
        level = [each for outer in level for each in _inside(outer) if isinstance(each, dict | list)]
        if not level:
            return False
    return True


def _inside(value: Any) -> Iterable[Any]:
    match value:
        case dict():
            return value.values()
        case list():
            return value
    return ()


@functools.cache
def schema(name: str) -> dict[str, Any]:
    """Return the schema ``schemas/<name>.schema.json``."""
    document: dict[str, Any] = json.loads((schemas_folder() / f"{name}.schema.json").read_bytes())
    return document


@dataclass(frozen=True, slots=True, kw_only=True)
class Violation:
    """One place where a document breaks its schema."""

    path: tuple[str | int, ...]
    """Keys and positions from the document's root."""
    rule: str
    """The schema keyword: type, enum, required, additionalProperties, pattern …"""
    limit: Any
    """The keyword's value in the schema."""
    found: Any
    message: str
    schema: Mapping[str, Any] = field(default_factory=dict)
    """The part of the schema that holds the keyword: its description says what is expected."""


MOST_VIOLATIONS = 1_000
"""Who has read so many knows what is wrong."""
_MOST_CHARACTERS = 1_000
"""Of a message, which may quote a part of the document."""


def violations(document: object, schema_name: str) -> Iterator[Violation]:
    """Yield the places where `document` breaks the schema of that name, in document order.

    At most MOST_VIOLATIONS. What is wrong with the name of a key has the path of the object, and the key
    as what is found. A document that is nested too deeply to be judged has one violation, ``depth``.
    """
    try:
        if _screen(schema_name).is_good(document):
            return
        errors = list(itertools.islice(_validator(schema_name).iter_errors(document), MOST_VIOLATIONS))
    except RecursionError:
        yield Violation(
            path=(), rule="depth", limit=MOST_LEVELS, found=None, message="is nested too deeply to be judged"
        )
        return
    said = set()
    for error in sorted(errors, key=lambda each: _position(document, each.absolute_path)):
        violation = Violation(
            path=tuple(error.absolute_path),
            rule=str(error.validator),
            limit=error.validator_value,
            found=error.instance,
            message=error.message[:_MOST_CHARACTERS],
            schema=error.schema if isinstance(error.schema, dict) else {},
        )
        key = (violation.path, violation.rule, violation.message)
        if key not in said:  # parts of a schema that meet in one place may say the same
            said.add(key)
            yield violation


class _Screen:
    """Whether a document, or a part of one, keeps to a schema: yes or no, much faster than why not."""

    def __init__(self, root: Mapping[str, Any]) -> None:
        self._root = root
        self._by_part: dict[int, Any] = {}

    def is_good(self, document: object, part: Any = None) -> bool:
        """Judge a document by the schema, or what stands in it by a part of the schema.

        Text that no UTF-8 can hold is not good: the other library says of it what there is to say.
        """
        try:
            return bool(self._validator(self._root if part is None else part).is_valid(document))
        except ValueError:  # a lone surrogate, a key that is no text
            return False

    def _validator(self, part: Any) -> Any:
        if id(part) not in self._by_part:
            import jsonschema_rs

            whole = part
            if isinstance(part, Mapping) and part is not self._root:
                whole = {"$schema": _DIALECT, "$defs": self._root.get("$defs", {}), **part}
            self._by_part[id(part)] = jsonschema_rs.validator_for(whole)
        return self._by_part[id(part)]


_DIALECT = "https://json-schema.org/draft/2020-12/schema"


@functools.cache
def _screen(schema_name: str) -> _Screen:
    return _Screen(schema(schema_name))


@functools.cache
def _validator(schema_name: str) -> Any:
    """The library that tells what is wrong; it looks closer only at what the screen has not let pass."""
    import jsonschema

    screen = _screen(schema_name)

    def items(validator: Any, part: Any, instance: Any, within: Mapping[str, Any]) -> Iterator[Any]:
        if not validator.is_type(instance, "array"):
            return
        first = len(within.get("prefixItems", ()))
        for place, each in enumerate(instance[first:], first):
            if not screen.is_good(each, part):
                yield from validator.descend(each, part, path=place)

    def pattern(validator: Any, wanted: str, instance: Any, within: Mapping[str, Any]) -> Iterator[Any]:
        if validator.is_type(instance, "string") and not _expression(wanted).search(instance):
            yield jsonschema.ValidationError(f"{instance!r} does not match {wanted!r}")

    extend: Any = jsonschema.validators.extend
    return extend(jsonschema.Draft202012Validator, {"items": items, "pattern": pattern})(schema(schema_name))


@functools.cache
def _expression(pattern: str) -> re.Pattern[str]:
    """Return a pattern of a schema as Python has it.

    In a schema (ECMA-262) ``$`` is the end of the text; in Python it is also before a last line end.
    """
    parts = re.finditer(r"\\.|\[(?:\\.|[^\]\\])*\]|.", pattern, re.DOTALL)
    return re.compile("".join(r"\Z" if part[0] == "$" else part[0] for part in parts))


def _position(document: Any, path: Iterable[str | int]) -> list[int]:
    """Return where in a document a path leads: the position of each of its steps."""
    position = []
    for step in path:
        position.append(step if isinstance(step, int) else list(document).index(step))
        document = document[step]
    return position
