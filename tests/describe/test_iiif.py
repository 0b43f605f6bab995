"""Manifests and collections of every kind of item."""

from __future__ import annotations

import itertools
import json
import os
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pipeline import jsondoc
from pipeline.describe.iiif import collection, manifest
from pipeline.model import (
    FrameKind,
    Holder,
    ImageDelivery,
    ItemKind,
    LanguageMap,
    Light,
    LightKind,
    Section,
    Settings,
    SizePx,
    ViewingDirection,
)
from tests.describe import make_items as make
from tests.describe.iiif_rules import faults
from tests.describe.make_items import World

every_item = pytest.mark.parametrize("name", make.ALL)


def manifest_of(world: World) -> Any:
    """The manifest as a client reads it."""
    document = manifest(world.item, world.settings, world.derivatives, world.records)
    return json.loads(jsondoc.to_bytes(document))


def labels(document: Any) -> list[str]:
    return [next(iter(canvas["label"].values()))[0] for canvas in document["items"]]


def behaviors(document: Any) -> dict[str, str]:
    """What canvases behave like, by label, as far as they say."""
    named = zip(labels(document), document["items"], strict=True)
    return {label: canvas["behavior"][0] for label, canvas in named if "behavior" in canvas}


def body(canvas: Any) -> Any:
    return canvas["items"][0]["items"][0]["body"]


def tree(ranges: Any) -> Any:
    """Ranges as nested lists: labels, and the last part of each canvas."""
    return [
        (next(iter(each["label"].values()))[0], tree(each["items"]))
        if each["type"] == "Range"
        else each["id"].split("/canvas/")[1]
        for each in ranges
    ]


# ------------------------------------------------------------------------------------ every kind of item


@every_item
def test_a_manifest_has_no_fault(name: str) -> None:
    world = make.ALL[name]()
    assert list(faults(manifest_of(world), make.published(world))) == []


@every_item
def test_a_manifest_is_parsed_by_an_independent_library(name: str) -> None:
    """The library iiif-prezi3, whose models are made from the schema of the public validator."""
    import iiif_prezi3

    document = manifest_of(make.ALL[name]())
    parsed = iiif_prezi3.Manifest(**document)
    assert [canvas.id for canvas in parsed.items] == [canvas["id"] for canvas in document["items"]]


@every_item
@pytest.mark.skipif("OFFICIAL_PRESENTATION_SCHEMA" not in os.environ, reason="needs the official schema file")
def test_a_manifest_passes_the_schema_of_the_public_validator(name: str) -> None:
    """OFFICIAL_PRESENTATION_SCHEMA names schema/iiif_3_0.json of https://github.com/IIIF/presentation-validator."""
    import jsonschema

    schema = json.loads(Path(os.environ["OFFICIAL_PRESENTATION_SCHEMA"]).read_bytes())
    validator = jsonschema.Draft7Validator(schema)
    world = make.ALL[name]()
    documents = [manifest_of(world), collection(world.item, world.settings)]
    assert [error.message for each in documents if each for error in validator.iter_errors(each)] == []


@every_item
def test_a_manifest_is_the_same_every_time(name: str) -> None:
    first, second = make.ALL[name](), make.ALL[name]()
    assert jsondoc.to_bytes(manifest_of(first)) == jsondoc.to_bytes(manifest_of(second))


@pytest.mark.parametrize(
    ("name", "behavior"),
    [
        ("codex", "paged"),
        ("right-to-left codex", "paged"),
        ("oversize codex", "individuals"),
        ("mixed codex", "paged"),
        ("album", "paged"),
        ("scroll", "continuous"),
        ("scroll written on both sides", "individuals"),
        ("letters", "individuals"),
        ("tablet", "individuals"),
        ("fragment", "individuals"),
        ("sheet", "individuals"),
        ("photograph", "individuals"),
        ("map", "individuals"),
    ],
)
def test_the_behavior_fits_the_kind_of_item(name: str, behavior: str) -> None:
    assert manifest_of(make.ALL[name]())["behavior"] == [behavior]


def test_target_and_flat_frames_are_not_shown() -> None:
    made = make.world(
        [*make.pages("f. 1r"), make.row("", FrameKind.TARGET), make.row("flat", FrameKind.FLAT)]
    )
    assert labels(manifest_of(made)) == ["f. 1r"]


# -------------------------------------------------------------------------------------------- odd items


def test_an_oversize_codex_keeps_its_openings_in_reading_order_right_to_left() -> None:
    document = manifest_of(make.oversize_codex())
    assert document["viewingDirection"] == "right-to-left"
    assert labels(document)[1:4] == ["ff. 1v–2r", "ff. 2v–3r", "ff. 3v–4r"]
    assert behaviors(document) == {}


def test_each_of_300_letters_is_a_section_with_both_its_sides() -> None:
    document = manifest_of(make.letters())
    [contents] = tree(document["structures"])
    assert contents[0] == "Contents"
    assert len(contents[1]) == 300
    assert contents[1][41] == ("Letter 42", ["letter-42-recto", "letter-42-verso"])


def test_a_tablet_shows_six_faces_by_their_names_in_two_languages() -> None:
    document = manifest_of(make.tablet())
    assert labels(document) == ["obverse", "reverse", "left edge", "right edge", "top edge", "bottom edge"]
    assert [canvas["label"]["de"] for canvas in document["items"]][:2] == [["Vorderseite"], ["Rückseite"]]
    size = next(pair for pair in document["metadata"] if "Dimensions" in pair["label"]["en"][0])
    assert size["label"]["en"] == ["Dimensions (height × width × depth)"]
    assert size["value"] == {"none": ["72 × 51 × 22 mm"]}


def test_a_fragment_offers_each_side_in_four_lights() -> None:
    document = manifest_of(make.fragment())
    assert labels(document) == ["recto", "verso"]
    for canvas in document["items"]:
        choice = body(canvas)
        assert choice["type"] == "Choice"
        assert [option["label"]["en"][0] for option in choice["items"]] == [
            "Normal light",
            "Raking light, left",
            "Ultraviolet",
            "Infrared, 940 nm",
        ]
        assert [option["label"]["de"][0] for option in choice["items"]] == [
            "Normallicht",
            "Streiflicht, von links",
            "Ultraviolett",
            "Infrarot, 940 nm",
        ]
        assert all(option["service"] and option["thumbnail"] for option in choice["items"])
        assert len(canvas["rendering"]) == 4


def test_a_scroll_written_on_both_sides_has_a_continuous_range_for_each() -> None:
    document = manifest_of(make.opisthograph())
    assert tree(document["structures"]) == [
        ("Recto", ["membrane-1", "membrane-2"]),
        ("Dorse", ["membrane-2-dorse", "membrane-1-dorse"]),
    ]
    assert [each["behavior"] for each in document["structures"]] == [["continuous"], ["continuous"]]


def test_a_view_in_one_light_alone_says_in_which() -> None:
    infrared = Light(kind=LightKind.INFRARED)
    document = manifest_of(make.world([make.row("recto", FrameKind.FACE, light=infrared)], ItemKind.FRAGMENT))
    assert body(document["items"][0])["type"] == "Image"
    assert body(document["items"][0])["label"] == {"en": ["Infrared"], "de": ["Infrarot"]}


# -------------------------------------------------------------------------------------------- sections


def test_sections_nest_and_list_each_canvas_once_in_the_innermost() -> None:
    made = make.world(make.leaves(1, 4))
    views = [view.identifier for view in made.item.views]

    def section(name: str, first: int, last: int, *below: Section) -> Section:
        label = LanguageMap.of(name, "en")
        return Section(identifier=name, label=label, views=tuple(views[first:last]), subsections=below)

    made = made.changed(sections=(section("Book", 0, 7, section("a", 1, 3), section("b", 3, 5)),))
    [contents] = tree(manifest_of(made)["structures"])
    assert contents == (
        "Contents",
        [("Book", ["f-1r", ("a", ["f-1v", "f-2r"]), ("b", ["f-2v", "f-3r"]), "f-3v", "f-4r"])],
    )


def test_a_page_that_ends_one_subsection_and_begins_the_next_is_listed_in_both() -> None:
    made = make.world(make.leaves(1, 2))
    below = make.sections(made.item, ("a", "f. 1r", "f. 1v"), ("b", "f. 1v", "f. 2r"))
    [book] = make.sections(made.item, ("Book", "f. 1r", "f. 2v"))
    made = made.changed(sections=(replace(book, subsections=below),))
    assert tree(manifest_of(made)["structures"])[0][1] == [
        ("Book", [("a", ["f-1r", "f-1v"]), ("b", ["f-1v", "f-2r"]), "f-2v"])
    ]


def test_a_supplied_page_inside_a_section_is_listed_there() -> None:
    made = make.world(make.pages("f. 1r", "f. 1v", "f. 2v", "f. 3r", "f. 4r", "f. 4v"))
    made = made.changed(sections=make.sections(made.item, ("a", "f. 1r", "f. 3r"), ("b", "f. 4r", "f. 4v")))
    assert tree(manifest_of(made)["structures"])[0][1] == [
        ("a", ["f-1r", "f-1v", "f-2r", "f-2v", "f-3r"]),  # f. 3v lies between the sections, in neither
        ("b", ["f-4r", "f-4v"]),
    ]


def test_without_sections_there_are_no_structures() -> None:
    assert "structures" not in manifest_of(make.tablet())


# ----------------------------------------------------------------------------------------- description


def test_a_codex_says_what_its_record_says() -> None:
    document = manifest_of(make.codex())
    pairs = {next(iter(p["label"].values()))[0]: p["value"] for p in document["metadata"]}
    assert document["label"] == {
        "en": ["Alm. B 14: Herbal and calendar"],
        "la": ["Alm. B 14: Herbarium"],
    }
    assert pairs["Language"] == {"en": ["Latin", "Ancient Greek"], "de": ["Latein", "Altgriechisch"]}
    assert pairs["Script"] == {"en": ["Latin"], "de": ["Lateinisch"]}
    assert pairs["Dimensions (height × width)"] == {"none": ["214 × 152.5 mm"]}
    assert pairs["Scribe"] == {
        "none": ["Brother Anselm of Aldermoor", '<a href="https://names.example.org/odo">Brother Odo</a>']
    }
    assert pairs["Miniaturist"] == {"none": ["the Lampwright Master"]}
    assert pairs["DOI"] == {"none": ['<a href="https://doi.org/10.5555/alm.14">10.5555/alm.14</a>']}
    assert document["homepage"][0]["id"] == "https://catalogue.example.org/alm-14"
    assert document["requiredStatement"]["value"] == {"en": ["Aldermoor Library, imaging unit"]}
    assert document["start"]["id"].endswith("/canvas/f-1r")


def test_where_to_begin_is_said_if_the_record_says_so_or_the_first_canvas_is_empty() -> None:
    leaf = make.world(make.leaves(1, 1))
    assert "start" not in manifest_of(leaf.changed(start=""))
    assert manifest_of(leaf.changed(start="f-1r"))["start"]["id"].endswith("/canvas/f-1r")
    without_recto = make.world([make.Row(label="f. 1r", captured=False), make.Row(label="f. 1v")])
    assert manifest_of(without_recto.changed(start=""))["start"]["id"].endswith("/canvas/f-1v")


@pytest.mark.parametrize(
    ("tag", "english", "german"),
    [
        ("la", "Latin", "Latein"),
        ("syr-Syre", "Syriac (Syre)", "Syrisch (Syre)"),
        ("zh-hant", "Chinese (Traditional Chinese)", "Chinesisch (Traditionelles Chinesisch)"),
        ("xyz", "xyz", "xyz"),
    ],
)
def test_languages_go_by_their_names(tag: str, english: str, german: str) -> None:
    document = manifest_of(make.codex().changed(languages=(tag,)))
    [names] = [p["value"] for p in document["metadata"] if p["label"].get("en") == ["Language"]]
    assert names == {"en": [english], "de": [german]}


@pytest.mark.parametrize(
    ("years", "english", "german"),
    [
        ((1370, 1395), "1370–1395", "1370–1395"),
        ((1380, 1380), "1380", "1380"),
        ((-30, 14), "30 BCE–14", "30 v. Chr.–14"),
    ],
)
def test_a_range_of_years_stands_for_a_date(years: tuple[int, int], english: str, german: str) -> None:
    document = manifest_of(make.codex().changed(date="", date_range=years))
    [date] = [p["value"] for p in document["metadata"] if p["label"].get("en") == ["Date"]]
    assert date == {"en": [english], "de": [german]}


def test_text_that_looks_like_html_cannot_be_taken_for_it() -> None:
    """Presentation API 3.0, section 4.5: HTML begins with < and ends with >; a blank at the end tells."""
    document = manifest_of(make.codex().changed(summary=LanguageMap.of("<script>alert(1)</script>", "en")))
    assert document["summary"] == {"en": ["<script>alert(1)</script> "]}
    assert document["metadata"][-1]["value"] == {"en": ["<unknown> "]}


def test_names_in_links_are_escaped() -> None:
    person = replace(make.codex().item.people[1], name="Odo <i>& Sons", uri='https://x.example.org/"a"')
    document = manifest_of(make.codex().changed(people=(person,)))
    [value] = [p["value"]["none"][0] for p in document["metadata"] if p["label"].get("en") == ["Scribe"]]
    assert value == '<a href="https://x.example.org/&quot;a&quot;">Odo &lt;i&gt;&amp; Sons</a>'


def test_see_also_names_mods_and_mets_with_their_profiles() -> None:
    entries = manifest_of(make.codex())["seeAlso"]
    assert [(each["id"].rsplit("/", 2)[1:], each["profile"]) for each in entries] == [
        (["alm-014", "mods.xml"], "http://www.loc.gov/mods/v3"),
        (["alm-014", "mets.xml"], "http://www.loc.gov/METS/"),
    ]


@pytest.mark.parametrize(
    ("written", "uri"),
    [
        (
            "https://creativecommons.org/licenses/by/4.0/deed.de",
            "http://creativecommons.org/licenses/by/4.0/",
        ),
        (
            "http://creativecommons.org/publicdomain/zero/1.0",
            "http://creativecommons.org/publicdomain/zero/1.0/",
        ),
        ("https://rightsstatements.org/page/InC-EDU/1.0/", "http://rightsstatements.org/vocab/InC-EDU/1.0/"),
    ],
)
def test_rights_are_machine_readable_however_they_were_copied(written: str, uri: str) -> None:
    assert manifest_of(make.codex().changed(rights=written))["rights"] == uri


def test_house_terms_are_metadata_because_rights_may_not_hold_them() -> None:
    document = manifest_of(make.codex().changed(rights="https://aldermoor.example.org/terms"))
    assert "rights" not in document
    [terms] = [p["value"] for p in document["metadata"] if p["label"].get("en") == ["Rights"]]
    assert terms["none"] == [
        '<a href="https://aldermoor.example.org/terms">https://aldermoor.example.org/terms</a>'
    ]


def test_a_bare_item_with_default_settings_has_a_manifest_without_empty_parts() -> None:
    made = make.world(make.leaves(1, 1), settings=Settings(holder=Holder(name=LanguageMap())))
    document = manifest_of(made.changed(title=LanguageMap()))
    assert list(faults(document, make.published(made))) == []
    assert document["label"] == {"none": ["Alm. B 14"]}
    assert not {"provider", "rights", "requiredStatement", "summary", "homepage"} & set(document)


# ------------------------------------------------------------------------------------- volumes of a set


def test_every_volume_of_a_set_makes_the_same_collection_and_is_part_of_it() -> None:
    second = make.volume()
    third = second.changed(identifier="alm-15", title=LanguageMap.of("The third", "en"), rights="")
    made = collection(second.item, second.settings)
    assert made is not None
    assert jsondoc.to_bytes(made) == jsondoc.to_bytes(collection(third.item, third.settings))
    assert made["behavior"] == ["multi-part"]
    items = json.loads(jsondoc.to_bytes(made))["items"]
    assert [each["id"] for each in items] == [f"{make.BASE}/iiif/alm-{n}/manifest.json" for n in (13, 14, 15)]
    [part_of] = manifest_of(second)["partOf"]
    assert part_of == {"id": made["id"], "type": "Collection", "label": made["label"]}
    assert manifest_of(second)["behavior"] == ["paged"]


def test_a_collection_is_parsed_by_an_independent_library() -> None:
    import iiif_prezi3

    made = make.volume()
    document = json.loads(jsondoc.to_bytes(collection(made.item, made.settings)))
    assert len(iiif_prezi3.Collection(**document).items) == 3


def test_an_item_that_stands_alone_has_no_collection() -> None:
    made = make.codex()
    assert collection(made.item, made.settings) is None
    assert "partOf" not in manifest_of(made)


# ------------------------------------------------------------------------------------------------ images


def test_the_thumbnail_is_the_smallest_image_that_exists_from_200_pixels_on() -> None:
    [thumbnail] = manifest_of(make.codex())["thumbnail"]
    assert (thumbnail["width"], thumbnail["height"]) == (188, 263)
    assert thumbnail["service"][0]["sizes"][0] == {"width": 188, "height": 263}


def test_the_thumbnail_of_a_small_image_is_the_image() -> None:
    made = make.world([make.row("f. 1r", FrameKind.PAGE, size=SizePx(width_px=150, height_px=120))])
    [thumbnail] = manifest_of(made)["thumbnail"]
    assert thumbnail["id"].endswith("/full/max/0/default.jpg")
    assert "sizes" not in thumbnail["service"][0]


def test_an_image_too_large_for_one_file_is_painted_in_its_largest_size() -> None:
    scroll = SizePx(width_px=90_000, height_px=4_000)
    made = make.world([make.row("membranes 1-9", FrameKind.FACE, size=scroll)], ItemKind.SCROLL)
    [canvas] = manifest_of(made)["items"]
    assert (canvas["width"], canvas["height"]) == (90_000, 4_000)
    assert (body(canvas)["width"], body(canvas)["height"]) == (11_250, 500)
    assert list(faults(manifest_of(made), make.published(made))) == []


@pytest.mark.parametrize(
    ("delivery", "server", "service"),
    [
        (ImageDelivery.PYRAMID_TIFF, "", f"{make.BASE}/images/alm-014%2FB14_0001.tif"),
        (
            ImageDelivery.JP2,
            "https://iiif.example.org/3/",
            "https://iiif.example.org/3/alm-014%2FB14_0001.jp2",
        ),
    ],
)
def test_an_image_server_is_asked_for_the_file_by_its_encoded_path(
    delivery: ImageDelivery, server: str, service: str
) -> None:
    settings = replace(make.SETTINGS, images=delivery, image_service_url=server)
    document = manifest_of(make.world(make.leaves(1, 1), settings=settings))
    painted = body(document["items"][0])
    assert painted["service"] == [{"id": service, "type": "ImageService3", "profile": "level2"}]
    assert painted["id"] == f"{service}/full/max/0/default.jpg"
    assert document["thumbnail"][0]["id"] == f"{service}/full/188,263/0/default.jpg"


def test_the_access_image_is_offered_for_download() -> None:
    [rendering] = manifest_of(make.codex())["items"][0]["rendering"]
    assert rendering["id"] == f"{make.BASE}/access/alm-014/B14_0001.jpg"
    assert rendering["label"] == {"none": ["JPEG, 2143 × 3000 px"]}


# --------------------------------------------------------------------------------- the rules themselves


@pytest.mark.parametrize(
    ("spoil", "fault"),
    [
        (lambda d: d["items"].reverse(), "stands on place"),
        (lambda d: d["items"].pop(4), "is no canvas"),
        (lambda d: d["items"][3].update(id=d["items"][4]["id"]), "is there 2 times"),
        (lambda d: d["items"][3].update(behavior=["paged"]), "canvas is ['paged']"),
        (lambda d: d["items"][3].update(width=1), "is distorted"),
        (lambda d: d["items"][3].update(label={}), "no language map"),
        (lambda d: body(d["items"][3]).update(width=7), "is (3000, 4200), not 7"),
        (lambda d: body(d["items"][3]).update(id="https://x.example.org/a.jpg"), "will not be there"),
        (lambda d: d.update(start={"id": "https://x.example.org/c", "type": "Canvas"}), "is no canvas"),
        (lambda d: d.update(rights="https://creativecommons.org/licenses/by/4.0/"), "rights"),
        (lambda d: d.update(structures=[]), "nothing at"),
    ],
)
def test_the_rules_that_manifests_are_held_to_find_what_is_wrong(
    spoil: Callable[[Any], Any], fault: str
) -> None:
    made = make.codex().changed(start="")
    document = manifest_of(made)
    spoil(document)
    assert any(fault in each for each in faults(document, make.published(made)))


# ---------------------------------------------------------------------------------------------- anything

SIZES = [
    SizePx(width_px=3000, height_px=4200),
    SizePx(width_px=3001, height_px=4203),
    SizePx(width_px=4200, height_px=3000),
    SizePx(width_px=511, height_px=1),
    SizePx(width_px=20_001, height_px=800),
]
NAMES = [
    *(f"f. {leaf}{side}" for leaf in range(1, 13) for side in "rv"),
    *("front cover", "front pastedown", "f. i r", "f. i v", "bookplate", "slip"),
    *("ff. 3v–4r", "ff. 8v-9r", "p. 3", "p. 4", "back pastedown", "back cover", "f. 5r (unfolded)"),
]
READING_MATTER = [kind for kind in FrameKind if kind.is_reading_matter]


@st.composite
def rows(draw: st.DrawFn) -> list[make.Row]:
    """Rows with whatever labels, in foliation order or not, each in one or several lights."""
    names = draw(st.lists(st.sampled_from(NAMES), unique=True, max_size=24))
    if draw(st.booleans()):
        names.sort(key=NAMES.index)
    kinds = st.one_of(st.just(FrameKind.PAGE), st.sampled_from(READING_MATTER))
    made = []
    for name in names:
        kind = FrameKind.OPENING if name.startswith("ff.") else draw(kinds)
        lights = draw(st.lists(st.sampled_from(make.LIGHTS), unique=True, min_size=1, max_size=3))
        captured = draw(st.integers(0, 9)) > 0
        for light in lights if captured else lights[:1]:
            size, ppi = draw(st.sampled_from(SIZES)), draw(st.sampled_from([None, 72, 300, 600, 1200.5]))
            made.append(make.Row(label=name, kind=kind, light=light, captured=captured, size=size, ppi=ppi))
    return made


@st.composite
def worlds(draw: st.DrawFn) -> World:
    """Items of any kind, with nested sections over whatever views there are."""
    made = make.world(
        draw(rows()),
        draw(st.sampled_from(list(ItemKind))),
        session_ppi=draw(st.sampled_from([None, 400])),
        reading=draw(st.sampled_from(list(ViewingDirection))),
        follows_foliation=draw(st.booleans()),
    )
    views = [view.identifier for view in made.item.views]
    start = draw(st.sampled_from(["", *views]))
    return made.changed(start=start, sections=tuple(draw(spans(views, depth=0))))


@st.composite
def spans(draw: st.DrawFn, views: list[str], depth: int) -> list[Section]:
    """Sections that follow one another, each with some below."""
    cuts = sorted(draw(st.sets(st.integers(0, len(views)), max_size=4)))
    made = []
    for first, last in itertools.pairwise(cuts):
        within, name = views[first:last], f"s-{depth}-{views[first]}"
        below = draw(spans(within, depth + 1)) if depth < 2 else []
        label = LanguageMap.of(name, "en")
        made.append(Section(identifier=name, label=label, views=tuple(within), subsections=tuple(below)))
    return made


@settings(
    max_examples=150, deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large]
)
@given(worlds())
def test_whatever_the_item_its_manifest_has_no_fault(made: World) -> None:
    if not made.item.views:
        return
    document = manifest_of(made)
    assert list(faults(document, make.published(made))) == []
    shown = [canvas["id"].split("/canvas/")[1] for canvas in document["items"]]
    views = [view.identifier for view in made.item.views]
    assert [each for each in shown if each in views] == views  # all there, and in the order of the record
    for section in made.item.sections:
        assert set(section.views) <= set(_canvases_below(document["structures"], section.identifier))


def _canvases_below(ranges: Any, identifier: str) -> list[str]:
    found: list[str] = []
    for each in ranges:
        inside = each["id"].endswith(f"/{identifier}")
        for child in each["items"]:
            if child["type"] == "Range":
                name = child["id"].rsplit("/", 1)[1]
                found += _canvases_below([child], name if inside else identifier)
            elif inside:
                found.append(child["id"].split("/canvas/")[1])
    return found


# ------------------------------------------------------------------------------------------------- speed


def test_6000_views_take_less_than_two_seconds_and_ten_times_the_views_not_much_more_than_ten_times() -> None:
    def seconds(leaves: int) -> float:
        made = make.world(make.leaves(1, leaves))
        spans = [(f"s{n}", f"f. {n}r", f"f. {n}v") for n in range(1, 301)]
        made = made.changed(sections=make.sections(made.item, *spans))
        began = time.process_time()
        manifest(made.item, made.settings, made.derivatives, made.records)
        return time.process_time() - began

    few, many = min(seconds(300) for _ in range(3)), seconds(3000)
    assert many < 2 or seconds(3000) < 2
    assert many < 40 * few
