"""Rules over what a METS document says of itself and of the order of its pages: no files are needed."""

from __future__ import annotations

import itertools
import re
from collections import Counter, defaultdict
from collections.abc import Iterator, Sequence

from pipeline.findings import Level, Register, Remark
from pipeline.specs import mets
from pipeline.verify.metadata import sources
from pipeline.verify.metadata.documents import UNJUDGED
from pipeline.verify.metadata.knowledge import MetsFacts
from pipeline.verify.metadata.mets_reading import Division
from pipeline.verify.metadata.paging import files_below, is_not_captured, page_divisions, walk

METS = Register[MetsFacts]("METS documents")

# ----------------------------------------------------------------------------------------------- header


@METS.rule(
    "M020",
    Level.WARNING,
    "METS does not say when it was made",
    source=sources.METS + "metsHdr, CREATEDATE",
    advice="Add a metsHdr with CREATEDATE: without it nobody can tell two editions of the document apart.",
)
def tells_its_date(facts: MetsFacts) -> Iterator[Remark]:
    """There is a header with CREATEDATE."""
    if not facts.reading.created:
        value = "metsHdr without CREATEDATE" if facts.reading.has_header else "no metsHdr"
        yield Remark(place=facts.reading.place, value=value, limit="metsHdr with CREATEDATE")


@METS.rule(
    "M021",
    Level.WARNING,
    "METS does not say who made it",
    source=sources.METS + "agent, ROLE",
    advice='Add an agent with ROLE="CREATOR" and its name to metsHdr.',
)
def tells_its_maker(facts: MetsFacts) -> Iterator[Remark]:
    """An agent with the role CREATOR and a name stands in the header."""
    if not any(facts.reading.creators):
        yield Remark(place=facts.reading.place, value="no named CREATOR", limit="one at least")


@METS.rule(
    "M022",
    Level.NOTE,
    "METS claims a profile that is not known here",
    source=sources.METS + "PROFILE",
    advice="What the profile demands beyond METS itself was not judged.",
)
def profile_is_known(facts: MetsFacts) -> Iterator[Remark]:
    """The document claims no profile whose demands are not known."""
    if facts.reading.profile:
        yield Remark(place=facts.reading.place, value=facts.reading.profile, limit="none")


# ------------------------------------------------------------------------------------ metadata sections


@METS.rule(
    "M013",
    Level.WARNING,
    "A description belongs to nothing",
    source=sources.METS + "dmdSec, DMDID",
    advice="Name the section in the DMDID of the division or file that it describes, or remove it.",
)
def descriptions_belong_to_something(facts: MetsFacts) -> Iterator[Remark]:
    """Every dmdSec is named in a DMDID."""
    for section in facts.reading.sections:
        if section.name == "dmdSec" and section.identifier not in facts.reading.described:
            yield Remark(place=section.place, value="in no DMDID", limit="in one at least")


@METS.rule(
    "M023",
    Level.ERROR,
    "A section holds another record than it announces",
    source=sources.METS + "mdWrap, MDTYPE",
    advice="Correct MDTYPE, or put in the record that it announces: programs choose by it what they read.",
)
def sections_hold_what_they_announce(facts: MetsFacts) -> Iterator[Remark]:
    """The record in a section is of the kind that MDTYPE names, be it of a version that is not judged."""
    for section in facts.reading.sections:
        expected = mets.RECORD_ROOTS.get(section.announced)
        namespace = mets.RECORD_NAMESPACES.get(section.announced)
        for found, name in section.roots if expected else ():
            if not (found == namespace or found in UNJUDGED) or name not in (expected or ()):
                value = f'MDTYPE "{section.announced}" with {name} of {found or "no namespace"}'
                yield Remark(place=section.place, value=value, limit=" or ".join(sorted(expected or ())))


@METS.rule(
    "M029",
    Level.WARNING,
    "A section is empty",
    source=sources.METS + "mdWrap, mdRef",
    advice="Put in the record, or a reference to it, or remove the section.",
)
def sections_hold_something(facts: MetsFacts) -> Iterator[Remark]:
    """Every metadata section holds a record or names one."""
    for section in facts.reading.sections:
        if section.is_empty:
            yield Remark(place=section.place, value="nothing in mdWrap, and no mdRef", limit="a record")


# ------------------------------------------------------------------------------------------- structure


@METS.rule(
    "M024",
    Level.WARNING,
    "METS has no map of the pages",
    source=sources.METS + 'structMap, TYPE="PHYSICAL" (common usage)',
    advice='Add a structMap TYPE="PHYSICAL" with a division for each page, in reading order.',
)
def has_a_physical_map(facts: MetsFacts) -> Iterator[Remark]:
    """There is a physical structure map, or one map alone that is not called logical."""
    if facts.reading.physical is None and facts.reading.maps:
        types = ", ".join(each.type or "without TYPE" for each in facts.reading.maps)
        yield Remark(place=facts.reading.maps[0].place, value=f"structMap {types}", limit="PHYSICAL")


_NUMBER = re.compile(r"\s*([+-]?\d{1,9})\s*", re.ASCII)


def _ordered(division: Division) -> list[tuple[int, Division]]:
    """Return the children that have a number, with it."""
    return [
        (int(match[1]), child)
        for child in division.children
        if (match := _NUMBER.fullmatch(child.order or "")) is not None
    ]


def _physical(facts: MetsFacts) -> Iterator[Division]:
    physical = facts.reading.physical
    return walk(physical.root if physical else None)


@METS.rule(
    "M025",
    Level.ERROR,
    "Divisions are not in the order of their numbers",
    source=sources.METS + "div, ORDER",
    advice="Number the divisions 1, 2, 3 … as they stand, or put them in order: programs follow one or "
    "the other, and readers get the pages in two orders.",
)
def divisions_stand_in_order(facts: MetsFacts) -> Iterator[Remark]:
    """Below one division no ORDER is there twice, and the numbers rise."""
    for division in _physical(facts):
        numbers = _ordered(division)
        count = Counter(number for number, _ in numbers)
        if repeated := [number for number, times in count.items() if times > 1]:
            yield Remark(place=division.place, value=f"ORDER {_some(repeated)} twice or more", limit="once")
            continue
        for (before, _), (number, child) in itertools.pairwise(numbers):
            if number < before:
                yield Remark(
                    place=child.place, value=f"ORDER {number} after {before}", limit=f"more than {before}"
                )
                break


@METS.rule(
    "M026",
    Level.WARNING,
    "Numbers of divisions have gaps",
    source=sources.METS + "div, ORDER",
    advice="Look whether a page is missing; if none is, number the divisions without gaps.",
    requires={"M025"},
)
def numbers_have_no_gaps(facts: MetsFacts) -> Iterator[Remark]:
    """Below one division the numbers run on without a gap, and either all divisions have one or none."""
    for division in _physical(facts):
        numbers = sorted(number for number, _ in _ordered(division))
        if not numbers:
            continue
        if numbers[0] > 0:
            numbers.insert(0, 0)  # some count from 0, most from 1
        gaps = [_gap(a, b) for a, b in itertools.pairwise(numbers) if b > a + 1]
        if gaps:
            yield Remark(place=division.place, value=f"no ORDER {_some(gaps)}", limit="no gap")
        if without := [child for child in division.children if child.order is None]:
            value = f"{len(without)} of {len(division.children)} divisions without ORDER"
            yield Remark(place=without[0].place, value=value, limit="all or none")


def _gap(before: int, after: int) -> str:
    first, last = before + 1, after - 1
    return str(first) if first == last else f"{first} to {last}"


@METS.rule(
    "M027",
    Level.WARNING,
    "Two pages have the same number",
    source=sources.METS + "div, ORDERLABEL",
    advice="Look whether a page was delivered twice or is numbered wrongly. If the pages bear the same "
    "number themselves, tell them apart: 12, 12bis.",
)
def page_numbers_are_unique(facts: MetsFacts) -> Iterator[Remark]:
    """No two pages of one kind below one division have the same ORDERLABEL."""
    for division in _physical(facts):
        alike: dict[tuple[str, str], list[Division]] = defaultdict(list)
        for child in division.children:
            if child.order_label and child.type.lower() not in mets.PROOF_TYPES:
                alike[child.type.lower(), child.order_label].append(child)
        for (_, label), (_, *others) in alike.items():
            if others:
                value = f'ORDERLABEL "{label}" {len(others) + 1} times'
                yield Remark(place=others[0].place, value=value, limit="once")


@METS.rule(
    "M028",
    Level.WARNING,
    "A page has no image",
    source=sources.METS + "div, fptr",
    advice="Add the pointer to its image, or the image itself if it was forgotten. If the page was left out "
    f'on purpose, say so in its LABEL: "{mets.NOT_CAPTURED}".',
)
def pages_have_files(facts: MetsFacts) -> Iterator[Remark]:
    """Every page of the physical map, or a part of it, points at a file."""
    physical = facts.reading.physical
    if not facts.reading.files:
        return  # a description without files
    for division in page_divisions(physical.root if physical else None):
        if not files_below(division) and not division.has_pointers:
            level = Level.NOTE if is_not_captured(division) else None
            name = division.label or division.order_label or "page without a label"
            yield Remark(
                place=division.place, value=f'"{name}" without fptr', limit="one at least", level=level
            )


def _some(listed: Sequence[object]) -> str:
    """Return the first five, and how many more there are."""
    more = f" and {len(listed) - 5:,} more" if len(listed) > 5 else ""
    return ", ".join(map(str, listed[:5])) + more
