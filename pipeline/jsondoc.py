"""JSON documents: read, written the same way every time, and checked against our schemas.

The only importer of jsonschema.
"""

from __future__ import annotations

import functools
import json
from collections.abc import Iterable, Iterator, Mapping, Sequence
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


def write(path: Path, document: object) -> None:
    """Write a document atomically. Raises ToolError."""
    write_atomically(path, to_bytes(document))


def read(path: Path) -> Any:
    """Return a JSON document. Raises InputError if it is not there or is not JSON (RFC 8259)."""
    try:
        return json.loads(path.read_bytes(), parse_constant=_refuse_constant)
    except FileNotFoundError as error:
        raise InputError(f"{path}: is not there") from error
    except OSError as error:
        raise InputError(f"{path}: cannot be read ({error.strerror or error})") from error
    except (ValueError, RecursionError) as error:  # also numbers of thousands of digits
        raise InputError(f"{path}: is not a JSON document ({error})") from error


def _refuse_constant(name: str) -> float:
    raise ValueError(f"{name} is no number in JSON")


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


def violations(document: object, schema_name: str) -> Iterator[Violation]:
    """Yield every place where `document` breaks the schema of that name, in document order."""
    import jsonschema

    validator = jsonschema.Draft202012Validator(schema(schema_name))
    errors = sorted(validator.iter_errors(document), key=lambda e: _position(document, e.absolute_path))
    for error in errors:
        yield Violation(
            path=tuple(error.absolute_path),
            rule=str(error.validator),
            limit=error.validator_value,
            found=error.instance,
            message=error.message,
            schema=error.schema if isinstance(error.schema, dict) else {},
        )


def _position(document: Any, path: Iterable[str | int]) -> list[int]:
    """Return where in a document a path leads: the position of each of its steps."""
    position = []
    for step in path:
        position.append(step if isinstance(step, int) else list(document).index(step))
        document = document[step]
    return position
