"""IIIF Change Discovery API 1.0: what an aggregator reads to learn what was published, changed, removed.

An OrderedCollection names its first and last page. Each page names the collection, the page before and
the page after it, and lists activities, the latest last; a harvester begins at the last page and goes
backwards until it meets what it knows. An activity's `endTime` is in UTC, never before that of the
activity before it, and its object is there by then. With the types below, a list is of level 2.

Source: IIIF Change Discovery API 1.0.0, sections 2.1.3, 2.2, 2.3, 3.1 to 3.4, 4.1.
"""

from __future__ import annotations

import datetime as dt
import enum

CONTEXT = "http://iiif.io/api/discovery/1/context.json"
COLLECTION_TYPE = "OrderedCollection"
PAGE_TYPE = "OrderedCollectionPage"


class ActivityType(enum.StrEnum):
    """What became of a resource (section 3.3)."""

    CREATE = "Create"
    """Also of a resource that was deleted before."""
    UPDATE = "Update"
    DELETE = "Delete"


def end_time(when: dt.datetime) -> str:
    """Return a moment as an xsd:dateTime in UTC (section 3.3, endTime).

    With parts of a second if it has any: a time that was cut to seconds lies before the change, and whoever
    harvested within that second would never hear of it.
    """
    return when.astimezone(dt.UTC).replace(tzinfo=None).isoformat() + "Z"
