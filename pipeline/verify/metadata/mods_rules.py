"""Rules over MODS records: what a record says at least, and codes and dates that are as they claim."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterator

from pipeline.findings import Level, Register, Remark
from pipeline.specs import bcp47, dates, mods
from pipeline.verify.metadata import sources
from pipeline.verify.metadata.mix_rules import RecordFacts
from pipeline.verify.metadata.mods_reading import Date

MODS = Register[RecordFacts]("MODS records")


@MODS.rule(
    "M080",
    Level.ERROR,
    "A MODS record has no title",
    source=sources.MODS + "titleInfo, title (all is optional in the schema)",
    advice='Add a titleInfo; a title that a cataloguer made up says supplied="yes".',
)
def records_have_titles(facts: RecordFacts) -> Iterator[Remark]:
    """Every record has a title that is not empty."""
    for record in facts.document.all_mods:
        if not record.has_title:
            yield Remark(place=record.place, value="no title", limit="one at least")


@MODS.rule(
    "M081",
    Level.WARNING,
    "A MODS record has no identifier",
    source=sources.MODS + "identifier (all is optional in the schema)",
    advice="Add an identifier with its type, such as the shelfmark: without it nobody finds the object "
    "again.",
)
def records_have_identifiers(facts: RecordFacts) -> Iterator[Remark]:
    """Every record of an object has an identifier; inside METS, the first description."""
    for record in facts.document.all_mods:
        if record.is_main and not record.has_identifier:
            yield Remark(place=record.place, value="no identifier", limit="one at least")


@MODS.rule(
    "M082",
    Level.ERROR,
    "A code of a language or script is none",
    source=sources.MODS + "languageTerm, scriptTerm, lang; ISO 639-2, ISO 15924, BCP 47",
    advice="Write the code of the list that authority names: lat for Latin in iso639-2b, Latn for its "
    "script.",
)
def codes_are_of_their_lists(facts: RecordFacts) -> Iterator[Remark]:
    """Every code is one of the list that its authority names; other authorities are not judged."""
    told: set[tuple[str, str]] = set()
    for record in facts.document.all_mods:
        for term in record.terms:
            is_one = _LISTS.get(term.authority)
            if is_one is None or is_one(term.code) or (term.authority, term.code) in told:
                continue
            told.add((term.authority, term.code))
            meant = mods.TERMINOLOGY_CODES.get(term.code, "") if term.authority == mods.ISO_639_2B else ""
            limit = f"a code of {term.authority}" + (f", here {meant}" if meant else "")
            yield Remark(place=term.place, value=f'"{term.code}"', limit=limit)


def _is_language_tag(tag: str) -> bool:
    return bcp47.has_form(tag) and not bcp47.unknown(tag)


_LISTS: dict[str, Callable[[str], bool]] = {
    mods.ISO_639_2B: mods.is_iso639_2b,
    mods.ISO_639_3: mods.is_iso639_3,
    mods.BCP_47: _is_language_tag,
    "rfc4646": _is_language_tag,
    "rfc3066": _is_language_tag,
    mods.ISO_15924: mods.is_iso15924,
}


@MODS.rule(
    "M083",
    Level.ERROR,
    "A date is not written as its encoding demands",
    source=sources.MODS + "encoding; W3CDTF; Extended Date/Time Format",
    advice="Write the date by the rules of its encoding, or leave the encoding out. Wording such as c. "
    "1380 belongs into displayDate. The schema does not look at this.",
)
def dates_are_as_encoded(facts: RecordFacts) -> Iterator[Remark]:
    """Every date with the encoding w3cdtf or edtf is one, and the calendar has it."""
    for record in facts.document.all_mods:
        for date in record.dates:
            is_one = _ENCODINGS.get(date.encoding)
            if is_one is not None and not is_one(date.text):
                yield Remark(place=date.place, value=f'{date.name} "{date.text}"', limit=date.encoding)


_ENCODINGS: dict[str, Callable[[str], bool]] = {
    mods.DateEncoding.W3CDTF: dates.is_w3cdtf,
    mods.DateEncoding.EDTF: dates.is_edtf,
}


@MODS.rule(
    "M084",
    Level.WARNING,
    "A span of time ends before it begins",
    source=sources.MODS + "point",
    advice='Exchange the dates with point="start" and point="end", or correct the one that is wrong.',
)
def spans_run_forward(facts: RecordFacts) -> Iterator[Remark]:
    """The year of an end is not before that of its beginning."""
    for record in facts.document.all_mods:
        spans: dict[tuple[int, str], dict[str, Date]] = defaultdict(dict)
        for date in record.dates:
            if date.point:
                spans[date.parent, date.name].setdefault(date.point, date)
        for span in spans.values():
            first, last = span.get("start"), span.get("end")
            if first is None or last is None:
                continue
            begins, ends = dates.year_of(first.text), dates.year_of(last.text)
            if begins is not None and ends is not None and ends < begins:
                yield Remark(place=last.place, value=f"{first.text} to {last.text}", limit="start before end")
