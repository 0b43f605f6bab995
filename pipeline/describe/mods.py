"""MODS: the description of the physical object, as the item record gives it, and of its digital copy.

What a person wrote is passed on in their own words and languages. A language whose code MODS users expect
in ISO 639-2/B gets that code; one that has none there gets its code of ISO 639-3, and one with further
subtags its whole BCP 47 tag too. The script of the record belongs to the first language that names none of
its own. Sections are constituents, nested as they are, with the folios or pages that they take up.

Source: MODS 3.8; terms and codes in `pipeline.specs.mods`.
"""

from __future__ import annotations

import datetime as dt
import functools
from collections.abc import Iterable, Iterator

from pipeline import foliation, layout
from pipeline.describe.language_names import language_name, script_name
from pipeline.model import FrameRecord, Identifier, Item, LanguageMap, Person, Section, Settings, View
from pipeline.specs import iiif, mods, rights, xlink
from pipeline.specs.mods import DateEncoding, Reformatting, RelatedType
from pipeline.xmldoc import Element, clean_text, element, group, leaf, with_attributes

_group = functools.partial(group, namespace=mods.NAMESPACE)
_leaf = functools.partial(leaf, namespace=mods.NAMESPACE)

_NAMESPACES = {mods.PREFIX: mods.NAMESPACE, xlink.PREFIX: xlink.NAMESPACE}
_ACCESS_MEDIA_TYPE = "image/jpeg"
_TITLES = "title"
"""altRepGroup of the titles: one title in several languages."""
_ABOUT = ("c.", "ca.", "circa", "about", "um ", "vers ", "after", "before", "nach", "vor ", "s.")
"""What a date begins with that is not exact."""
_UNRESOLVED_IDENTIFIER = "local"


def mods_document(
    item: Item, settings: Settings, *, recorded_on: dt.date, masters: Iterable[FrameRecord] = ()
) -> Element:
    """Return the MODS record of an item.

    With `masters` the digital copy that it tells of is the preservation copy in their formats; without,
    the copy for access. `recorded_on` is the date of the record.
    """
    return element(
        "mods",
        *_titles(item.title),
        *(_person(person) for person in item.people),
        *_kind(item),
        _origin(item),
        _capture(item),
        *_languages(item),
        _physical_description(item, masters),
        *_texts("abstract", item.summary),
        *_notes(item, settings),
        *_identifiers(item),
        _location(item, settings),
        *_rights(item, settings),
        *_hosts(item),
        *_constituents(item),
        _record_info(item, settings, recorded_on),
        namespace=mods.NAMESPACE,
        prefixes=_NAMESPACES,
        version=mods.VERSION,
    )


# --------------------------------------------------------------------------------- titles and languages


def _titles(title: LanguageMap) -> Iterator[Element | None]:
    """Yield a titleInfo for every text: the first is primary, other languages translate it."""
    said = [(tag, tuple(filter(None, texts))) for tag, texts in title.entries if any(texts)]
    group = _TITLES if len(said) > 1 else None
    for rank, (tag, texts) in enumerate(said):
        for place, text in enumerate(texts):
            made = _group(
                "titleInfo",
                _leaf("title", text),
                type="alternative" if place else "translated" if rank else None,
                altRepGroup=None if place else group,
                usage=None if place or rank else "primary",
            )
            yield _in_language(made, tag)


def _texts(name: str, text: LanguageMap, *, uri: str | None = None) -> Iterator[Element | None]:
    """Yield an element for every text of every language; several languages are one alternative group."""
    group = name if len(text.entries) > 1 else None
    for tag, texts in text.entries:
        for each in texts:
            yield _in_language(_leaf(name, each, altRepGroup=group, valueURI=uri), tag)


def _languages(item: Item) -> Iterator[Element | None]:
    script = item.script
    for tag in item.languages or (("und",) if script else ()):
        own = mods.script_of(tag)
        yield _language("language", tag, own or script)
        script = script if own else ""


def _language(name: str, tag: str, script: str = "") -> Element | None:
    named = language_name(tag).best("en")
    code, is_whole = mods.iso639_2b(tag), "-" not in tag
    return _group(
        name,
        _code("languageTerm", code, mods.ISO_639_2B),
        _code("languageTerm", tag, mods.ISO_639_3) if not code and mods.is_iso639_3(tag) else None,
        _code("languageTerm", tag, mods.BCP_47) if not is_whole or not code else None,
        _leaf("languageTerm", named, type="text") if named != tag else None,
        _code("scriptTerm", script, mods.ISO_15924),
        _leaf("scriptTerm", script_name(script).best("en"), type="text") if script else None,
    )


def _in_language(made: Element | None, tag: str) -> Element | None:
    """Say in which language the text of an element is, if that is known."""
    if made is None or tag == "none" or not xlink.is_language(tag):
        return made
    if code := mods.iso639_2b(tag):
        made.set("lang", code)
    return with_attributes(made, {xlink.XML_LANGUAGE: tag})


# ---------------------------------------------------------------------------------- people and kind


def _person(person: Person) -> Element | None:
    """Return somebody's name; whether it is of a person or of a body the item record does not say."""
    return _group(
        "name",
        _leaf("namePart", person.name),
        _role(person),
        valueURI=person.uri if xlink.is_uri(person.uri) else None,
    )


def _role(person: Person) -> Element | None:
    code = person.role_code if mods.is_relator(person.role_code) else ""
    return _group(
        "role",
        _leaf(
            "roleTerm",
            code,
            type="code",
            authority=mods.RELATORS,
            authorityURI=mods.RELATORS_URI,
            valueURI=f"{mods.RELATORS_URI}/{code}",
        ),
        _leaf("roleTerm", person.role, type="text"),
    )


def _kind(item: Item) -> Iterator[Element | None]:
    yield _leaf(
        "typeOfResource",
        mods.TYPES_OF_RESOURCE[item.kind],
        manuscript="yes" if item.kind in mods.WRITTEN_BY_HAND else None,
        collection="yes" if item.kind in mods.COLLECTIONS else None,
    )
    yield _leaf("genre", item.kind.value)


# ------------------------------------------------------------------------------------ origin and capture


def _origin(item: Item) -> Element | None:
    place = _group("place", _leaf("placeTerm", item.place, type="text"))
    return _group("originInfo", place, *_dates(item), _leaf("displayDate", item.date))


def _dates(item: Item) -> Iterator[Element | None]:
    if item.date_range is None:
        return
    first, last = item.date_range
    is_about = first != last or item.date.casefold().startswith(_ABOUT)
    qualifier = "approximate" if is_about else None
    ends = (("start", first), ("end", last)) if first != last else ((None, first),)
    for place, (point, year) in enumerate(ends):
        text, encoding = _year(year)
        yield _leaf(
            "dateCreated",
            text,
            encoding=encoding,
            point=point,
            qualifier=qualifier,
            keyDate=None if place else "yes",
        )


def _year(year: int) -> tuple[str, DateEncoding]:
    """Return a year and the encoding that can write it; -500 is 500 BCE, which EDTF counts as -0499."""
    if 0 < year <= 9999:
        return f"{year:04d}", DateEncoding.W3CDTF
    if year > 9999:
        return f"Y{year}", DateEncoding.EDTF
    before = -year - 1 if year else 0
    return (f"-{before:04d}" if before else "0000"), DateEncoding.EDTF


def _capture(item: Item) -> Element | None:
    """Return when the object was photographed: the days of the first and the last session."""
    used = {frame.session for frame in item.frames_of()}
    days = sorted(each.date for each in item.sessions if each.identifier in used)
    if not days:
        return None
    ends = (("start", days[0]), ("end", days[-1])) if days[0] != days[-1] else ((None, days[0]),)
    captured = (
        _leaf("dateCaptured", day.isoformat(), encoding=DateEncoding.W3CDTF, point=point)
        for point, day in ends
    )
    return _group("originInfo", *captured, eventType="capture")


# ------------------------------------------------------------------------------- the thing and its copy


def _physical_description(item: Item, masters: Iterable[FrameRecord]) -> Element | None:
    media_types = sorted({each.master.media_type for each in masters})
    purpose = Reformatting.PRESERVATION if media_types else Reformatting.ACCESS
    size = " × ".join(f"{side_mm:g}" for side_mm in item.size_mm)
    return _group(
        "physicalDescription",
        _leaf("form", item.material, type="material"),
        _leaf("extent", item.extent),
        _leaf("extent", size, unit="mm"),
        _leaf("note", item.condition, type="condition"),
        *(_leaf("internetMediaType", each) for each in media_types or [_ACCESS_MEDIA_TYPE]),
        _leaf("digitalOrigin", mods.REFORMATTED),
        _leaf("reformattingQuality", purpose.value),
    )


def _notes(item: Item, settings: Settings) -> Iterator[Element | None]:
    for tag, texts in (item.credit or settings.credit).entries:
        for text in texts:
            yield _in_language(_leaf("note", text, type="attribution"), tag)
    for label, value in item.metadata:
        for tag, texts in value.entries:
            for text in texts:
                named = clean_text(label.best(tag)).strip() or None
                yield _in_language(_leaf("note", text, displayLabel=named), tag)


def _identifiers(item: Item) -> Iterator[Element | None]:
    yield _leaf("identifier", item.shelfmark, type="shelfmark")
    own = Identifier(scheme=_UNRESOLVED_IDENTIFIER, value=item.identifier)
    for each in dict.fromkeys((own, *item.identifiers)):
        scheme = clean_text(each.scheme).strip() or _UNRESOLVED_IDENTIFIER
        yield _leaf("identifier", each.value, type=scheme)


def _location(item: Item, settings: Settings) -> Element | None:
    holder = settings.holder
    uri = holder.identifier if xlink.is_uri(holder.identifier) else None
    manifest = layout.url(settings.base_url, layout.manifest_path(item.identifier))
    catalogue = item.catalogue_url if xlink.is_uri(item.catalogue_url) else ""
    return _group(
        "location",
        *_texts("physicalLocation", LanguageMap(holder.name.entries[:1]), uri=uri),
        _leaf("shelfLocator", item.shelfmark),
        _leaf("url", catalogue, usage="primary", access=mods.OBJECT_IN_CONTEXT),
        _leaf("url", manifest, note="IIIF Presentation manifest"),
    )


def _rights(item: Item, settings: Settings) -> Iterator[Element | None]:
    given = item.rights or settings.rights
    uri = iiif.rights_uri(given) or given
    known = rights.statement_of(uri)
    made = _leaf("accessCondition", known.label if known else uri, type=mods.USE_AND_REPRODUCTION)
    if made is not None and xlink.is_uri(uri):
        with_attributes(made, {xlink.TYPE: xlink.SIMPLE, xlink.HREF: uri})
    yield made


# --------------------------------------------------------------------------------- what belongs together


def _hosts(item: Item) -> Iterator[Element | None]:
    yield _group(
        "relatedItem", _group("titleInfo", _leaf("title", item.collection)), type=RelatedType.HOST.value
    )
    volumes = item.volume_set
    if volumes is None:
        return
    place = next((n for n, each in enumerate(volumes.volumes, 1) if each.item == item.identifier), None)
    own = volumes.volumes[place - 1].label.first if place else ""
    yield _group(
        "relatedItem",
        *_titles(volumes.label),
        _leaf("identifier", volumes.identifier, type=_UNRESOLVED_IDENTIFIER),
        _group("part", _group("detail", _leaf("title", own), type="volume"), order=str(place))
        if place
        else None,
        type=RelatedType.HOST.value,
    )


def _constituents(item: Item) -> Iterator[Element | None]:
    views = {view.identifier: view for view in item.views}
    for section in item.sections:
        yield _constituent(section, views)


def _constituent(section: Section, views: dict[str, View]) -> Element | None:
    return _group(
        "relatedItem",
        *_titles(section.label),
        _part([views[each].label for each in section.views if each in views]),
        *(_constituent(each, views) for each in section.subsections),
        type=RelatedType.CONSTITUENT.value,
    )


def _part(labels: list[str]) -> Element | None:
    if not labels:
        return None
    start, end = (foliation.order_label(label) for label in (labels[0], labels[-1]))
    units = {_unit(label) for label in (labels[0], labels[-1])}
    extent = _group(
        "extent",
        _leaf("start", start),
        _leaf("end", end) if end != start else None,
        unit=units.pop() if len(units) == 1 else None,
    )
    return _group("part", extent)


def _unit(label: str) -> str | None:
    """Return what the number in a label counts: folios or pages; None if it has no number."""
    opening = foliation.parse_opening(label)
    place = opening[0] if opening else foliation.parse(label)
    if place is None or not place.number:
        return None
    return "page" if place.is_page else "folio"


# ---------------------------------------------------------------------------------------- the record


def _record_info(item: Item, settings: Settings, recorded_on: dt.date) -> Element | None:
    language = next((tag for tag, _ in item.title.entries if mods.iso639_2b(tag)), "")
    holder = settings.holder.name.first
    return _group(
        "recordInfo",
        _leaf("recordContentSource", holder),
        _leaf("recordCreationDate", recorded_on.isoformat(), encoding=DateEncoding.W3CDTF),
        _leaf("recordIdentifier", item.identifier, source=clean_text(holder).strip() or None),
        _leaf("recordOrigin", "Made from the item record of the imaging unit."),
        _language("languageOfCataloging", language) if language else None,
    )


# ------------------------------------------------------------------------------------------ small change


def _code(name: str, code: str, authority: str) -> Element | None:
    return _leaf(name, code, type="code", authority=authority)
