"""The front page and what stands where an item was."""

from __future__ import annotations

import datetime as dt
import gzip
from typing import Any

from pipeline.pages import (
    FrontPage,
    ItemCard,
    TombstonePage,
    VolumesPage,
    asset_files,
    front_page,
    tombstone_page,
    volumes_page,
)
from tests.pages.world import BASE_URL, HOSTILE, TITLE, Page


def card(number: int, **changes: Any) -> ItemCard:
    said: dict[str, Any] = {
        "item": f"adl-ms-{number}",
        "label": {"en": [f"MS {number}: A book"], "de": [f"MS {number}: Ein Buch"]},
        "summary": {"en": ["Of bees."]},
        "thumbnail": f"iiif/adl-ms-{number}/a/full/150,200/0/default.jpg",
        "width_px": 150,
        "height_px": 200,
        "views": number,
        "date": "c. 1400",
    }
    return ItemCard(**(said | changes))


def front(*cards: ItemCard, **changes: Any) -> Page:
    said: dict[str, Any] = {"name": "index.html", "newer": None, "older": None, "items": len(cards)}
    return Page(front_page(FrontPage(site_title=TITLE, base_url=BASE_URL, cards=cards, **(said | changes))))


def test_every_item_has_its_card_with_picture_and_link() -> None:
    found = front(*map(card, range(1, 4)))
    cards = [each for each in found.one("ol", class_="cards").inside if each.tag == "li"]
    assert [each.inside[0].attributes["href"] for each in cards] == [
        f"./items/adl-ms-{n}/" for n in (1, 2, 3)
    ]
    assert "1 view" in cards[0].text
    assert "2 views" in cards[1].text
    assert len(found.all("img")) == 3


def test_pictures_below_the_fold_wait() -> None:
    assert [each.attributes.get("loading") for each in front(*map(card, range(10))).all("img")] == [
        None
    ] * 8 + ["lazy"] * 2


def test_cards_do_without_what_is_not_known() -> None:
    found = front(card(1, thumbnail=None, width_px=None, height_px=None, date=None, summary=None))
    assert found.all("img") == []
    assert "None" not in found.source


def test_the_front_leads_to_the_collection_where_there_is_one() -> None:
    found = front(card(1), collection="collections/all.json")
    assert found.one("a", data_word="collection").attributes["href"] == "./collections/all.json"
    assert found.one("link", rel="alternate").attributes["type"].startswith("application/ld+json")
    assert front(card(1)).all("link", rel="alternate") == []


def test_a_set_of_volumes_has_a_page_with_a_card_for_each() -> None:
    page = VolumesPage(
        path="volumes/bees/",
        collection="iiif/bees/collection.json",
        label={"en": ["Of bees & honey"]},
        cards=(card(1), card(2)),
        base_url=BASE_URL,
        site_title=TITLE,
    )
    found = Page(volumes_page(page))
    assert found.one("h1").text == "Of bees & honey"
    assert found.one("p", class_="count").text == "2 volumes"
    cards = found.one("ol", class_="cards").inside
    links = [each.attributes["href"] for each in cards if each.tag == "a"]
    assert links == ["../../items/adl-ms-1/", "../../items/adl-ms-2/"]
    assert "../../iiif/bees/collection.json" in found.addresses()
    assert found.one("link", rel="canonical").attributes["href"] == f"{BASE_URL}/volumes/bees/"


def test_pages_lead_to_newer_and_older_items() -> None:
    found = front(card(1), name="page-2.html", newer="page-3.html", older="page-1.html", items=None)
    assert [each.attributes["href"] for each in found.one("nav").inside] == ["./page-3.html", "./page-1.html"]
    assert found.one("link", rel="canonical").attributes["href"] == f"{BASE_URL}/page-2.html"
    assert found.one("link", rel="next").attributes["href"] == "./page-1.html"


def test_an_empty_site_says_so() -> None:
    assert "Nothing has been published here yet." in front(items=0).source


def test_hostile_cards_stay_text() -> None:
    found = front(card(1, label={"en": [HOSTILE]}, summary={"en": [HOSTILE]}, date=HOSTILE))
    assert len(found.all("script")) == 1
    assert len(found.all("img")) == 1


def test_a_front_page_of_a_hundred_items_weighs_little() -> None:
    beside = [
        asset.data
        for asset in asset_files.assets()
        if asset.path.startswith(("assets/pages", "assets/page."))
    ]
    whole = [front(*map(card, range(100))).source.encode(), *beside]
    assert len(whole) == 3
    assert sum(len(gzip.compress(each, 6)) for each in whole) < 20_000


def tombstone(**changes: Any) -> Page:
    said: dict[str, Any] = {"item": "adl-ms-9", "label": {"en": ["MS 9"]}, "removed_on": dt.date(2031, 5, 4)}
    return Page(tombstone_page(TombstonePage(base_url=BASE_URL, site_title=TITLE, **(said | changes))))


def test_a_tombstone_says_what_was_here_and_until_when() -> None:
    found = tombstone()
    assert found.one("h1").text == "MS 9"
    assert found.one("time").attributes["datetime"] == "2031-05-04"
    assert found.one("meta", name="robots").attributes["content"] == "noindex"
    assert "../../index.html" in found.addresses()


def test_a_tombstone_without_a_label_has_the_items_name() -> None:
    assert tombstone(label={}).one("h1").text == "adl-ms-9"


def test_a_hostile_label_on_a_tombstone_stays_text() -> None:
    assert len(tombstone(label={"en": [HOSTILE]}).all("script")) == 1
