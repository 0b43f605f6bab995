"""Rules over bag-info.txt.

Source: RFC 8493, section 2.2.2.
"""

from __future__ import annotations

import re
from collections.abc import Iterator

from pipeline.findings import Level, Remark
from pipeline.specs import bagit
from pipeline.verify.bag.facts import BAG, IS_READABLE, BagFacts, from_faults
from pipeline.verify.bag.matching import is_payload
from pipeline.verify.sources import RFC_8493


@BAG.rule(
    "B050",
    Level.ERROR,
    "A line of bag-info.txt cannot be read",
    source=RFC_8493 + "2.2.2",
    advice="Each line is a label, a colon, one blank and a value, or begins with a blank and continues the "
    "value above.",
    requires=IS_READABLE,
)
def information_can_be_read(facts: BagFacts) -> Iterator[Remark]:
    """Label, colon, one blank, value; any blanks about the colon in the drafts."""
    yield from from_faults(facts.bag.info_faults, "label, colon, one blank, value")


_OXUM = re.compile(r"([0-9]+)\.([0-9]+)")


@BAG.rule(
    "B051",
    Level.ERROR,
    "Payload-Oxum is not as it must be",
    source=RFC_8493 + "2.2.2",
    advice="Write it once, as bytes, full stop, number of files: 279164409832.1198.",
    requires=IS_READABLE,
)
def the_oxum_is_well_formed(facts: BagFacts) -> Iterator[Remark]:
    """Once at most, two numbers with a full stop between."""
    values = facts.bag.values(bagit.Label.PAYLOAD_OXUM)
    if len(values) > 1:
        yield Remark(place=facts.bag.info_file, value=f"it {len(values)} times", limit="once at most")
    for value in values:
        if not _OXUM.fullmatch(value):
            yield Remark(place=facts.bag.info_file, value=f'"{value}"', limit="bytes, full stop, files")


@BAG.rule(
    "B052",
    Level.ERROR,
    "Number or bytes of the payload files do not agree with Payload-Oxum",
    source=RFC_8493 + "2.2.2",
    advice="Files are missing, cut off, or too many: compare with the manifest, and deliver the bag again. "
    "If the payload is right, correct the value and the tag manifests.",
    requires={*IS_READABLE, "B051", "B020", "B021", "B022"},
)
def the_oxum_agrees(facts: BagFacts) -> Iterator[Remark]:
    """Bytes and number of the payload files are what `bag-info.txt` says.

    Silent if single files are known to be altered or out of reach: then they are the cause.
    """
    if facts.altered or any(is_payload(each) for each in facts.closed):
        return
    for value in facts.bag.values(bagit.Label.PAYLOAD_OXUM)[:1]:
        if match := _OXUM.fullmatch(value):
            found = (sum(facts.bag.payload.values()), len(facts.bag.payload))
            if found != (int(match[1][:30]), int(match[2][:30])):
                said = f"{match[1]} bytes in {match[2]} files"
                yield Remark(
                    place=facts.bag.info_file, value=f"{found[0]} bytes in {found[1]} files", limit=said
                )


_SINGLE = (
    bagit.Label.BAGGING_DATE,
    bagit.Label.BAG_SIZE,
    bagit.Label.BAG_GROUP_IDENTIFIER,
    bagit.Label.BAG_COUNT,
)
_FORMS = {
    bagit.Label.BAGGING_DATE: (
        re.compile(r"[0-9]{4}-(0[1-9]|1[0-2])-(0[1-9]|[12][0-9]|3[01])"),
        "YYYY-MM-DD",
    ),
    bagit.Label.BAG_COUNT: (re.compile(r"[0-9]+ of ([0-9]+|\?)"), "N of T"),
}


@BAG.rule(
    "B053",
    Level.WARNING,
    "An element of bag-info.txt is not as it should be",
    source=RFC_8493 + "2.2.2",
    advice="Write a date as 2026-03-09, a count as 1 of 4 with a Bag-Group-Identifier, each of these once.",
    requires={*IS_READABLE, "B050"},
)
def reserved_elements_are_well_formed(facts: BagFacts) -> Iterator[Remark]:
    """Bagging-Date, Bag-Size, Bag-Group-Identifier, Bag-Count: once, in their form."""
    place = facts.bag.info_file
    for label in _SINGLE:
        values = facts.bag.values(label)
        if len(values) > 1:
            yield Remark(place=f"{place}, {label}", value=f"it {len(values)} times", limit="once")
        pattern, form = _FORMS.get(label, (None, ""))
        for value in values:
            if pattern and not pattern.fullmatch(value):
                yield Remark(place=f"{place}, {label}", value=f'"{value}"', limit=form)
    if facts.bag.values(bagit.Label.BAG_COUNT) and not facts.bag.values(bagit.Label.BAG_GROUP_IDENTIFIER):
        label = bagit.Label.BAG_GROUP_IDENTIFIER
        yield Remark(place=f"{place}, {label}", value="none beside Bag-Count", limit="one")


@BAG.rule(
    "B054",
    Level.NOTE,
    "Lines of bag-info.txt are long",
    source=RFC_8493 + "2.2.2",
    advice="Fold long values: a line that begins with a blank continues the one above.",
    requires=IS_READABLE,
)
def information_is_folded(facts: BagFacts) -> Iterator[Remark]:
    """Lines should have 79 characters at most."""
    if long_lines := facts.bag.long_lines:
        limit = f"{bagit.LINE_CHARACTERS} characters"
        yield Remark(place=facts.bag.info_file, value=f"{len(long_lines)} lines that are longer", limit=limit)
