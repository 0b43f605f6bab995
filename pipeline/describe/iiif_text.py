"""Language maps in a manifest, and the pairs that describe the item to a reader.

Source: IIIF Presentation API 3.0, sections 3.1 (metadata), 4.4 (language of values) and 4.5 (HTML).
"""

from __future__ import annotations

import html
from collections.abc import Iterable, Iterator

from pipeline.describe import wording
from pipeline.describe.language_names import language_name, script_name
from pipeline.jsondoc import JsonValue
from pipeline.model import Identifier, Item, LanguageMap, Person, Settings
from pipeline.specs import iiif

Pair = tuple[LanguageMap, LanguageMap]

_SCHEME_NAMES = {"doi": "DOI", "ark": "ARK", "uri": "URI", "url": "URL", "urn": "URN", "isil": "ISIL"}
_DOI_RESOLVER = "https://doi.org/"


def language_map(text: LanguageMap) -> dict[str, JsonValue]:
    """Return a language map as JSON: a language once, and none without a text."""
    merged: dict[str, list[str]] = {}
    for tag, texts in text.entries:
        merged.setdefault(tag, []).extend(each for each in texts if each)
    return {tag: texts for tag, texts in merged.items() if texts}


def pair(label: LanguageMap, value: LanguageMap) -> dict[str, JsonValue]:
    """Return a label and its value as JSON."""
    return {"label": language_map(label), "value": language_map(value)}


def plain(text: LanguageMap) -> LanguageMap:
    """Return `text` so that no client takes it for HTML: ``<Liber>`` gets a blank after it (section 4.5)."""
    return LanguageMap(tuple((tag, tuple(map(_plain, texts))) for tag, texts in text.entries))


def metadata(item: Item, settings: Settings) -> list[dict[str, JsonValue]]:
    """Return what is said of the item, in the order in which a catalogue says it.

    Terms of use stand here if they are not of a kind that `rights` may hold.
    """
    pairs = [*_origin(item), *_writing(item), *_body(item), *_people(item.people), *_belonging(item)]
    pairs += _terms_of_use(item.rights or settings.rights)
    pairs += [(label, plain(value)) for label, value in item.metadata]
    shown = (pair(label, value) for label, value in pairs)
    return [each for each in shown if each["label"] and each["value"]]


# ------------------------------------------------------------------------------------------- the parts


def _origin(item: Item) -> Iterator[Pair]:
    yield wording.SHELFMARK, _text(item.shelfmark)
    yield wording.DATE, _text(item.date) if item.date else _date_range(item.date_range)
    yield wording.PLACE, _text(item.place)


def _writing(item: Item) -> Iterator[Pair]:
    yield wording.LANGUAGE, _together(language_name(tag) for tag in item.languages)
    yield wording.SCRIPT, script_name(item.script) if item.script else LanguageMap()


def _body(item: Item) -> Iterator[Pair]:
    yield wording.MATERIAL, _text(item.material)
    yield wording.EXTENT, _text(item.extent)
    label = wording.SIZE_WITH_DEPTH if len(item.size_mm) > 2 else wording.SIZE
    sizes = " × ".join(f"{size:g}" for size in item.size_mm)
    yield label, _text(f"{sizes} mm" if sizes else "")


def _people(people: Iterable[Person]) -> Iterator[Pair]:
    by_role: dict[LanguageMap, list[str]] = {}
    for person in people:
        by_role.setdefault(wording.role_label(person), []).append(_linked(person.name, person.uri))
    for role, names in by_role.items():
        yield role, LanguageMap((("none", tuple(names)),))


def _belonging(item: Item) -> Iterator[Pair]:
    yield wording.COLLECTION, _text(item.collection)
    by_scheme: dict[str, list[str]] = {}
    for identifier in item.identifiers:
        by_scheme.setdefault(identifier.scheme, []).append(_identifier(identifier))
    for scheme, values in by_scheme.items():
        yield _scheme_label(scheme), LanguageMap((("none", tuple(values)),))


def _terms_of_use(rights: str) -> Iterator[Pair]:
    if rights and not iiif.rights_uri(rights):
        yield wording.RIGHTS, LanguageMap.of(_linked(rights, rights))


# ------------------------------------------------------------------------------------------- small change


def _text(text: str) -> LanguageMap:
    return plain(LanguageMap.of(text)) if text else LanguageMap()


def _plain(text: str) -> str:
    return f"{text} " if text.startswith("<") and text.endswith(">") else text


def _date_range(years: tuple[int, int] | None) -> LanguageMap:
    if years is None:
        return LanguageMap()
    first, last = years
    if first == last:
        return wording.said(_year(first, "BCE"), _year(first, "v. Chr."))
    return wording.said(*(f"{_year(first, era)}–{_year(last, era)}" for era in ("BCE", "v. Chr.")))


def _year(year: int, era_before: str) -> str:
    return str(year) if year >= 0 else f"{-year} {era_before}"


def _together(names: Iterable[LanguageMap]) -> LanguageMap:
    """Several names as one value with several texts; a name of no language stands in every language."""
    listed = list(names)
    if not listed:
        return LanguageMap()
    return LanguageMap(tuple((tag, tuple(each.best(tag) for each in listed)) for tag in wording.LANGUAGES))


def _scheme_label(scheme: str) -> LanguageMap:
    if scheme in ("", "local"):
        return wording.IDENTIFIER
    return LanguageMap.of(_SCHEME_NAMES.get(scheme.lower(), scheme))


def _identifier(identifier: Identifier) -> str:
    value = identifier.value
    if identifier.scheme.lower() == "doi" and value.startswith("10."):
        return _linked(value, _DOI_RESOLVER + value)
    return _linked(value, value)


def _linked(text: str, uri: str) -> str:
    """Return `text` as a link if `uri` is one for the web."""
    if not is_web_url(uri):
        return _plain(text)
    return f'<a href="{html.escape(uri)}">{html.escape(text)}</a>'


def is_web_url(uri: str) -> bool:
    """True for what can stand where an http or https URI is asked for."""
    return uri.startswith(("http://", "https://")) and not any(char.isspace() for char in uri)
