"""JSON documents of a stranger, read with mistrust: any bytes give a value or a sentence, never a traceback.

Source: RFC 8259, sections 4 (names), 8.1 (encoding) and 9 (limits that a reader may set).
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from pipeline import jsondoc
from pipeline.containers import Container, read_bytes
from pipeline.errors import InputError

SAID = 5
"""How many of many alike are named."""


@dataclass(frozen=True, slots=True, kw_only=True)
class JsonReading:
    """What came out of reading a document."""

    path: str
    value: Any = None
    """Dictionaries, lists, strings, numbers, True, False, None; None if there is a failure."""
    failure: str = ""
    """Why it is no JSON document."""
    flaws: tuple[str, ...] = ()
    """What is wrong with it although it can be read."""


def read(
    container: Container, path: str, *, limit: int, is_wanted: Callable[[str, bytes], bool]
) -> tuple[JsonReading, bytes]:
    """Read a document of at most `limit` bytes; its bytes are returned too, empty if there are none.

    What is not wanted, by its path and bytes, is not made into values.
    """
    try:
        data = read_bytes(container, path, limit=limit)
    except InputError as error:
        return JsonReading(path=path, failure=str(error).removeprefix(f"{path}: ")), b""
    if not is_wanted(path, data) and not container.is_document:
        return JsonReading(path=path), data
    return parse(data, path), data


def parse(data: bytes, path: str = "") -> JsonReading:
    """Read a document from its bytes."""
    flaws = []
    if data.startswith(_BYTE_ORDER_MARK):
        flaws.append("begins with a byte order mark")
        data = data.removeprefix(_BYTE_ORDER_MARK)
    try:
        data.decode()
    except UnicodeDecodeError as error:
        return JsonReading(path=path, failure=_not_utf8(data, error))
    repeated: dict[str, None] = {}

    def object_of(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
        made = dict(pairs)
        if len(made) != len(pairs):
            counts = Counter(key for key, _ in pairs)
            repeated.update((key, None) for key, count in counts.items() if count > 1)
        return made

    try:
        value = jsondoc.parse(data, path, most_bytes=len(data), object_of=object_of)
    except InputError as error:
        return JsonReading(path=path, failure=str(error).removeprefix(f"{path}: "), flaws=tuple(flaws))
    flaws += [f'an object has the key "{key}" more than once' for key in list(repeated)[:SAID]]
    if len(repeated) > SAID:
        flaws.append(f"{len(repeated) - SAID:,} more keys stand in an object more than once")
    return JsonReading(path=path, value=value, flaws=tuple(flaws))


_BYTE_ORDER_MARK = b"\xef\xbb\xbf"


def _not_utf8(data: bytes, error: UnicodeDecodeError) -> str:
    if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return "is UTF-16, not UTF-8"
    return f"is not UTF-8: the byte {data[error.start]:#04x} at offset {error.start:,}"


# ------------------------------------------------------------------------------------------------ places

_PLAIN_KEY = re.compile(r"[@A-Za-z_][A-Za-z0-9_-]*")


def pointer(path: tuple[str | int, ...]) -> str:
    """Return where in a document a path of keys and positions leads: ``items[3].items[0].body``."""
    steps = (
        f"[{step}]" if isinstance(step, int) else f".{step}" if _PLAIN_KEY.fullmatch(step) else f"[{step!r}]"
        for step in path
    )
    return "".join(steps).removeprefix(".")
