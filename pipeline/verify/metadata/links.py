"""IDs of a document and what refers to them: no schema language says that a reference leads anywhere.

One pass over the elements of the namespaces that have such attributes; what refers well is forgotten at once.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

from pipeline.specs import mets, mods, premis, xlink
from pipeline.verify.metadata.documents import IDENTIFIERS, describe, line_of, local, namespace_of
from pipeline.xmldoc import Element

_METS = f"{{{mets.NAMESPACE}}}"
_PREMIS = f"{{{premis.NAMESPACE}}}"

_DESCRIPTIVE = frozenset((f"{_METS}dmdSec",))
_ADMINISTRATIVE = frozenset(f"{_METS}{name}" for name in (*mets.ADMINISTRATIVE, "amdSec"))
_STATEMENTS = frozenset((f"{_PREMIS}rights", f"{_PREMIS}rightsStatement"))
_OBJECTS, _EVENTS, _AGENTS = (frozenset((f"{_PREMIS}{name}",)) for name in ("object", "event", "agent"))
_ANYTHING: frozenset[str] = frozenset()

REFERENCES: dict[str, frozenset[str]] = {
    "ADMID": _ADMINISTRATIVE,
    "DMDID": _DESCRIPTIVE,
    "FILEID": frozenset((f"{_METS}file",)),
    "STRUCTID": frozenset((f"{_METS}div",)),
    "TRANSFORMBEHAVIOR": frozenset((f"{_METS}behavior",)),
    "RelObjectXmlID": _OBJECTS,
    "LinkObjectXmlID": _OBJECTS,
    "RelEventXmlID": _EVENTS,
    "LinkEventXmlID": _EVENTS | _OBJECTS,  # linkingEnvironmentIdentifier uses it too
    "LinkAgentXmlID": _AGENTS,
    "LinkPermissionStatementXmlID": _STATEMENTS,
    "IDREF": _ANYTHING,
}
"""Attributes of type IDREF or IDREFS, and which elements they may lead to."""


class Named(NamedTuple):
    """An element that has an ID."""

    tag: str
    line: int


class Repeated(NamedTuple):
    """An ID for the second time."""

    line: int
    what: str
    identifier: str
    first: Named


class Astray(NamedTuple):
    """A reference that leads nowhere, or to an element of another kind."""

    line: int
    what: str
    attribute: str
    target: str
    found: Named | None


class Loose(NamedTuple):
    """One end of a structural link that names no division."""

    line: int
    what: str
    end: str
    target: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Links:
    """What is wrong with the IDs and references of one document."""

    named: dict[str, Named]
    repeated: tuple[Repeated, ...]
    astray: tuple[Astray, ...]
    loose: tuple[Loose, ...]


_PASSED = tuple(f"{{{each}}}*" for each in (mets.NAMESPACE, mods.NAMESPACE, premis.NAMESPACE))
_ID_NAMES = frozenset(IDENTIFIERS.values())


def links_of(root: Element) -> Links:
    """Return the faults of all IDs, references and structural links below `root`."""
    named: dict[str, Named] = {}
    repeated: list[Repeated] = []
    waiting: list[tuple[Element, str, str]] = []
    for element in root.iter(*_PASSED):
        for name in element.keys():  # noqa: SIM118, over an element itself one goes child by child
            if name in _ID_NAMES:
                if IDENTIFIERS[namespace_of(element)] == name:
                    _note_identifier(element, _value(element, name).strip(), named, repeated)
            elif name in REFERENCES:
                waiting += ((element, name, target) for target in _value(element, name).split())
    return Links(
        named=named,
        repeated=tuple(repeated),
        astray=tuple(found for each in waiting if (found := _astray(*each, named))),
        loose=_loose_links(root, named),
    )


def _value(element: Element, name: str) -> str:
    return element.get(name) or ""


def _note_identifier(
    element: Element, identifier: str, named: dict[str, Named], repeated: list[Repeated]
) -> None:
    own = Named(str(element.tag), line_of(element))
    first = named.setdefault(identifier, own)
    if first is not own:
        repeated.append(Repeated(own.line, local(element), identifier, first))


def _astray(element: Element, attribute: str, target: str, named: dict[str, Named]) -> Astray | None:
    found = named.get(target)
    allowed = REFERENCES[attribute]
    if found is not None and (not allowed or found.tag in allowed):
        return None
    return Astray(line_of(element), describe(element), attribute, target, found)


def names_of(attribute: str) -> str:
    """Return the names of the elements that a reference may lead to."""
    return " or ".join(sorted(each.rpartition("}")[2] for each in REFERENCES[attribute])) or "an element"


# ---------------------------------------------------------------------------------------- structural links


def _loose_links(root: Element, named: dict[str, Named]) -> tuple[Loose, ...]:
    """Return the ends of links that are neither the label nor the ID of a division (METS, structLink)."""
    divisions = {identifier for identifier, each in named.items() if each.tag == f"{_METS}div"}
    labels = divisions | {
        label for each in root.iter(f"{_METS}div") if (label := each.get(xlink.LABEL)) is not None
    }
    loose: list[Loose] = []
    for link in root.iter(f"{_METS}smLink"):
        loose += _loose_ends(link, labels)
    for group in root.iter(f"{_METS}smLinkGrp"):
        loose += _loose_in_group(group, divisions)
    return tuple(loose)


def _loose_ends(link: Element, labels: set[str]) -> list[Loose]:
    return [
        Loose(line_of(link), describe(link), end.rpartition("}")[2], target)
        for end in (xlink.FROM, xlink.TO)
        if (target := link.get(end)) is not None and target not in labels
    ]


def _loose_in_group(group: Element, divisions: set[str]) -> list[Loose]:
    loose: list[Loose] = []
    labels: set[str] = set()
    for locator in group.iter(f"{_METS}smLocatorLink"):
        href = locator.get(xlink.HREF) or ""
        labels.add(locator.get(xlink.LABEL) or "")
        if href.startswith("#") and href[1:] not in divisions:
            loose.append(Loose(line_of(locator), describe(locator), "href", href))
    for arc in group.iter(f"{_METS}smArcLink"):
        loose += _loose_ends(arc, labels)
    return loose
