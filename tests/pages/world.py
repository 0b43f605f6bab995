"""Manifests that tests of pages are made from, and what a page holds."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from html.parser import HTMLParser
from typing import Any

from pipeline.pages import ItemPage
from pipeline.specs import iiif

BASE_URL = "https://library.example.org/books"
ITEM = "adl-ms-9"
FOLDER = f"{BASE_URL}/iiif/{ITEM}"
TITLE = {"en": ["Aldermoor Library"], "de": ["Bibliothek Aldermoor"]}

HOSTILE = "</script><script>alert(1)</script>\"'><img src=x onerror=alert(1)>&amp;{{ 7 * 7 }}\x07\udcff"

Change = Callable[[dict[str, Any]], object]


def image(frame: str, **more: Any) -> dict[str, Any]:
    """An image with a static service."""
    service = f"{FOLDER}/{frame}"
    return {
        "id": f"{service}/full/max/0/default.jpg",
        "type": "Image",
        "format": "image/jpeg",
        "width": 1200,
        "height": 1600,
        "service": [{"id": service, "type": "ImageService3", "profile": "level0"}],
        **more,
    }


def canvas(frame: str, label: str, *bodies: dict[str, Any], **more: Any) -> dict[str, Any]:
    """A view as our own manifests have it: a choice if there are several images, empty if there is none."""
    address = f"{FOLDER}/canvas/{frame}"
    body = bodies[0] if len(bodies) == 1 else {"type": "Choice", "items": list(bodies)}
    annotation = {"id": f"{address}/a", "type": "Annotation", "motivation": "painting", "body": body}
    thumbnail = {"id": f"{FOLDER}/{frame}/full/150,200/0/default.jpg", "type": "Image"}
    return {
        "id": address,
        "type": "Canvas",
        "label": {"none": [label]},
        "width": 1200,
        "height": 1600,
        "thumbnail": [{**thumbnail, "width": 150, "height": 200}] if bodies else [],
        "rendering": [
            {
                "id": f"{BASE_URL}/access/{ITEM}/{frame}{suffix}.jpg",
                "type": "Image",
                "label": {"none": ["JPEG"]},
            }
            for suffix in ("", "-b", "-c")[: len(bodies)]
        ],
        "service": [
            {
                "id": f"{address}/physdim",
                "type": "Service",
                "profile": iiif.PHYSICAL_DIMENSIONS_PROFILE,
                "physicalScale": 0.125,
                "physicalUnits": "mm",
            }
        ],
        "items": [{"id": f"{address}/p", "type": "AnnotationPage", "items": [annotation] if bodies else []}],
    } | more


def manifest(*canvases: dict[str, Any], change: Change = lambda made: None) -> dict[str, Any]:
    """A manifest on the site."""
    made: dict[str, Any] = {
        "@context": iiif.PRESENTATION_CONTEXT,
        "id": f"{FOLDER}/manifest.json",
        "type": "Manifest",
        "label": {"en": ["MS 9: Of bees"], "la": ["MS 9: De apibus"]},
        "summary": {"en": ["A book on bees."]},
        "metadata": [
            {"label": {"en": ["Date"], "de": ["Datierung"]}, "value": {"none": ["c. 1400"]}},
        ],
        "requiredStatement": {"label": {"en": ["Credit"]}, "value": {"en": ["Aldermoor Library"]}},
        "rights": "http://creativecommons.org/publicdomain/mark/1.0/",
        "behavior": ["paged"],
        "viewingDirection": "left-to-right",
        "items": list(canvases or pages(4)),
    }
    change(made)
    return made


def pages(count: int) -> list[dict[str, Any]]:
    """So many leaves' sides, from f. 1r."""
    names = [f"{n // 2 + 1}{'rv'[n % 2]}" for n in range(count)]
    return [
        canvas(f"ms9_{n:04}_{name}", f"f. {name}", image(f"ms9_{n:04}_{name}"))
        for n, name in enumerate(names)
    ]


def page(*canvases: dict[str, Any], change: Change = lambda made: None, pdf: str | None = None) -> ItemPage:
    return ItemPage(manifest=manifest(*canvases, change=change), base_url=BASE_URL, site_title=TITLE, pdf=pdf)


# ----------------------------------------------------------------------------------- what a page holds

VOID = {"meta", "link", "br", "img", "input", "hr"}


@dataclass(slots=True)
class Element:
    """One element with all that it holds."""

    tag: str
    attributes: dict[str, str]
    inside: list[Element] = field(default_factory=list)
    texts: list[str] = field(default_factory=list)

    @property
    def text(self) -> str:
        return "".join(self.texts)


class Page(HTMLParser):
    """The elements of a page; refuses those that are not closed in order."""

    def __init__(self, source: bytes) -> None:
        super().__init__()
        self.source = source.decode()
        self.elements: list[Element] = []
        self._open: list[Element] = []
        self.feed(self.source)
        self.close()
        assert self._open == []

    def handle_starttag(self, tag: str, attrs: Sequence[tuple[str, str | None]]) -> None:
        names = [name for name, _ in attrs]
        assert len(names) == len(set(names)), (tag, names)
        made = Element(tag, {name: value or "" for name, value in attrs})
        for parent in self._open:
            parent.inside.append(made)
        self.elements.append(made)
        self._open += [] if tag in VOID else [made]

    def handle_endtag(self, tag: str) -> None:
        assert self._open.pop().tag == tag

    def handle_data(self, data: str) -> None:
        for element in self._open:
            element.texts.append(data)

    def all(self, tag: str, **attributes: str) -> list[Element]:
        """Elements with these attributes; a trailing underscore and underscores within are hyphens."""
        wanted = {name.rstrip("_").replace("_", "-"): value for name, value in attributes.items()}
        return [
            each for each in self.elements if each.tag == tag and wanted.items() <= each.attributes.items()
        ]

    def one(self, tag: str, **attributes: str) -> Element:
        (found,) = self.all(tag, **attributes)
        return found

    def addresses(self) -> list[str]:
        """Whatever the page leads to or asks for."""
        return [
            each.attributes[name]
            for each in self.elements
            for name in ("href", "src")
            if name in each.attributes
        ]
