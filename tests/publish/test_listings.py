"""What lists the items of a site: collections, sitemaps, front pages; kept up one item at a time."""

from __future__ import annotations

import datetime as dt
import json
import re
from collections.abc import Iterator
from dataclasses import dataclass, field, replace

import pytest

from pipeline import jsondoc, xmldoc
from pipeline.model import LanguageMap
from pipeline.publish import changes, collections, front, sitemaps
from pipeline.publish.record import Entry, Site
from pipeline.specs.discovery import ActivityType
from tests.publish.tiny import BASE_URL, NOW, TITLE

SITEMAP = "{http://www.sitemaps.org/schemas/sitemap/0.9}"


def entry(slot: int, *, is_removed: bool = False) -> Entry:
    return Entry(
        item=f"ms-{slot}",
        slot=slot,
        version="v",
        content="c",
        payload="p",
        label=LanguageMap.of(f"Item {slot}", "en"),
        summary=LanguageMap(),
        thumbnail=f"iiif/ms-{slot}/f001/full/32,24/0/default.jpg",
        width_px=32,
        height_px=24,
        modified=NOW + dt.timedelta(days=slot),
        is_removed=is_removed,
    )


@dataclass
class World:
    """A site in memory: its documents are replaced as publishing replaces them, one item after another."""

    site: Site = field(default_factory=lambda: Site(base_url=BASE_URL, title=TITLE))
    items: list[Entry] = field(default_factory=list)
    documents: dict[str, bytes] = field(default_factory=dict)
    read: int = 0
    """Entries that were read for the last change."""

    def entries(self, first: int, past: int) -> Iterator[Entry]:
        for each in self.items[first:past]:
            self.read += 1
            yield each

    def add(self) -> dict[str, bytes]:
        slot = len(self.items)
        self.items.append(entry(slot))
        return self._change(slot)

    def remove(self, slot: int) -> dict[str, bytes]:
        self.items[slot] = replace(self.items[slot], is_removed=True)
        return self._change(slot)

    def _change(self, slot: int) -> dict[str, bytes]:
        self.read = 0
        self.site = replace(
            self.site,
            slots=len(self.items),
            items=sum(not each.is_removed for each in self.items),
            sitemaps=sitemaps.dated(self.site, slot, self.items[slot].modified),
        )
        found = {
            path: jsondoc.to_bytes(each)
            for path, each in collections.documents(self.site, slot, self.entries)
        }
        found |= sitemaps.documents(self.site, slot, self.entries)
        found |= front.documents(self.site, slot, self.entries)
        self.documents |= found
        return found


MANY = 300


@pytest.fixture(scope="module")
def large() -> Iterator[World]:
    """A site of many items, published one by one; its front pages are lists, its sitemaps short."""
    world = World()
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr("pipeline.pages.front_page", listed)
        patched.setattr("pipeline.publish.sitemaps.URLS", 120)
        for _ in range(MANY):
            world.add()
        yield world


def listed(page: object) -> bytes:
    """A front page as JSON."""
    found = {name: getattr(page, name) for name in ("name", "newer", "older", "items")}
    cards = [card.item for card in getattr(page, "cards")]  # noqa: B009
    return json.dumps({**found, "cards": cards}).encode()


def members(world: World, path: str) -> Iterator[str]:
    """The manifests below a collection, in order."""
    for each in json.loads(world.documents[path])["items"]:
        if each["type"] == "Manifest":
            yield each["id"]
        else:
            yield from members(world, each["id"].removeprefix(f"{BASE_URL}/"))


def numbered(count: int) -> list[str]:
    return [f"{BASE_URL}/iiif/ms-{number}/manifest.json" for number in range(count)]


def test_the_collection_has_every_item_once_in_the_order_of_publishing(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    world = World()
    monkeypatch.setattr("pipeline.pages.front_page", listed)
    monkeypatch.setattr(sitemaps, "documents", lambda *of_no_interest: ())
    for count in range(1, 195):
        world.add()
        if count in (1, 2, 95, 96, 97, 98, 192, 193, 194):
            assert list(members(world, collections.ROOT)) == numbered(count)


def test_a_large_collection_is_nested_and_every_node_is_short(large: World) -> None:
    assert list(members(large, collections.ROOT)) == numbered(MANY)
    nodes = {path: json.loads(data) for path, data in large.documents.items() if path.startswith("coll")}
    assert len(nodes) == 5
    assert max(len(each["items"]) for each in nodes.values()) == 96
    for path, node in nodes.items():
        assert node["id"] == f"{BASE_URL}/{path}"
        assert list(jsondoc.violations(node, "presentation")) == []


def test_collections_of_a_very_large_site_have_one_more_level() -> None:
    site = Site(base_url=BASE_URL, title=TITLE, slots=96 * 96 + 1)
    found = dict(collections.documents(site, site.slots - 1, lambda first, past: [entry(first)]))
    assert list(found) == [
        "collections/1-97.json",
        "collections/2-1.json",
        "collections/2-2.json",
        collections.ROOT,
    ]
    assert [each["id"].rpartition("/")[2] for each in _items(found[collections.ROOT])] == [
        "2-1.json",
        "2-2.json",
    ]
    assert len(_items(found["collections/2-1.json"])) == 96


def _items(document: object) -> list[dict[str, str]]:
    found: list[dict[str, str]] = json.loads(json.dumps(document))["items"]
    return found


def test_the_front_has_every_item_once_newest_first_and_its_pages_lead_to_each_other(large: World) -> None:
    name: str | None = "index.html"
    newer, seen = None, []
    while name:
        page = json.loads(large.documents[name])
        assert (page["name"], page["newer"]) == (name, newer)
        assert (page["items"] == MANY) is (name == "index.html")
        seen += page["cards"]
        newer, name = name, page["older"]
    assert seen == [f"ms-{number}" for number in reversed(range(MANY))]
    assert len(json.loads(large.documents["index.html"])["cards"]) < 48


def test_sitemaps_have_every_page_once_and_the_index_has_every_part(large: World) -> None:
    index = xmldoc.parse(large.documents["sitemap.xml"])
    parts = [each.text.removeprefix(f"{BASE_URL}/") for each in index.iter(f"{SITEMAP}loc") if each.text]
    assert parts == ["sitemap-1.xml", "sitemap-2.xml", "sitemap-3.xml"]
    pages = [
        each.text for part in parts for each in xmldoc.parse(large.documents[part]).iter(f"{SITEMAP}loc")
    ]
    assert pages == [f"{BASE_URL}/", *(f"{BASE_URL}/items/ms-{number}/" for number in range(MANY))]


def test_one_more_item_costs_the_same_in_a_large_site_as_in_a_small_one(large: World) -> None:
    found = large.add()
    assert len(found) <= 8
    assert large.read <= 96 + 120 + 3 * 48
    large.items.pop()
    large._change(MANY - 1)


def test_a_removed_item_is_listed_nowhere_and_its_place_is_kept() -> None:
    world = World()
    for _ in range(3):
        world.add()
    world.remove(1)
    for path in (collections.ROOT, "sitemap-1.xml", "index.html"):
        assert re.findall(r"ms-\d", world.documents[path].decode()).count("ms-1") == 0
    assert list(members(world, collections.ROOT)) == [numbered(3)[0], numbered(3)[2]]


def test_an_item_that_changes_on_an_older_page_changes_that_page(large: World) -> None:
    found = large._change(30)
    assert {path for path in found if path.endswith(".html")} == {"page-2.html", "index.html"}
    assert {path for path in found if path.endswith(".json")} == {"collections/1-1.json", collections.ROOT}
    large._change(MANY - 1)


# ------------------------------------------------------------------------------------- list of changes


def harvested(documents: dict[str, dict[str, object]]) -> list[str]:
    """Read the list as the specification tells harvesters to: from the last page backwards (section 3.5)."""
    found: list[str] = []
    page = _reference(documents[changes.START], "last")
    while page:
        activities = documents[page]["orderedItems"]
        assert isinstance(activities, list)
        assert activities
        found += [each["object"]["id"] for each in reversed(activities)]
        page = _reference(documents[page], "prev")
    return found


def _reference(document: dict[str, object], key: str) -> str:
    value = document.get(key, {"id": ""})
    assert isinstance(value, dict)
    return str(value["id"]).removeprefix(f"{BASE_URL}/")


def append(documents: dict[str, dict[str, object]], number: int) -> dict[str, dict[str, object]]:
    before: list[object] = []
    for path in changes.pages_before(number):
        listed_before = documents[path]["orderedItems"]
        assert isinstance(listed_before, list)
        before = listed_before
    added = changes.activity(BASE_URL, f"ms-{number}", ActivityType.CREATE, NOW)
    return {path: dict(each) for path, each in changes.documents(BASE_URL, number, added, before)}


@pytest.mark.parametrize("count", [1, 99, 100, 101, 250])
def test_a_harvester_that_goes_backwards_meets_every_change_once(count: int) -> None:
    documents: dict[str, dict[str, object]] = {}
    for number in range(count):
        documents |= append(documents, number)
    assert harvested(documents) == list(reversed(numbered(count)))
    assert documents[changes.START]["totalItems"] == count
    for path, page in documents.items():
        assert page["id"] == f"{BASE_URL}/{path}"
        assert next(iter(page)) == "@context"


def test_pages_of_changes_lead_forwards_too_and_know_where_they_begin() -> None:
    documents: dict[str, dict[str, object]] = {}
    for number in range(205):
        documents |= append(documents, number)
    page, starts = _reference(documents[changes.START], "first"), []
    while page:
        starts.append(documents[page]["startIndex"])
        page = _reference(documents[page], "next")
    assert starts == [0, 100, 200]


def test_a_change_that_is_written_again_after_a_kill_is_there_once() -> None:
    documents: dict[str, dict[str, object]] = {}
    for number in (0, 1, 1, 1):
        documents |= append(documents, number)
    assert harvested(documents) == list(reversed(numbered(2)))


def test_a_change_is_written_as_the_specification_has_it() -> None:
    """Source: IIIF Change Discovery API 1.0, section 3.3, the properties that an activity must have."""
    when = dt.datetime(2026, 3, 10, 11, 0, 0, tzinfo=dt.timezone(dt.timedelta(hours=2)))
    assert changes.activity(BASE_URL, "ms-1", ActivityType.DELETE, when) == {
        "type": "Delete",
        "object": {"id": f"{BASE_URL}/iiif/ms-1/manifest.json", "type": "Manifest"},
        "endTime": "2026-03-10T09:00:00Z",
    }


def test_the_time_of_a_change_is_not_cut_to_a_second_before_it() -> None:
    """Section 3.3: the changed resource must be there at or before endTime."""
    when = dt.datetime(2026, 3, 10, 9, 0, 0, 700_000, tzinfo=dt.UTC)
    said = str(changes.activity(BASE_URL, "ms-1", ActivityType.UPDATE, when)["endTime"])
    assert dt.datetime.fromisoformat(said) == when
