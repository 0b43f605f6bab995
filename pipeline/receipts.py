"""Receipts: what was done, to what, with what result, so that a second run need not do it again.

A receipt is a frozen dataclass of `pipeline.model` values, kept as JSON. What cannot be read back, or
was written by another version of its class, counts as no receipt: the work is done again.
"""

from __future__ import annotations

import dataclasses
import datetime as dt
import enum
import functools
import hashlib
import json
import types
import typing
from collections.abc import Callable
from fractions import Fraction
from pathlib import Path, PurePosixPath
from typing import Any, TypeVar

from pipeline import jsondoc
from pipeline.errors import InputError

Receipt = TypeVar("Receipt")


def write(receipt: object, path: Path) -> None:
    """Write a receipt atomically. Raises ToolError."""
    jsondoc.write(path, to_json(receipt))


def read(kind: type[Receipt], path: Path) -> Receipt | None:
    """Return the receipt at `path`, or None if there is none that can be read as `kind`."""
    if not path.exists():
        return None
    try:
        receipt: Receipt = _decoder(typing.cast("Any", kind))(jsondoc.read(path))
    except (InputError, LookupError, TypeError, ValueError, AttributeError):
        return None
    return receipt


def key_of(*parts: object) -> str:
    """Return a digest of values: equal for equal values, whatever the machine or the day."""
    text = json.dumps([to_json(part) for part in parts], ensure_ascii=False, separators=(",", ":"))
    return hashlib.sha256(text.encode(errors="surrogatepass")).hexdigest()


def to_json(value: object) -> Any:
    """Return a model value as JSON values. Raises TypeError for what is not made of such values."""
    if value is None or isinstance(value, str | int | float):
        return value.value if isinstance(value, enum.Enum) else value
    if isinstance(value, tuple):
        return [to_json(each) for each in value]
    if dataclasses.is_dataclass(value):
        return {field.name: to_json(getattr(value, field.name)) for field in dataclasses.fields(value)}
    if isinstance(value, dt.date):
        return value.isoformat()
    if isinstance(value, Fraction | PurePosixPath):
        return str(value)
    raise TypeError(f"{type(value).__name__} has no place in a receipt")


@functools.cache
def _decoder(kind: Any) -> Callable[[Any], Any]:
    """Return what turns the JSON form of a value of type `kind` back into it."""
    origin, arguments = typing.get_origin(kind), typing.get_args(kind)
    if origin in (typing.Union, types.UnionType):
        (inner,) = (each for each in arguments if each is not type(None))
        decode = _decoder(inner)
        return lambda value: None if value is None else decode(value)
    if origin is tuple and arguments[-1] is Ellipsis:
        each = _decoder(arguments[0])
        return lambda value: tuple(each(part) for part in value)
    if origin is tuple:
        each_of = [_decoder(argument) for argument in arguments]
        return lambda value: tuple(one(part) for one, part in zip(each_of, value, strict=True))
    if dataclasses.is_dataclass(kind):
        return _dataclass_decoder(typing.cast("type[Any]", kind))
    if issubclass(kind, dt.date):
        return typing.cast("Callable[[Any], Any]", kind.fromisoformat)
    return typing.cast("Callable[[Any], Any]", kind)


def _dataclass_decoder(kind: type[Any]) -> Callable[[Any], Any]:
    hints = typing.get_type_hints(kind)
    fields = {field.name: _decoder(hints[field.name]) for field in dataclasses.fields(kind)}

    def decode(value: Any) -> Any:
        if value.keys() != fields.keys():
            raise ValueError(f"not a {kind.__name__} of this version")
        return kind(**{name: fields[name](part) for name, part in value.items()})

    return decode
