"""What several families of rules say alike: many of one kind as one, values of strangers cut short."""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from typing import Any

from pipeline.findings import Remark

SINGLY = 5
"""Up to so many of one kind are told one by one; more are told together."""
_CHARACTERS = 120


def shown(value: Any) -> str:
    """Return a value of a JSON document as a finding quotes it: large ones are told of, long ones cut."""
    if isinstance(value, str):
        return short(value) if value else "an empty text"
    if isinstance(value, dict):
        return short(f"an object with {', '.join(value) if value else 'nothing in it'}")
    if isinstance(value, list) and (
        len(value) > _SHORT_LIST or any(isinstance(v, dict | list) for v in value)
    ):
        return f"an array of {len(value):,}"
    return short(json.dumps(value, ensure_ascii=False, default=str))


_SHORT_LIST = 8


def short(text: str) -> str:
    """Return a text cut to what a line of a report holds."""
    return text if len(text) <= _CHARACTERS else f"{text[: _CHARACTERS - 1]}…"


def listed(names: Sequence[str], *, most: int = 3) -> str:
    """Return the first names, and how many more there are."""
    more = len(names) - most
    return ", ".join(names[:most]) + (f" and {more:,} more" if more > 0 else "")


def together(remarks: Iterable[Remark], *, what: str = "places") -> Iterator[Remark]:
    """Yield remarks of one rule; where more than `SINGLY` want the same, one remark for all of them."""
    groups: dict[tuple[str, Any, str], list[Remark]] = defaultdict(list)
    for each in remarks:
        groups[each.limit, each.level, each.source].append(each)
    for group in groups.values():
        if len(group) <= SINGLY:
            yield from group
            continue
        first = group[0]
        document, colon, _ = first.place.partition(": ")
        others = listed([each.place.removeprefix(document + colon) for each in group[1:]])
        yield Remark(
            place=first.place,
            value=f"{first.value}; and in {len(group) - 1:,} more {what}: {others}",
            limit=first.limit,
            level=first.level,
            source=first.source,
        )
