from __future__ import annotations

import dataclasses
import datetime as dt
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline import xmldoc
from pipeline.describe.mods import mods_document
from pipeline.model import (
    Identifier,
    Item,
    ItemKind,
    LanguageMap,
    Person,
    Section,
    Settings,
    Volume,
    VolumeSet,
)
from pipeline.specs import mods, xlink
from pipeline.xmldoc import Element
from tests.describe import make_items
from tests.describe import make_records as the
from tests.describe.official import assert_valid

TODAY = dt.date(2026, 3, 10)
NAMESPACES = {"m": mods.NAMESPACE}


def written(item: Item = the.ITEM, settings: Settings = the.SETTINGS, *, for_masters: bool = False) -> bytes:
    """The bytes of a record."""
    masters = [the.record()] if for_masters else []
    return xmldoc.to_bytes(mods_document(item, settings, recorded_on=TODAY, masters=masters))


def made(settings: Settings = the.SETTINGS, *, for_masters: bool = False, **fields: Any) -> Element:
    """The record of the item with other fields, after a round through its bytes."""
    return xmldoc.parse(written(the.item(**fields), settings, for_masters=for_masters))


def path(steps: str) -> str:
    """A path of plain names as one with the namespace."""
    return "/".join(f"m:{step}" for step in steps.split("/"))


def found(root: Element, steps: str) -> list[Element]:
    """The elements at a path of plain names."""
    return root.findall(path(steps), NAMESPACES)


def texts(root: Element, steps: str) -> list[str]:
    """The texts at a path of plain names."""
    return [each.text or "" for each in found(root, steps)]


def said(root: Element, steps: str) -> list[tuple[str, dict[str, str]]]:
    """Texts with their attributes."""
    return [
        (each.text or "", {str(k): str(v) for k, v in each.attrib.items()}) for each in found(root, steps)
    ]


def local(element: Element) -> str:
    """The name without its namespace."""
    return str(element.tag).partition("}")[2]


# ----------------------------------------------------------------------------- how a manuscript is put


def test_record_has_all_that_the_item_record_says() -> None:
    root = made(for_masters=True)
    assert root.get("version") == "3.8"
    assert texts(root, "location/shelfLocator") == ["MS B 14"]
    assert texts(root, "location/physicalLocation") == ["Aldermoor Library"]
    assert texts(root, "location/url")[0] == "https://catalogue.example.org/msb-014"
    assert found(root, "location/url")[0].get("usage") == "primary"
    assert texts(root, "titleInfo/title") == ["Herbal and calendar", "Herbarium cum calendario"]
    assert said(root, "typeOfResource") == [("text", {"manuscript": "yes"})]
    assert texts(root, "genre") == ["codex"]
    assert texts(root, "originInfo/place/placeTerm") == ["Aldermoor"]
    assert texts(root, "originInfo/displayDate") == ["c. 1380"]
    assert said(root, "physicalDescription/form") == [("parchment", {"type": "material"})]
    assert said(root, "physicalDescription/extent") == [
        ("ff. ii + 46 + ii", {}),
        ("214 × 152", {"unit": "mm"}),
    ]
    assert said(root, "physicalDescription/note") == [("Ink flaking on f. 1r.", {"type": "condition"})]
    assert texts(root, "physicalDescription/digitalOrigin") == ["reformatted digital"]
    assert texts(root, "abstract") == ["A herbal with a calendar."]
    assert said(root, "identifier") == [
        ("MS B 14", {"type": "shelfmark"}),
        ("msb-014", {"type": "local"}),
        ("10.5555/alm.14", {"type": "doi"}),
    ]
    assert texts(root, "recordInfo/recordContentSource") == ["Aldermoor Library"]
    assert said(root, "recordInfo/recordCreationDate") == [("2026-03-10", {"encoding": "w3cdtf"})]
    assert texts(root, "recordInfo/recordIdentifier") == ["msb-014"]
    assert texts(root, "recordInfo/languageOfCataloging/languageTerm")[0] == "eng"


def test_title_in_another_language_translates_the_first() -> None:
    first, second = found(made(), "titleInfo")
    assert first.get("usage") == "primary"
    assert first.get("type") is None
    assert second.get("type") == "translated"
    assert first.get("altRepGroup") == second.get("altRepGroup")
    assert (first.get("lang"), first.get(xlink.XML_LANGUAGE)) == ("eng", "en")
    assert (second.get("lang"), second.get(xlink.XML_LANGUAGE)) == ("lat", "la")


def test_second_title_in_one_language_is_alternative() -> None:
    root = made(title=LanguageMap((("en", ("Herbal", "Book of herbs")),)))
    first, second = found(root, "titleInfo")
    assert (first.get("type"), second.get("type")) == (None, "alternative")
    assert first.get("altRepGroup") is None


def test_title_in_no_language_names_none() -> None:
    (only,) = found(made(title=LanguageMap.of("Herbal")), "titleInfo")
    assert {str(k): str(v) for k, v in only.attrib.items()} == {"usage": "primary"}


@pytest.mark.parametrize("kind", ItemKind)
def test_every_kind_of_item_has_a_type_of_resource(kind: ItemKind) -> None:
    (text,) = texts(made(kind=kind), "typeOfResource")
    assert text in {"text", "still image", "cartographic"}


def test_scribe_has_the_code_and_the_word_of_the_role() -> None:
    root = made()
    assert texts(root, "name/namePart") == ["Brother Anselm"]
    assert said(root, "name/role/roleTerm") == [
        (
            "scr",
            {
                "type": "code",
                "authority": "marcrelator",
                "authorityURI": "http://id.loc.gov/vocabulary/relators",
                "valueURI": "http://id.loc.gov/vocabulary/relators/scr",
            },
        ),
        ("scribe", {"type": "text"}),
    ]


def test_a_role_code_of_another_list_is_left_out() -> None:
    root = made(people=(Person(name="Odo", role="scribe", role_code="Scribe!"),))
    assert texts(root, "name/role/roleTerm") == ["scribe"]


def test_a_person_without_a_role_has_none() -> None:
    root = made(people=(Person(name="Odo", role="", uri="https://names.example.org/odo"),))
    (name,) = found(root, "name")
    assert name.get("valueURI") == "https://names.example.org/odo"
    assert found(name, "role") == []


# ---------------------------------------------------------------------------------------------- dates


def test_a_range_of_years_is_approximate_and_keyed_at_its_start() -> None:
    assert said(made(), "originInfo/dateCreated") == [
        ("1370", {"encoding": "w3cdtf", "point": "start", "qualifier": "approximate", "keyDate": "yes"}),
        ("1395", {"encoding": "w3cdtf", "point": "end", "qualifier": "approximate"}),
    ]


@pytest.mark.parametrize(
    ("years", "date", "expected"),
    [
        ((1483, 1483), "1483", [("1483", "w3cdtf", None)]),
        ((1380, 1380), "c. 1380", [("1380", "w3cdtf", "approximate")]),
        ((840, 860), "", [("0840", "w3cdtf", "approximate"), ("0860", "w3cdtf", "approximate")]),
        ((-50, 25), "", [("-0049", "edtf", "approximate"), ("0025", "w3cdtf", "approximate")]),
        ((-1, -1), "1 BCE", [("0000", "edtf", None)]),
        ((-2100, -2000), "", [("-2099", "edtf", "approximate"), ("-1999", "edtf", "approximate")]),
    ],
)
def test_years_are_written_as_their_encoding_wants(
    years: tuple[int, int], date: str, expected: list[tuple[str, str, str | None]]
) -> None:
    dates = said(made(date_range=years, date=date), "originInfo/dateCreated")
    assert [(text, each["encoding"], each.get("qualifier")) for text, each in dates] == expected


def test_date_of_imaging_is_that_of_the_sessions_that_have_frames() -> None:
    later = the.session(identifier="s2", date=dt.date(2026, 3, 12))
    unused = the.session(identifier="s3", date=dt.date(2026, 5, 1))
    verso = dataclasses.replace(the.VERSO, session="s2")
    root = made(frames=(the.RECTO, verso), sessions=(unused, later, the.SESSION))
    (capture,) = (each for each in found(root, "originInfo") if each.get("eventType") == "capture")
    assert said(capture, "dateCaptured") == [
        ("2026-03-09", {"encoding": "w3cdtf", "point": "start"}),
        ("2026-03-12", {"encoding": "w3cdtf", "point": "end"}),
    ]


# ------------------------------------------------------------------------------- languages and scripts


# ISO 639-2, codes of the bibliographic list (its registration authority); 639-3 where that has none.
@pytest.mark.parametrize(
    ("tag", "terms"),
    [
        ("la", [("lat", "iso639-2b")]),
        ("de", [("ger", "iso639-2b")]),
        ("fr", [("fre", "iso639-2b")]),
        ("grc", [("grc", "iso639-2b")]),
        ("el", [("gre", "iso639-2b")]),
        ("fa", [("per", "iso639-2b")]),
        ("cu", [("chu", "iso639-2b")]),
        ("az-Arab", [("aze", "iso639-2b"), ("az-Arab", "rfc5646")]),
        ("lzh", [("lzh", "iso639-3"), ("lzh", "rfc5646")]),
        ("qaa-x-own", [("qaa-x-own", "iso639-3"), ("qaa-x-own", "rfc5646")]),
    ],
)
def test_languages_have_the_codes_of_their_lists(tag: str, terms: list[tuple[str, str]]) -> None:
    root = made(languages=(tag,), script="")
    codes = [(t, a["authority"]) for t, a in said(root, "language/languageTerm") if a["type"] == "code"]
    assert codes == terms


def test_script_belongs_to_the_first_language_without_one_of_its_own() -> None:
    root = made(languages=("az-Arab", "la", "grc"), script="Latn")
    scripts = [texts(each, "scriptTerm")[:1] for each in found(root, "language")]
    assert scripts == [["Arab"], ["Latn"], []]


def test_script_of_an_unknown_language_is_still_said() -> None:
    root = made(languages=(), script="Xsux")
    assert texts(root, "language/languageTerm")[0] == "und"
    assert texts(root, "language/scriptTerm") == ["Xsux", "Cuneiform"]


def test_code_precedes_script() -> None:
    (language,) = found(made(), "language")
    names = [local(each) for each in language]
    assert names == sorted(names)


# ---------------------------------------------------------------------------------------- the copy, rights


def test_copy_is_that_of_the_masters_or_that_for_access() -> None:
    kept, shown = made(for_masters=True), made()
    assert texts(kept, "physicalDescription/internetMediaType") == ["image/tiff"]
    assert texts(kept, "physicalDescription/reformattingQuality") == ["preservation"]
    assert texts(shown, "physicalDescription/internetMediaType") == ["image/jpeg"]
    assert texts(shown, "physicalDescription/reformattingQuality") == ["access"]


@pytest.mark.parametrize(
    ("given_uri", "uri", "label"),
    [
        (
            "https://creativecommons.org/publicdomain/mark/1.0/deed.en",
            "http://creativecommons.org/publicdomain/mark/1.0/",
            "Public Domain Mark 1.0",
        ),
        (
            "http://rightsstatements.org/vocab/InC/1.0/",
            "http://rightsstatements.org/vocab/InC/1.0/",
            "In Copyright",
        ),
        ("https://aldermoor.example.org/terms", "https://aldermoor.example.org/terms", None),
    ],
)
def test_rights_are_linked_and_named(given_uri: str, uri: str, label: str | None) -> None:
    (condition,) = found(made(rights=given_uri), "accessCondition")
    assert condition.get("type") == "use and reproduction"
    assert condition.get(xlink.HREF) == uri
    assert condition.get(xlink.TYPE) == "simple"
    assert condition.text == (label or uri)


def test_rights_of_the_unit_serve_where_the_item_has_none() -> None:
    (condition,) = found(made(rights=""), "accessCondition")
    assert condition.get(xlink.HREF) == the.SETTINGS.rights


def test_no_rights_no_condition() -> None:
    assert found(made(the.settings(rights="")), "accessCondition") == []


# -------------------------------------------------------------------------------- what belongs together


def test_collection_is_the_host() -> None:
    (host,) = (each for each in found(made(), "relatedItem") if each.get("type") == "host")
    assert texts(host, "titleInfo/title") == ["Chapter library"]


def test_volumes_name_their_set_and_their_place_in_it() -> None:
    volumes = tuple(Volume(item=f"msb-{n:03}", label=LanguageMap.of(f"vol. {n}")) for n in (13, 14, 15))
    whole = VolumeSet(identifier="msb", label=LanguageMap.of("Chronicle", "en"), volumes=volumes)
    root = made(collection="", volume_set=whole)
    (host,) = (each for each in found(root, "relatedItem") if each.get("type") == "host")
    assert texts(host, "titleInfo/title") == ["Chronicle"]
    assert texts(host, "identifier") == ["msb"]
    assert found(host, "part")[0].get("order") == "2"
    assert texts(host, "part/detail/title") == ["vol. 14"]


def test_sections_are_constituents_nested_with_their_folios() -> None:
    inner = Section(identifier="january", label=LanguageMap.of("January", "en"), views=("f-1r",))
    outer = Section(
        identifier="calendar",
        label=LanguageMap.of("Calendar", "en"),
        views=("f-1r", "f-1v"),
        subsections=(inner,),
    )
    root = made(sections=(outer,), collection="")
    (constituent,) = found(root, "relatedItem")
    assert constituent.get("type") == "constituent"
    assert texts(constituent, "titleInfo/title") == ["Calendar"]
    (extent,) = found(constituent, "part/extent")
    assert extent.get("unit") == "folio"
    assert (texts(extent, "start"), texts(extent, "end")) == (["1r"], ["1v"])
    (within,) = found(constituent, "relatedItem")
    assert texts(within, "titleInfo/title") == ["January"]
    assert texts(within, "part/extent/start") == ["1r"]
    assert texts(within, "part/extent/end") == []


def test_pages_are_counted_as_pages_and_letters_as_nothing() -> None:
    album, letters = make_items.album(), make_items.letters()
    spanned = album.changed(sections=make_items.sections(album.item, ("Trip", "page 1", "page 3")))
    for world, unit, start in ((spanned, "page", "1"), (letters, None, "letter 1, recto")):
        root = xmldoc.parse(written(world.item, world.settings))
        extent = found(root, "relatedItem/part/extent")[0]
        assert extent.get("unit") == unit
        assert texts(extent, "start") == [start]


def test_further_metadata_are_notes_with_their_label() -> None:
    root = made(metadata=((LanguageMap.of("Bound by", "en"), LanguageMap.of("<unknown>", "en")),))
    notes = {a.get("displayLabel"): text for text, a in said(root, "note")}
    assert notes["Bound by"] == "<unknown>"


def test_an_identifier_that_is_given_again_is_said_once() -> None:
    again = Identifier(scheme="local", value=the.ITEM.identifier)
    root = made(identifiers=(again, *the.ITEM.identifiers))
    assert texts(root, "identifier") == ["MS B 14", "msb-014", "10.5555/alm.14"]


# --------------------------------------------------------------------------------------- form and safety


@pytest.mark.parametrize("name", make_items.ALL)
def test_records_of_all_kinds_are_valid_by_the_official_schema(name: str) -> None:
    world = make_items.ALL[name]()
    assert_valid(written(world.item, world.settings))


def test_bare_record_is_whole_and_valid() -> None:
    bare = Item(
        identifier="x",
        shelfmark="",
        kind=ItemKind.SHEET,
        title=LanguageMap(),
        care=the.ITEM.care,
        frames=(),
        views=(),
    )
    root = xmldoc.parse(written(bare, the.settings(rights="", credit=LanguageMap())))
    assert texts(root, "identifier") == ["x"]
    assert_valid(written(bare))


def test_nothing_private_is_said_in_the_record_for_access() -> None:
    text = written().decode()
    for secret in (the.SESSION.operator, the.CAMERA.serial, the.TARGET.serial):
        assert secret not in text


def test_namespaces_are_declared_once_at_the_root() -> None:
    text = written().decode()
    assert text.count("xmlns:") == 2
    assert text.count("xmlns:mods=") == 1
    assert "ns0" not in text


odd = st.text(st.characters(exclude_categories=["Cs"]), max_size=60)
uris = st.one_of(odd, st.from_regex(r"https?://[!-~]{0,30}", fullmatch=True))
tags = st.one_of(st.sampled_from(["en", "la", "none", "az-Arab", "x-own", "en_GB", "", "lzh", "1-2"]), odd)
maps = st.lists(st.tuples(tags, st.lists(odd, max_size=2).map(tuple)), max_size=3).map(
    lambda entries: LanguageMap(tuple(entries))
)


@given(
    title=maps,
    summary=maps,
    person=st.builds(Person, name=odd, role=odd, role_code=odd, uri=uris),
    identifier=st.builds(Identifier, scheme=odd, value=odd),
    shelfmark=odd,
    tag=tags,
    rights=uris,
    catalogue_url=uris,
    pair=st.tuples(maps, maps),
    years=st.none() | st.tuples(st.integers(-9000, 9999), st.integers(-9000, 9999)),
    sizes=st.lists(st.floats(0, 1e6), max_size=4).map(tuple),
)
def test_any_text_gives_a_record_that_reads_back_and_has_nothing_empty(
    title: LanguageMap,
    summary: LanguageMap,
    person: Person,
    identifier: Identifier,
    shelfmark: str,
    tag: str,
    rights: str,
    catalogue_url: str,
    pair: tuple[LanguageMap, LanguageMap],
    years: tuple[int, int] | None,
    sizes: tuple[float, ...],
) -> None:
    item = the.item(
        title=title,
        summary=summary,
        people=(person,),
        identifiers=(identifier,),
        shelfmark=shelfmark,
        languages=(tag,),
        script=tag,
        rights=rights,
        catalogue_url=catalogue_url,
        metadata=(pair,),
        date_range=years,
        size_mm=sizes,
        sections=(Section(identifier="s", label=title, views=("f-1r", "nowhere")),),
    )
    data = written(item)
    root = xmldoc.parse(data)
    assert all(len(each) or (each.text or "").strip() for each in root.iter())
    if shown := xmldoc.clean_text(shelfmark).replace("\r", "\n").strip():
        assert texts(root, "location/shelfLocator")[0].replace("\r", "\n") == shown
    _validate(data)


def _validate(data: bytes) -> None:
    """Judge by the official schema if it is there; the rest of the test holds without it."""
    try:
        assert_valid(data)
    except pytest.skip.Exception:
        return
