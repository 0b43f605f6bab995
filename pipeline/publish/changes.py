"""The list of changes that aggregators harvest: pages that are appended to, and what leads to them.

A page that is full never changes again, but for its link to the next.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Sequence
from typing import Any

from pipeline import layout
from pipeline.jsondoc import JsonValue
from pipeline.specs import discovery
from pipeline.specs.discovery import ActivityType

ACTIVITIES_PER_PAGE = 100
START = "changes/all.json"
"""What a harvester is given the address of."""


def page_path(number: int) -> str:
    """The path of a page of activities, from 1."""
    return f"changes/page-{number}.json"


def activity(base_url: str, item: str, kind: ActivityType, when: dt.datetime) -> dict[str, JsonValue]:
    """Return one activity: what became of an item's manifest (Change Discovery API 1.0, section 3.3)."""
    manifest = layout.url(base_url, layout.manifest_path(item))
    return {
        "type": kind.value,
        "object": {"id": manifest, "type": "Manifest"},
        "endTime": discovery.end_time(when),
    }


def pages_before(number: int) -> tuple[str, ...]:
    """Return the pages whose activities are needed to add one that has `number` before it."""
    page, place = divmod(number, ACTIVITIES_PER_PAGE)
    if place:
        return (page_path(page + 1),)
    return (page_path(page),) if page else ()


def documents(
    base_url: str, number: int, added: dict[str, JsonValue], before: Sequence[Any]
) -> Iterator[tuple[str, dict[str, JsonValue]]]:
    """Yield the documents that change with one more activity, by path, in the order of writing.

    `number` activities are there already; `before` are those of the page that `pages_before` names. What
    is on that page beyond them is of an interrupted run, and is replaced.
    """
    page, place = divmod(number, ACTIVITIES_PER_PAGE)
    listed = before[:place] if place else []
    yield page_path(page + 1), _page(base_url, page + 1, [*listed, added], is_last=True)
    if page and not place:
        yield page_path(page), _page(base_url, page, before, is_last=False)
    yield START, _start(base_url, number + 1, page + 1)


def _page(
    base_url: str, number: int, activities: Sequence[JsonValue], *, is_last: bool
) -> dict[str, JsonValue]:
    head: dict[str, JsonValue] = {
        "@context": discovery.CONTEXT,
        "id": f"{base_url}/{page_path(number)}",
        "type": discovery.PAGE_TYPE,
        "startIndex": (number - 1) * ACTIVITIES_PER_PAGE,
        "partOf": {"id": f"{base_url}/{START}", "type": discovery.COLLECTION_TYPE},
    }
    if number > 1:
        head["prev"] = _page_reference(base_url, number - 1)
    if not is_last:
        head["next"] = _page_reference(base_url, number + 1)
    return head | {"orderedItems": activities}


def _start(base_url: str, count: int, pages: int) -> dict[str, JsonValue]:
    return {
        "@context": discovery.CONTEXT,
        "id": f"{base_url}/{START}",
        "type": discovery.COLLECTION_TYPE,
        "totalItems": count,
        "first": _page_reference(base_url, 1),
        "last": _page_reference(base_url, pages),
    }


def _page_reference(base_url: str, number: int) -> dict[str, JsonValue]:
    return {"id": f"{base_url}/{page_path(number)}", "type": discovery.PAGE_TYPE}
