"""Rules over one XML document of any kind: well-formed, harmless, valid, all references lead somewhere."""

from __future__ import annotations

import functools
from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from itertools import islice

from pipeline import xmldoc
from pipeline.findings import Level, Register, Remark
from pipeline.specs import mix, mods, premis
from pipeline.verify.metadata import sources
from pipeline.verify.metadata.documents import ROOTS, UNJUDGED, Document, Kind, inclusions, place, place_of
from pipeline.verify.metadata.links import Links, links_of, names_of
from pipeline.xmldoc import Schema, SchemaFault


@dataclass(frozen=True, kw_only=True)
class DocumentFacts:
    """One document, while its tree is at hand."""

    document: Document
    official: Schema | None = field(default=None, repr=False)

    @functools.cached_property
    def links(self) -> Links | None:
        """Its IDs and references; None if it has no tree, or is of no kind that is judged."""
        document = self.document
        return None if document.root is None or document.kind is Kind.OTHER else links_of(document.root)

    @functools.cached_property
    def faults(self) -> tuple[SchemaFault, ...]:
        """In what it does not obey our schemas."""
        return self._judged_by(xmldoc.our_schema())

    @functools.cached_property
    def official_faults(self) -> tuple[SchemaFault, ...]:
        """In what it does not obey the schemas that were given; nothing if there are none."""
        return self._judged_by(self.official) if self.official is not None else ()

    def _judged_by(self, schema: Schema) -> tuple[SchemaFault, ...]:
        document = self.document
        if document.root is None or document.kind is Kind.OTHER:
            return ()
        return xmldoc.schema_faults(document.data, schema, parsed=document.root, looks_for_repeated_ids=False)


_JUDGED = f"METS 1, MIX {mix.VERSION}, PREMIS {premis.VERSION}, MODS up to {mods.VERSION}"

DOCUMENT = Register[DocumentFacts]("XML documents")


@DOCUMENT.rule(
    "M001",
    Level.ERROR,
    "XML document cannot be read",
    source=sources.XML + "2.1",
    advice="Copy it again from its source; if it is damaged there too, its maker must write it anew. "
    "Nothing else of it can be judged until then.",
)
def is_well_formed(facts: DocumentFacts) -> Iterator[Remark]:
    """The document is well-formed XML, and not larger than what is read."""
    if facts.document.fault:
        yield Remark(place=facts.document.path, value=facts.document.fault, limit="well-formed XML")


@DOCUMENT.rule(
    "M002",
    Level.ERROR,
    "XML document has a document type declaration",
    source=sources.XML + "4",
    advice="Remove the DOCTYPE. METS, MIX, PREMIS and MODS use none; entities can explode, or fetch files "
    "that are none of the document's business. Nothing of the document was expanded or judged.",
    requires={"M001"},
)
def declares_no_type(facts: DocumentFacts) -> Iterator[Remark]:
    """The document has no DTD and no entities of its own; a warning if it is of none of these standards."""
    document = facts.document
    if document.declares_type:
        is_judged = document.kind is not Kind.OTHER or document.type_name in ("", *ROOTS)
        level = None if is_judged else Level.WARNING
        yield Remark(place=document.path, value=f"<!DOCTYPE {document.type_name}", limit="none", level=level)


@DOCUMENT.rule(
    "M003",
    Level.ERROR,
    "XML document wants to take in other documents",
    source=sources.XINCLUDE,
    advice="Put in what the inclusion stands for, and remove it. Inclusions are never followed.",
    requires={"M001", "M002"},
)
def includes_nothing(facts: DocumentFacts) -> Iterator[Remark]:
    """No element of XInclude stands in the document."""
    document = facts.document
    if document.root is None:
        return
    first = next(inclusions(document.root), None)
    if first is not None:
        more = sum(1 for _ in inclusions(document.root)) - 1
        href = first.get("href") or ""
        value = f'include of "{href}"' + (f", and {more} more" if more else "")
        yield Remark(place=place_of(document.path, first), value=value, limit="none")


@DOCUMENT.rule(
    "M004",
    Level.NOTE,
    "Document follows a version of its standard that is not judged",
    source=sources.COMMON_PRACTICE,
    advice="Nothing but the form of XML was looked at. If a version that is judged was agreed on, the "
    "document must be written anew.",
    requires={"M001", "M002"},
)
def version_is_judged(facts: DocumentFacts) -> Iterator[Remark]:
    """The document, with what is embedded, is of a version of METS, MIX or PREMIS that is judged."""
    if version := UNJUDGED.get(facts.document.namespace):
        yield Remark(place=facts.document.path, value=version, limit=_JUDGED)
    for version, times in facts.document.unjudged_records.items():
        yield Remark(place=facts.document.path, value=f"{version} in {times:,} sections", limit=_JUDGED)


@DOCUMENT.rule(
    "M008",
    Level.ERROR,
    "Document is of a standard by its name, and not by its namespace",
    source=sources.XML_NAMESPACES + "6",
    advice="Correct the namespace of the root element: programs know the standard by it alone, and take the "
    "document for something else. Capitals count. Nothing of the document was judged.",
    requires={"M001", "M002"},
)
def namespaces_are_right(facts: DocumentFacts) -> Iterator[Remark]:
    """A root element named mets, mix, premis, mods or modsCollection is in the namespace of its standard."""
    document = facts.document
    wanted = ROOTS.get(document.root_name)
    if wanted is None or document.namespace in (wanted, *UNJUDGED):
        return
    if not document.namespace or _PUBLISHER in document.namespace.lower():
        value = f"{document.root_name} of {document.namespace or 'no namespace'}"
        yield Remark(place=document.path, value=value, limit=wanted)


_PUBLISHER = "loc.gov"
"""All these namespaces hold it; other vocabularies may have an element named mix."""


@DOCUMENT.rule(
    "M007",
    Level.ERROR,
    "An ID is there twice",
    source=sources.METS + "ID; XML Schema 1.0, part 2, section 3.3.8",
    advice="Give one of the two elements another ID and correct what refers to it. IDs are unique in the "
    "whole document, embedded records included.",
    requires={"M001", "M002"},
)
def ids_are_unique(facts: DocumentFacts) -> Iterator[Remark]:
    """No two elements of a document have the same ID."""
    for each in facts.links.repeated if facts.links else ():
        where = place(facts.document.path, each.line, f'{each.what} "{each.identifier}"')
        first = f"{each.first.tag.rpartition('}')[2]} in line {each.first.line}"
        yield Remark(
            place=where, value=f'"{each.identifier}" is the ID of {first} too', limit="an ID of its own"
        )


@DOCUMENT.rule(
    "M005",
    Level.ERROR,
    "Document does not obey the schema of its standard",
    source=sources.XML_SCHEMA,
    advice="Correct the element that is named, or the program that wrote it: what is found many times has"
    " one cause there.",
    requires={"M001", "M002"},
)
def obeys_our_schema(facts: DocumentFacts) -> Iterator[Remark]:
    """The document, and every record embedded in it, is valid by our schemas."""
    yield from _schema_remarks(facts, facts.faults)


@DOCUMENT.rule(
    "M006",
    Level.ERROR,
    "Document does not obey the official schemas that were given",
    source=sources.OFFICIAL,
    advice="Correct the element that is named. What our schemas find as well is not said twice.",
    requires={"M001", "M002"},
)
def obeys_official_schema(facts: DocumentFacts) -> Iterator[Remark]:
    """The document is valid by the publishers' schemas, if a folder with them was given."""
    ours = {(each.line, each.path) for each in facts.faults}
    yield from _schema_remarks(
        facts, [each for each in facts.official_faults if (each.line, each.path) not in ours]
    )


def _schema_remarks(facts: DocumentFacts, faults: Sequence[SchemaFault]) -> Iterator[Remark]:
    """Yield a remark for each thing that is wrong, however often, with the first places where it is."""
    alike: dict[str, list[SchemaFault]] = defaultdict(list)
    for fault in faults:
        alike[fault.message].append(fault)
    for message, found in alike.items():
        where = place(facts.document.path, found[0].line, found[0].path)
        yield Remark(place=where, value=message + _others(found), limit="valid")


def _others(found: Sequence[SchemaFault]) -> str:
    if len(found) == 1:
        return ""
    lines = ", ".join(str(each.line) for each in islice(found, 1, 6))
    more = f" and {len(found) - 6} more" if len(found) > 6 else ""
    return f" (also in line {lines}{more})"


# --------------------------------------------------------------------------------------------- references


@DOCUMENT.rule(
    "M010",
    Level.ERROR,
    "A reference leads nowhere",
    source=sources.METS + "ADMID, DMDID, FILEID, STRUCTID; XML Schema 1.0, part 2, section 3.3.9",
    advice="Correct the reference, or add what it should lead to. Schemas do not see this.",
    requires={"M001", "M002"},
)
def references_lead_somewhere(facts: DocumentFacts) -> Iterator[Remark]:
    """Every ADMID, DMDID, FILEID and the like is the ID of an element of the document."""
    for each in facts.links.astray if facts.links else ():
        if each.found is None:
            where = place(facts.document.path, each.line, each.what)
            limit = f"the ID of {names_of(each.attribute)}"
            yield Remark(place=where, value=f'{each.attribute} "{each.target}"', limit=limit)


@DOCUMENT.rule(
    "M011",
    Level.ERROR,
    "A reference leads to an element of the wrong kind",
    source=sources.METS + "ADMID, DMDID, FILEID, STRUCTID",
    advice="Correct the reference: the element that it names cannot stand at its end.",
    requires={"M001", "M002"},
)
def references_lead_to_the_right_kind(facts: DocumentFacts) -> Iterator[Remark]:
    """ADMID leads to administrative metadata, DMDID to a dmdSec, FILEID to a file, STRUCTID to a div."""
    for each in facts.links.astray if facts.links else ():
        if each.found is not None:
            where = place(facts.document.path, each.line, each.what)
            found = f"{each.found.tag.rpartition('}')[2]} in line {each.found.line}"
            yield Remark(
                place=where,
                value=f'{each.attribute} "{each.target}" is the ID of {found}',
                limit=f"the ID of {names_of(each.attribute)}",
            )


@DOCUMENT.rule(
    "M012",
    Level.ERROR,
    "A structural link ends at no division",
    source=sources.METS + "structLink, smLink, smLinkGrp",
    advice="Write the xlink:label or the ID of the division. Schemas take these ends for plain text.",
    requires={"M001", "M002"},
)
def structural_links_have_ends(facts: DocumentFacts) -> Iterator[Remark]:
    """Both ends of every link are labels or IDs of divisions; those of an arc, labels of its locators."""
    for each in facts.links.loose if facts.links else ():
        yield Remark(
            place=place(facts.document.path, each.line, each.what),
            value=f'xlink:{each.end} "{each.target}"',
            limit="the label or ID of a div",
        )
