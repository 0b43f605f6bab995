"""Manifests of bundles: good ones pass, and each damage is found by the one rule that it breaks."""

from __future__ import annotations

import json
from collections.abc import Callable

import pytest

from pipeline.findings import Level
from pipeline.verify import presentation
from pipeline.verify.evidence import Page, PagesKind
from tests.describe import make_items
from tests.describe.test_iiif import manifest_of
from tests.verify.iiif_bundles import (
    BASE,
    MANIFEST,
    Json,
    Published,
    codes,
    document,
    manifest,
    published,
    said,
)

Damage = Callable[[Published], None]

CANVAS = f"{BASE}/canvas/B14_0004"
IMAGE = f"{BASE}/B14_0004/full/max/0/default.jpg"


def judged_codes(bundle: Published) -> set[str]:
    return codes(presentation.judge(bundle.bundle()))


def test_a_bundle_that_we_build_gives_notes_alone() -> None:
    report = presentation.judge(published().bundle()).report
    assert {each.code for each in report.findings} == {"P012", "P027"}
    assert {each.level for each in report.findings} == {Level.NOTE}
    assert report.skipped == ()


@pytest.mark.parametrize("name", make_items.ALL)
def test_the_manifest_of_every_kind_of_item_gives_notes_alone(name: str) -> None:
    judged = presentation.judge(document(manifest_of(make_items.ALL[name]())))
    assert codes(judged) == set()
    assert judged.pages[0].pages


# ------------------------------------------------------------------------------------- one damage each


def edited(change: Callable[[Json], object]) -> Damage:
    def changing(document: Json) -> None:
        change(document)

    return lambda bundle: bundle.edit(MANIFEST, changing)


def setting(**values: Json) -> Damage:
    return edited(lambda document: document.update(values))


def canvas(**values: Json) -> Damage:
    """Change f. 1v, which shows one image."""
    return edited(lambda document: document["items"][2].update(values))


def painting(**values: Json) -> Damage:
    return edited(lambda document: document["items"][2]["items"][0]["items"][0].update(values))


def body(**values: Json) -> Damage:
    return edited(lambda document: document["items"][2]["items"][0]["items"][0]["body"].update(values))


def service(**values: Json) -> Damage:
    def change(document: Json) -> None:
        document["items"][2]["items"][0]["items"][0]["body"]["service"][0].update(values)

    return edited(change)


def without(*path: str | int) -> Damage:
    *above, last = path

    def change(document: Json) -> None:
        for step in above:
            document = document[step]
        del document[last]

    return edited(change)


def context(*contexts: str) -> Damage:
    return setting(**{"@context": list(contexts) if len(contexts) > 1 else contexts[0]})


def toc(*items: Json, **more: Json) -> Damage:
    """A table of contents with one range."""
    made = {"id": f"{BASE}/range/1", "type": "Range", "label": {"en": ["Contents"]}, "items": list(items)}
    return setting(structures=[made | more])


def part(canvas_id: str, fragment: str = "xywh=0,0,10,10") -> Json:
    return {
        "id": f"{BASE}/part/1",
        "type": "SpecificResource",
        "source": canvas_id,
        "selector": {"type": "FragmentSelector", "value": fragment},
    }


def changed(old: bytes, new: bytes) -> Damage:
    def damage(bundle: Published) -> None:
        assert old in bundle.files[MANIFEST]
        bundle.write(MANIFEST, bundle.files[MANIFEST].replace(old, new))

    return damage


def last_key_is_the_context(document: Json) -> None:
    document["@context"] = document.pop("@context")


def a_canvas_with_a_fragment(document: Json) -> None:
    document["items"][2]["id"] = document["items"][2]["items"][0]["items"][0]["target"] = f"{CANVAS}#1"
    del document["structures"]


def moved_away(bundle: Published) -> None:
    bundle.move(MANIFEST, "data/m.json")
    for number in range(1, 6):
        bundle.move(f"{BASE_PATH}/B14_000{number}", f"data/{number}")
    for path in (*below(bundle, "data/access"), *below(bundle, "data/metadata")):
        bundle.remove(path)


def a_canvas_twice(document: Json) -> None:
    document["items"][4]["id"] = document["items"][2]["id"]
    document["items"][4]["items"][0]["items"][0]["target"] = document["items"][2]["id"]


P3 = "http://iiif.io/api/presentation/3/context.json"
OTHER = "http://iiif.io/api/extension/navplace/context.json"
BARE_RANGE = {"id": f"{BASE}/range/2", "type": "Range"}
OWN = {"id": CANVAS, "type": "Canvas"}

BASE_PATH = "data/iiif/msb-014"


def below(bundle: Published, folder: str) -> list[str]:
    return [path for path in bundle.files if path.startswith(f"{folder}/")]


DAMAGES: dict[str, tuple[str, Damage]] = {
    # reading
    "no JSON": ("P001", lambda bundle: bundle.write(MANIFEST, b'{"type": "Manifest"')),
    "100,000 levels": ("P001", lambda bundle: bundle.write(MANIFEST, b"[" * 100_000)),
    "a number that is none": ("P001", changed(b'"height": 200', b'"height": Infinity')),
    "a digit too many by far": ("P001", changed(b'"height": 200', b'"height": ' + b"9" * 5000)),
    "Latin-1": ("P001", changed(b"f. 1r", b"f.\xa01r")),
    "a byte order mark": ("P002", changed(b'{\n  "@context"', b'\xef\xbb\xbf{\n  "@context"')),
    "a key twice": (
        "P002",
        changed(b'"behavior": [\n    "paged"', b'"behavior": [], "behavior": [\n "paged"'),
    ),
    # document
    "no context": ("P003", without("@context")),
    "context with https": ("P003", context(P3.replace("http", "https"))),
    "context in the wrong order": ("P003", context(P3, OTHER)),
    "context without the main one": ("P003", context(OTHER, OTHER)),
    "a second context": ("P003", canvas(**{"@context": P3})),
    "a graph": ("P003", setting(**{"@graph": []})),
    "context at the end": ("P004", edited(last_key_is_the_context)),
    "structures without ranges": ("P005", setting(structures=[])),
    "a string where there is an array": ("P005", setting(metadata="Herbal")),
    "start as an array": ("P005", setting(start=[OWN])),
    "an annotation without target": ("P005", without("items", 2, "items", 0, "items", 0, "target")),
    "an annotation without motivation": ("P005", without("items", 2, "items", 0, "items", 0, "motivation")),
    "a comment among what is painted": ("P005", painting(motivation="commenting")),
    "format that is none": ("P005", body(format="jpg")),
    # ids
    "an id without scheme": ("P006", setting(id="//images.example.org/manifest.json")),
    "no id": ("P006", without("id")),
    "a canvas with a fragment": ("P006", edited(a_canvas_with_a_fragment)),
    "a canvas twice": ("P007", edited(a_canvas_twice)),
    "an annotation page twice": (
        "P007",
        edited(lambda each: each["items"][4]["items"][0].update(id=each["items"][2]["items"][0]["id"])),
    ),
    "a range and a canvas of one id": ("P007", toc(OWN, id=CANVAS)),
    "a service for an image": ("P008", body(id=f"{BASE}/B14_0004")),
    "info.json for an image": ("P008", body(id=f"{BASE}/B14_0004/info.json")),
    # texts
    "no label": ("P010", without("label")),
    "an empty label": ("P010", setting(label={})),
    "a label of blanks": ("P010", setting(label={"en": ["  "]})),
    "a label without text": ("P010", setting(label={"en": []})),
    "a label that is a string": ("P010", canvas(label="f. 1v")),
    "a homepage without label": ("P010", without("provider", 0, "homepage", 0, "label")),
    "an agent without label": ("P010", without("provider", 0, "label")),
    "a value without text": (
        "P010",
        edited(lambda each: each["metadata"][0].update(value={})),
    ),
    "a canvas without label": ("P011", without("items", 2, "label")),
    "an image to choose without label": (
        "P011",
        without("items", 1, "items", 0, "items", 0, "body", "items", 1, "label"),
    ),
    "a range without label": ("P011", without("structures", 0, "label")),
    "@none": ("P013", setting(label={"@none": ["Herbal"]})),
    "a language with an underscore": ("P013", setting(label={"en_GB": ["Herbal"]})),
    "a language by its name": ("P013", setting(label={"english": ["Herbal"]})),
    "no language": ("P013", setting(label={"": ["Herbal"]})),
    "a language with three letters": ("P014", setting(label={"eng": ["Herbal"]})),
    "a country for a language": ("P014", setting(label={"jp": ["本草"]})),
    "HTML in a label": ("P015", setting(label={"en": ["<b>Herbal</b>"]})),
    "script in a summary": ("P016", setting(summary={"en": ["<p>Herbal<script>alert(1)</script></p>"]})),
    "an event in a summary": ("P016", setting(summary={"en": ['<p onclick="alert(1)">Herbal</p>']})),
    "a link that acts": ("P016", setting(summary={"en": ['<a href="javascript:alert(1)">Herbal</a>']})),
    "an element left open": ("P016", setting(summary={"en": ["<p>Herbal<br></p>"]})),
    "an entity of HTML": ("P016", setting(summary={"en": ["<p>Herbal&nbsp;</p>"]})),
    "an entity bomb": (
        "P016",
        setting(summary={"en": ['<!DOCTYPE p [<!ENTITY a "aa">]><p>&a;</p>']}),
    ),
    "two elements": ("P016", setting(summary={"en": ["<p>One</p><p>Two</p>"]})),
    "an element that is left out": ("P017", setting(summary={"en": ["<p><u>Herbal</u></p>"]})),
    "HTML in plain text": ("P017", setting(summary={"en": ["Herbal, <i>c.</i> 1380"]})),
    # single values
    "rights with https": ("P018", setting(rights="https://creativecommons.org/licenses/by/4.0/")),
    "rights without slash": ("P018", setting(rights="http://creativecommons.org/licenses/by/4.0")),
    "rights of a page": ("P018", setting(rights="http://rightsstatements.org/page/InC/1.0/")),
    "rights of a deed": ("P018", setting(rights="http://creativecommons.org/licenses/by/4.0/deed.en")),
    "rights of the house": ("P018", setting(rights="https://library.example.org/terms")),
    "rights of an image": ("P018", body(rights="free")),
    "rights that nobody published": ("P019", setting(rights="http://rightsstatements.org/vocab/INC/1.0/")),
    "a date without zone": ("P020", setting(navDate="1475-01-01T00:00:00")),
    "a year": ("P020", setting(navDate="1475")),
    "a day that is none": ("P020", setting(navDate="1475-02-29T00:00:00Z")),
    "a date on an annotation": ("P020", painting(navDate="1475-01-01T00:00:00Z")),
    "a direction that is none": ("P021", setting(viewingDirection="rtl")),
    "a direction on a canvas": ("P021", canvas(viewingDirection="left-to-right")),
    "two layouts": ("P022", setting(behavior=["paged", "continuous"])),
    "a behavior of canvases": ("P022", setting(behavior=["paged", "non-paged"])),
    "a behavior of manifests": ("P022", canvas(behavior=["paged"])),
    "a behavior that is none": ("P022", setting(behavior=["paged", "two-up"])),
    "a behavior as a string": ("P022", setting(behavior="paged")),
    "a canvas that faces and does not": ("P022", canvas(behavior=["facing-pages", "non-paged"])),
    "a sequence inside a range": (
        "P022",
        toc({**BARE_RANGE, "label": {"en": ["x"]}, "behavior": ["sequence"], "items": [OWN]}),
    ),
    "a page that is not paged": ("P023", setting(behavior=["individuals"])),
    "what repeats without duration": ("P023", setting(behavior=["paged", "repeat"])),
    "no height": ("P024", without("items", 2, "height")),
    "a height of nothing": ("P024", canvas(height=0)),
    "half a pixel": ("P024", canvas(height=200.5)),
    "a size as text": ("P024", body(width="150")),
    # structure
    "another canvas": ("P025", painting(target=f"{BASE}/canvas/B14_0005")),
    "another canvas as an object": ("P025", painting(target={"id": f"{BASE}/canvas/x", "type": "Canvas"})),
    "a part of another canvas": ("P025", painting(target=part(f"{BASE}/canvas/B14_0005"))),
    "beyond the canvas": ("P026", painting(target=f"{CANVAS}#xywh=100,100,150,50")),
    "beyond the canvas by a selector": ("P026", painting(target=part(CANVAS, "xywh=pixel:0,0,10,300"))),
    "a canvas on its side": ("P028", canvas(width=200, height=150)),
    "a canvas of another shape": ("P028", canvas(height=220)),
    "a range of no canvas": ("P031", toc({"id": f"{BASE}/canvas/x", "type": "Canvas"})),
    "a range of no part": ("P031", toc(part(f"{BASE}/canvas/x"))),
    "a range of no range": ("P031", toc(BARE_RANGE)),
    "a range inside itself": ("P032", toc({"id": f"{BASE}/range/1", "type": "Range"})),
    "a start that is not there": ("P033", setting(start={"id": f"{BASE}/canvas/x", "type": "Canvas"})),
    "a start in a part that is not there": ("P033", setting(start=part(f"{BASE}/canvas/x", "t=1"))),
    "a range by thumbnails without any": (
        "P034",
        toc({**BARE_RANGE, "label": {"en": ["x"]}, "items": [OWN]}, behavior=["thumbnail-nav"]),
    ),
    "an image without format": ("P035", without("items", 2, "items", 0, "items", 0, "body", "format")),
    "a service without profile": (
        "P035",
        without("items", 2, "items", 0, "items", 0, "body", "service", 0, "profile"),
    ),
    # images and services
    "an image of another size than its service": ("P029", body(width=15, height=20)),
    "a thumbnail of another size than its name": (
        "P029",
        canvas(
            thumbnail=[
                {
                    "id": f"{BASE}/B14_0004/full/75,100/0/default.jpg",
                    "type": "Image",
                    "width": 100,
                    "height": 133,
                }
            ]
        ),
    ),
    "another level than its service": ("P037", service(profile="level2")),
    "another size than its service": ("P037", service(width=300, height=400)),
    "sizes that the service has not": ("P037", service(sizes=[{"width": 30, "height": 40}])),
    "an older service": ("P037", service(type="ImageService2")),
    "a service that is not there": (
        "P040",
        lambda bundle: bundle.remove(*below(bundle, f"{BASE_PATH}/B14_0004")),
    ),
    "a thumbnail of no file": (
        "P041",
        canvas(
            thumbnail=[
                {
                    "id": f"{BASE}/B14_0004/full/50,67/0/default.jpg",
                    "type": "Image",
                    "format": "image/jpeg",
                    "width": 50,
                    "height": 67,
                }
            ]
        ),
    ),
    "an image of no file": ("P041", setting(thumbnail=[{"id": f"{BASE}/cover.jpg", "type": "Image"}])),
    "a download that is not there": (
        "P042",
        lambda bundle: bundle.remove("data/access/msb-014/B14_0004.jpg"),
    ),
    "a record that is not there": ("P042", lambda bundle: bundle.remove("data/metadata/msb-014/mods.xml")),
    "another address of the manifest": ("P043", setting(id=f"{BASE}/manifest")),
    "JPEG as PNG": ("P044", body(format="image/png")),
    "XML as JSON": (
        "P044",
        edited(lambda each: each["seeAlso"][0].update(format="application/json")),
    ),
    "a download of another size": (
        "P030",
        edited(lambda each: each["items"][2]["rendering"][0].update(width=500, height=600)),
    ),
    "another host than the services": (
        "P040",
        changed(b"https://images.example.org/iiif", b"https://staging.example.org/iiif/v2/x"),
    ),
    "another service than that of the image": ("P039", service(id=f"{BASE}/B14_0005")),
    # all together
    "addresses that lead nowhere": ("P052", moved_away),
    "a canvas taken out": (
        "P050",
        edited(lambda each: (each["items"].pop(2), each.pop("structures"))),
    ),
}

TOGETHER: dict[str, tuple[set[str], Damage]] = {
    "no items": ({"P005", "P050"}, setting(items=[])),
    "a page of another type": ({"P005", "P031"}, canvas(type="Manifest")),
    "a copy of the manifest": (
        {"P043", "P051"},
        lambda bundle: bundle.write("data/iiif/msb-014/manifest-2.json", bundle.files[MANIFEST]),
    ),
}


@pytest.mark.parametrize(
    ("found", "damage"), [pytest.param(*each, id=name) for name, each in TOGETHER.items()]
)
def test_what_breaks_several_things_is_found_by_each_rule(found: set[str], damage: Damage) -> None:
    bundle = published()
    damage(bundle)
    assert judged_codes(bundle) == found


@pytest.mark.parametrize(("code", "damage"), [pytest.param(*each, id=name) for name, each in DAMAGES.items()])
def test_one_damage_is_found_by_one_rule(code: str, damage: Damage) -> None:
    bundle = published()
    damage(bundle)
    assert judged_codes(bundle) == {code}


# ---------------------------------------------------------------------------------------------- manners


def test_a_place_is_a_path_in_the_document_with_the_name_of_the_page() -> None:
    bundle = published()
    canvas(height=220)(bundle)
    assert said(presentation.judge(bundle.bundle()), "P028").startswith(
        f"{MANIFEST}: items[2].items[0].items[0].body ({IMAGE}) | an image of 150 × 200"
    )
    bundle = published()
    canvas(height=0)(bundle)
    assert said(presentation.judge(bundle.bundle()), "P024").startswith(
        f"{MANIFEST}: items[2].height (f. 1v) | 0"
    )


def test_a_place_that_breaks_the_schema_cites_its_clause() -> None:
    bundle = published()
    setting(rights="free")(bundle)
    found = next(each for each in presentation.judge(bundle.bundle()).report.findings if each.code == "P018")
    assert found.source == "IIIF Presentation API 3.0, section 3.1, rights"
    assert found.value == "free"
    assert "with http and a slash at the end" in found.limit


def test_the_same_fault_on_many_pages_is_one_finding() -> None:
    pages = [{**canvas_of(number), "height": 0} for number in range(40)]
    judged = presentation.judge(document({**manifest(), "items": pages}))
    found = [each for each in judged.report.findings if each.code == "P024"]
    assert len(found) == 1
    assert found[0].place == "manifest.json: items[0].height (f. 1v)"
    assert found[0].value.startswith("0; and in 39 more places: items[1].height (f. 1v), items[2].height")
    assert found[0].value.endswith("and 36 more")


def canvas_of(number: int) -> Json:
    text = json.dumps(manifest()["items"][2]).replace("B14_0004", f"B14_{number:04}")
    return json.loads(text)


def test_a_manifest_that_cannot_be_read_is_judged_by_nothing_else() -> None:
    report = presentation.judge(document(b"{", "manifest.json")).report
    assert {each.code for each in report.findings} == {"P001"}
    assert {"P003", "P031"} <= {each.code for each in report.skipped}


def test_a_bare_document_of_any_name_that_is_no_json_is_said_to_be_unreadable() -> None:
    assert codes(presentation.judge(document(b"\x00\xff", "book.json"))) == {"P001"}
    assert codes(presentation.judge(document(b"<mets/>", "mets.xml"))) == set()


def test_other_json_is_let_pass() -> None:
    bundle = published()
    bundle.write("data/places.json", b'{"type": "FeatureCollection", "features": []}')
    bundle.write("data/broken.json", b"{")
    bundle.write("data/app/package.json", b'{"name": "reader", "type": "module"}')
    assert judged_codes(bundle) == set()


def test_a_document_alone_is_judged_without_files() -> None:
    judged = presentation.judge(document(manifest()))
    assert codes(judged) == set()
    assert {"P040", "P041", "P050"} <= {each.code for each in judged.report.skipped}
    assert {each.reason for each in judged.report.skipped} == {"a document alone has no files beside it"}


def test_a_quick_look_finds_missing_files_and_says_that_sizes_were_not_judged() -> None:
    bundle = published()
    bundle.is_quick = True
    bundle.remove("data/metadata/msb-014/mods.xml")
    judged = presentation.judge(bundle.bundle())
    assert codes(judged) == {"P042"}
    assert {each.code for each in judged.report.skipped} == {"P030", "P107"}


def test_images_of_a_server_need_no_files() -> None:
    """Pyramids are delivered, and an image server makes the rest."""
    bundle = published()
    bundle.write(MANIFEST, bundle.files[MANIFEST].replace(b'"level0"', b'"level2"'))
    bundle.remove(*[path for path in bundle.files if path.startswith(f"{BASE_PATH}/B14_")])
    assert judged_codes(bundle) == set()


def test_what_is_served_by_others_is_not_looked_for() -> None:
    bundle = published()
    print_on_demand = {"id": "https://images.example.org/shop/7", "type": "Text", "label": {"en": ["Print"]}}
    setting(
        thumbnail=[{"id": "https://other.example.org/cover.png", "type": "Image", "format": "image/png"}],
        rendering=[print_on_demand],
    )(bundle)
    assert judged_codes(bundle) == set()


def test_the_folders_of_a_contractor_need_not_be_ours() -> None:
    """What addresses and paths have in common at their ends tells where the bundle will be served."""
    bundle = published()
    bundle.move(BASE_PATH, "data/book")
    for path in [each for each in bundle.files if each.endswith(".json")]:
        bundle.write(path, bundle.files[path].replace(b"/iiif/msb-014/", b"/2026/b-14/book/"))
    assert judged_codes(bundle) == set()
    thumbnail = {"id": "https://images.example.org/2026/b-14/book/x.jpg", "type": "Image"}
    bundle.edit("data/book/manifest.json", lambda each: each.update(thumbnail=[thumbnail]))
    assert judged_codes(bundle) == {"P041"}


# ------------------------------------------------------------------------------------------------ pages


def test_pages_are_told_in_order_with_the_stems_of_their_images() -> None:
    told = presentation.judge(published().bundle()).pages
    assert [(each.document, each.kind) for each in told] == [(MANIFEST, PagesKind.MANIFEST)]
    assert told[0].pages == (
        Page(label="front cover", files=("b14_0001",), translations=("Vorderdeckel",)),
        Page(label="f. 1r", files=("b14_0002", "b14_0003")),
        Page(label="f. 1v", files=("b14_0004",)),
        Page(label="f. 2r (not captured)", files=(), translations=("f. 2r (nicht aufgenommen)",)),
        Page(label="f. 2v", files=("b14_0005",)),
    )


def test_a_label_in_several_languages_is_one_page_with_every_wording() -> None:
    other = manifest()
    other["items"][0]["label"] = {"de": ["Vorderdeckel", " Einband "], "en": ["front cover"], "x": [1, ""]}
    page = presentation.judge(document(other)).pages[0].pages[0]
    assert (page.label, page.translations) == ("front cover", ("Vorderdeckel", "Einband"))


@pytest.mark.parametrize(
    ("image", "stem"),
    [
        ({"id": "https://x.example.org/a/B14_0001.JPG"}, "b14_0001"),
        ({"id": "https://x.example.org/iiif/B14%200001.tif/full/max/0/default.jpg"}, "b14 0001"),
        ({"id": "https://x.example.org/a.jpg", "service": [{"id": "https://x.example.org/v1.2"}]}, "v1.2"),
        ({"id": "https://x.example.org/a.jpg", "service": [{"@id": "https://x.example.org/p/9/"}]}, "9"),
    ],
)
def test_the_stem_is_of_the_service_or_of_the_file(image: Json, stem: str) -> None:
    other = manifest()
    other["items"][2]["items"][0]["items"][0]["body"] = {"type": "Image", **image}
    assert presentation.judge(document(other)).pages[0].pages[2].files == (stem,)


# ------------------------------------------------------------------------------------------ collections

COLLECTION: Json = {
    "@context": P3,
    "id": "https://images.example.org/iiif/set/collection.json",
    "type": "Collection",
    "label": {"en": ["Chronicle, 2 volumes"]},
    "behavior": ["multi-part"],
    "items": [
        {"id": "https://images.example.org/iiif/v1/manifest.json", "type": "Manifest", "label": {"en": ["1"]}}
    ],
}


def test_a_collection_is_judged_and_tells_of_no_pages() -> None:
    judged = presentation.judge(document(COLLECTION, "collection.json"))
    assert codes(judged) == set()
    assert judged.pages == ()


@pytest.mark.parametrize(
    ("code", "changes"),
    [
        ("P005", {"items": None}),
        ("P010", {"items": [{"id": "https://images.example.org/iiif/v1/manifest.json", "type": "Manifest"}]}),
        ("P022", {"behavior": ["multi-part", "together"]}),
        ("P021", {"viewingDirection": "rtl"}),
        ("P024", {"height": 1}),
    ],
)
def test_a_fault_of_a_collection_is_found(code: str, changes: Json) -> None:
    assert codes(presentation.judge(document({**COLLECTION, **changes}))) == {code}
