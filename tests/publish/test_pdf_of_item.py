"""What goes into the PDF of an item."""

from __future__ import annotations

import copy
import datetime as dt
from pathlib import Path
from typing import Any

import pytest
from PIL import Image

from pipeline.errors import InputError
from pipeline.pdf import write_pdf
from pipeline.publish.pdf_of_item import book_of, capture_dates

BASE_URL = "https://site.example.org"
ADDRESS = f"{BASE_URL}/items/ms-1/"


def canvas(frame: str, label: str, *lights: str, mm: float = 0.1) -> dict[str, Any]:
    frames = [frame, *(f"{frame}-{n}" for n, _ in enumerate(lights[1:]))]
    images = [
        {
            "id": f"{BASE_URL}/iiif/ms-1/{each}/full/max/0/default.jpg",
            "type": "Image",
            "label": {"en": [light]},
        }
        for each, light in zip(frames, lights or ("",), strict=True)
    ]
    return {
        "id": f"{BASE_URL}/iiif/ms-1/canvas/{frame}",
        "type": "Canvas",
        "label": {"en": [label], "de": [f"{label} (de)"]},
        "width": 1000,
        "height": 1500,
        "service": [
            {
                "profile": "http://iiif.io/api/annex/services/physdim",
                "physicalScale": mm,
                "physicalUnits": "mm",
            }
        ],
        "rendering": [
            {"id": f"{BASE_URL}/access/ms-1/{each}.jpg", "type": "Image", "format": "image/jpeg"}
            for each in frames
        ],
        "items": [{"items": [{"body": {"type": "Choice", "items": images}}]}],
    }


def section(label: str, *canvases: str, sections: tuple[Any, ...] = ()) -> dict[str, Any]:
    views = [{"id": f"{BASE_URL}/iiif/ms-1/canvas/{each}", "type": "Canvas"} for each in canvases]
    return {"type": "Range", "label": {"en": [label]}, "items": [*sections, *views]}


MANIFEST: dict[str, Any] = {
    "id": f"{BASE_URL}/iiif/ms-1/manifest.json",
    "type": "Manifest",
    "label": {"en": ["MS 1: A book"], "de": ["MS 1: Ein Buch"]},
    "metadata": [{"label": {"en": ["Date"], "de": ["Datierung"]}, "value": {"none": ["c. 1380"]}}],
    "rights": "http://creativecommons.org/publicdomain/mark/1.0/",
    "provider": [
        {
            "label": {"en": ["Aldermoor Library"]},
            "homepage": [{"id": "https://library.example.org/", "format": "text/html"}],
        }
    ],
    "viewingDirection": "right-to-left",
    "items": [
        canvas("a", "f. 1r"),
        canvas("b", "f. 1v", "Normal light", "Raking light"),
        canvas("gone", "f. 2r"),
        canvas("c", "f. 2v"),
    ],
    "structures": [
        section("Contents", sections=(section("First", "a", "b"), section("Second", "gone", "c"))),
    ],
}
del MANIFEST["items"][2]["rendering"]


def book(files: Path, **changes: Any) -> Any:
    manifest = copy.deepcopy(MANIFEST) | changes
    return book_of(manifest, files, item="ms-1", base_url=BASE_URL, address=ADDRESS)


def test_every_light_of_a_view_has_its_page(tmp_path: Path) -> None:
    pages = book(tmp_path).pages
    assert [page.label for page in pages] == ["f. 1r", "f. 1v", "f. 1v, Raking light", "f. 2v"]
    assert [page.image.relative_to(tmp_path).as_posix() for page in pages] == [
        "access/ms-1/a.jpg",
        "access/ms-1/b.jpg",
        "access/ms-1/b-0.jpg",
        "access/ms-1/c.jpg",
    ]


def test_a_page_has_the_size_that_the_canvas_says(tmp_path: Path) -> None:
    assert book(tmp_path).pages[0].size_mm == pytest.approx((100, 150))
    assert book(tmp_path, items=[canvas("a", "f. 1r", mm=0)]).pages[0].size_mm is None


def test_a_section_that_begins_at_a_lost_view_begins_at_the_next_one(tmp_path: Path) -> None:
    assert [(each.label, each.first) for each in book(tmp_path).sections] == [("First", 0), ("Second", 3)]


def test_a_section_of_nothing_but_lost_views_at_the_end_leads_to_the_last_page(tmp_path: Path) -> None:
    lost = {key: value for key, value in canvas("lost", "f. 3r").items() if key != "rendering"}
    made = book(tmp_path, items=[canvas("a", "f. 1r"), lost], structures=[section("End", "lost")])
    assert [each.first for each in made.sections] == [0]


def test_the_title_page_says_what_it_is_whose_and_where(tmp_path: Path) -> None:
    fields = [(each.label.text, each.value.text, each.url) for each in book(tmp_path).fields]
    assert fields == [
        ("Date", "c. 1380", ""),
        ("Holder", "Aldermoor Library", "https://library.example.org/"),
        ("Rights", "Public Domain Mark 1.0", MANIFEST["rights"]),
        ("", MANIFEST["rights"], MANIFEST["rights"]),
        ("Address", ADDRESS, ADDRESS),
    ]


def test_the_book_speaks_english_if_the_title_does(tmp_path: Path) -> None:
    made = book(tmp_path)
    assert (made.language, made.title.text, made.title.language) == ("en", "MS 1: A book", "en")
    assert made.right_to_left


def test_the_book_speaks_german_if_the_title_comes_in_german_alone(tmp_path: Path) -> None:
    made = book(tmp_path, label={"de": ["MS 1: Ein Buch"]})
    assert (made.language, made.title_page_label) == ("de", "Titelblatt")
    assert made.pages[0].label == "f. 1r (de)"
    assert [each.label.text for each in made.fields][:2] == ["Datierung", "Besitz"]


def test_a_title_in_a_language_that_we_do_not_speak_stays_as_it_is(tmp_path: Path) -> None:
    made = book(tmp_path, label={"ar": ["كتاب"]})
    assert (made.language, made.title.text, made.title.language) == ("en", "كتاب", "ar")


MODS = """<mods xmlns="http://www.loc.gov/mods/v3"><originInfo>{}</originInfo></mods>"""


@pytest.mark.parametrize(
    ("dates", "expected"),
    [
        ((), ""),
        (("2026-03-10",), "2026-03-10"),
        (("2026-03-12", "2026-03-10", "2026-03-11"), "2026-03-10 – 2026-03-12"),
    ],
)
def test_the_note_says_when_the_images_were_made(
    tmp_path: Path, dates: tuple[str, ...], expected: str
) -> None:
    record = tmp_path / "metadata/ms-1/mods.xml"
    record.parent.mkdir(parents=True)
    record.write_text(MODS.format("".join(f"<dateCaptured>{each}</dateCaptured>" for each in dates)))
    assert capture_dates(record) == expected
    assert expected in book(tmp_path).note
    assert ("images of" in book(tmp_path).note) == bool(expected)


def test_an_item_without_access_images_is_told(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="ms-1: has no access images"):
        book(tmp_path, items=[])


@pytest.mark.parametrize(
    "path", ["../../secret.jpg", "access/ms-1/../../secret.jpg", "access/ms-2/a.jpg", "%2e%2e/secret.jpg"]
)
def test_no_path_of_a_stranger_leads_elsewhere(tmp_path: Path, path: str) -> None:
    odd = canvas("b", "f. 2r")
    odd["rendering"][0]["id"] = f"{BASE_URL}/{path}"
    assert [page.label for page in book(tmp_path, items=[canvas("a", "f. 1r"), odd]).pages] == ["f. 1r"]


@pytest.mark.parametrize("text", ["\x00\x1b[2J", "\ud800", "<p>A <b>bold</b> word</p>", "\u202eabc"])
def test_the_words_of_a_stranger_can_be_written(tmp_path: Path, text: str) -> None:
    image = tmp_path / "access/ms-1/a.jpg"
    image.parent.mkdir(parents=True)
    Image.new("RGB", (8, 8)).save(image)
    odd = canvas("a", text)
    made = book(tmp_path, label={"en": [text]}, items=[odd], structures=[section(text, "a")])
    write_pdf(made, tmp_path / "item.pdf", now=dt.datetime(2026, 3, 9, tzinfo=dt.UTC))
    assert "<" not in made.title.text
    assert (tmp_path / "item.pdf").stat().st_size > 1000
