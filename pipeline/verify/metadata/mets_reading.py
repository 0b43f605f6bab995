"""What a METS document says: sections, files, divisions. The tree is let go after it was read."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import NamedTuple

from pipeline.specs import mets, mods, xlink
from pipeline.verify.metadata.documents import (
    describe,
    first,
    line_of,
    local,
    namespace_of,
    place,
    place_of,
    text_of,
)
from pipeline.verify.metadata.mix_reading import MixRecord, mix_records
from pipeline.verify.metadata.mods_reading import ModsRecord, mods_records
from pipeline.verify.metadata.premis_reading import PremisEntity, PremisObject, premis_entities
from pipeline.xmldoc import Element

_PREFIX = f"{{{mets.NAMESPACE}}}"


class Pointer(NamedTuple):
    """Where a file or record is said to be."""

    place: str
    href: str | None
    location_type: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ListedFile:
    """One `file`, or one `mdRef`: what is said of a file."""

    identifier: str
    place: str
    pointers: tuple[Pointer, ...]
    media_type: str = ""
    size: str = ""
    checksum: str = ""
    checksum_type: str = ""
    sections: tuple[str, ...] = ()
    """ADMID: IDs of the sections that describe it."""
    use: str = ""
    """USE of the file, or of the nearest group that has one."""
    has_content: bool = False
    """Its bytes stand in the document itself."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Section:
    """One metadata section."""

    name: str
    """``dmdSec``, ``techMD`` …"""
    identifier: str
    place: str
    announced: str
    """MDTYPE; empty if there is neither mdWrap nor mdRef."""
    is_empty: bool
    """It neither holds nor names a record."""
    roots: tuple[tuple[str, str], ...]
    """Namespace and name of each element that it wraps."""
    reference: ListedFile | None
    mix: tuple[MixRecord, ...]
    premis: tuple[PremisEntity, ...]
    mods: tuple[ModsRecord, ...]

    @property
    def objects(self) -> tuple[PremisObject, ...]:
        """The objects among its PREMIS records."""
        return tuple(each for each in self.premis if isinstance(each, PremisObject))


@dataclass(slots=True, kw_only=True)
class Division:
    """One `div`."""

    place: str
    label: str
    order: str | None
    order_label: str
    type: str
    files: tuple[str, ...]
    """FILEIDs of its own pointers."""
    has_pointers: bool
    """It has `fptr` or `mptr`."""
    children: list[Division] = field(default_factory=list)


@dataclass(frozen=True, slots=True, kw_only=True)
class StructureMap:
    """One `structMap`."""

    type: str
    place: str
    root: Division | None


@dataclass(frozen=True, slots=True, kw_only=True)
class MetsReading:
    """One METS document."""

    path: str
    place: str
    profile: str
    has_header: bool
    created: str
    changed: str
    creators: tuple[str, ...]
    """Names of the agents that made the document."""
    sections: tuple[Section, ...]
    groups: dict[str, tuple[str, ...]]
    """IDs of the sections in each `amdSec` that has an ID."""
    files: tuple[ListedFile, ...]
    maps: tuple[StructureMap, ...]
    pointed: frozenset[str]
    """All FILEIDs of all maps."""
    described: frozenset[str]
    """All DMDIDs."""

    @property
    def physical(self) -> StructureMap | None:
        """The map of what lies behind what: the one called physical, or the only one."""
        named = [each for each in self.maps if each.type.strip().upper() == mets.PHYSICAL]
        if named:
            return named[0]
        is_other = self.maps and self.maps[0].type.strip().upper() == mets.LOGICAL
        return self.maps[0] if len(self.maps) == 1 and not is_other else None


def read_mets(path: str, root: Element) -> MetsReading:
    """Return what a METS document says."""
    header = first(root, f"{_PREFIX}metsHdr")
    sections, groups = _sections(path, root)
    return MetsReading(
        path=path,
        place=place_of(path, root),
        profile=(root.get("PROFILE") or "").strip(),
        has_header=header is not None,
        created=_attribute(header, "CREATEDATE"),
        changed=_attribute(header, "LASTMODDATE"),
        creators=_creators(header),
        sections=sections,
        groups=groups,
        files=tuple(_files(path, root)),
        maps=tuple(_map(path, each) for each in root.iterchildren(f"{_PREFIX}structMap")),
        pointed=frozenset(
            identifier
            for each in root.iter(f"{_PREFIX}fptr", f"{_PREFIX}area")
            if (identifier := each.get("FILEID")) is not None
        ),
        described=frozenset(
            target
            for each in root.iter(f"{_PREFIX}div", f"{_PREFIX}file", f"{_PREFIX}stream")
            for target in (each.get("DMDID") or "").split()
        ),
    )


def _attribute(element: Element | None, name: str) -> str:
    return "" if element is None else (element.get(name) or "").strip()


def _creators(header: Element | None) -> tuple[str, ...]:
    if header is None:
        return ()
    agents = header.iterchildren(f"{_PREFIX}agent")
    return tuple(text_of(each, f"{_PREFIX}name") for each in agents if each.get("ROLE") == mets.CREATOR)


# ------------------------------------------------------------------------------------ metadata sections


def _sections(path: str, root: Element) -> tuple[tuple[Section, ...], dict[str, tuple[str, ...]]]:
    sections = [
        _section(path, each, is_main=number == 0)
        for number, each in enumerate(root.iterchildren(f"{_PREFIX}dmdSec"))
    ]
    groups: dict[str, tuple[str, ...]] = {}
    for group in root.iterchildren(f"{_PREFIX}amdSec"):
        within = [_section(path, each) for each in group.iterchildren(f"{_PREFIX}*")]
        if identifier := group.get("ID"):
            groups[identifier] = tuple(each.identifier for each in within)
        sections += within
    return tuple(sections), groups


def _section(path: str, element: Element, *, is_main: bool = False) -> Section:
    within = describe(element)
    wrap, reference = first(element, f"{_PREFIX}mdWrap"), first(element, f"{_PREFIX}mdRef")
    data = first(wrap, f"{_PREFIX}xmlData") if wrap is not None else None
    children = [] if data is None else [each for each in data if isinstance(each.tag, str)]
    roots = tuple((namespace_of(each), local(each)) for each in children)
    binary = wrap is not None and first(wrap, f"{_PREFIX}binData") is not None
    holds_mods = any(namespace == mods.NAMESPACE for namespace, _ in roots)
    return Section(
        name=local(element),
        identifier=element.get("ID") or "",
        place=place(path, line_of(element), within),
        announced=_attribute(wrap, "MDTYPE") or _attribute(reference, "MDTYPE"),
        is_empty=not (roots or binary) and reference is None,
        roots=roots,
        reference=None if reference is None else _reference(path, reference),
        mix=() if data is None or holds_mods else tuple(mix_records(path, data, within)),
        premis=() if data is None or holds_mods else tuple(premis_entities(path, data, within)),
        mods=tuple(mods_records(path, data, within, is_main=is_main))
        if data is not None and holds_mods
        else (),
    )


def _reference(path: str, element: Element) -> ListedFile:
    return _listed(path, element, (_pointer(path, element),))


# ------------------------------------------------------------------------------------------------ files


def _files(path: str, root: Element) -> Iterator[ListedFile]:
    """Yield all files; nested groups and files too. The USE of a group holds for what is below it."""
    uses: dict[Element, str] = {}
    for section in root.iterchildren(f"{_PREFIX}fileSec"):
        for element in section.iter(f"{_PREFIX}fileGrp", f"{_PREFIX}file"):
            above = element.getparent()
            use = (element.get("USE") or "").strip() or (uses.get(above, "") if above is not None else "")
            uses[element] = use
            if element.tag == f"{_PREFIX}file":
                within = describe(element)
                locations = element.iterchildren(f"{_PREFIX}FLocat")
                pointers = tuple(_pointer(path, each, within) for each in locations)
                yield _listed(path, element, pointers, use)


def _pointer(path: str, element: Element, within: str = "") -> Pointer:
    return Pointer(place_of(path, element, within), element.get(xlink.HREF), _attribute(element, "LOCTYPE"))


def _listed(path: str, element: Element, pointers: tuple[Pointer, ...], use: str = "") -> ListedFile:
    return ListedFile(
        identifier=element.get("ID") or "",
        place=place_of(path, element),
        pointers=pointers,
        media_type=_attribute(element, "MIMETYPE"),
        size=_attribute(element, "SIZE"),
        checksum=_attribute(element, "CHECKSUM"),
        checksum_type=_attribute(element, "CHECKSUMTYPE"),
        sections=tuple((element.get("ADMID") or "").split()),
        use=use,
        has_content=first(element, f"{_PREFIX}FContent") is not None,
    )


# -------------------------------------------------------------------------------------------- structure


def _map(path: str, element: Element) -> StructureMap:
    top = first(element, f"{_PREFIX}div")
    return StructureMap(
        type=_attribute(element, "TYPE"),
        place=place_of(path, element),
        root=None if top is None else _divisions(path, top),
    )


def _divisions(path: str, top: Element) -> Division:
    """Return the tree of divisions, made without calling itself: there may be thousands of levels."""
    root = _division(path, top)
    waiting = [(top, root)]
    while waiting:
        element, made = waiting.pop()
        for child in element.iterchildren(f"{_PREFIX}div"):
            below = _division(path, child)
            made.children.append(below)
            waiting.append((child, below))
    return root


def _division(path: str, element: Element) -> Division:
    pointers = list(element.iterchildren(f"{_PREFIX}fptr"))
    files = [
        identifier
        for pointer in pointers
        for each in pointer.iter(f"{_PREFIX}fptr", f"{_PREFIX}area")
        if (identifier := each.get("FILEID")) is not None
    ]
    return Division(
        place=place_of(path, element),
        label=_attribute(element, "LABEL"),
        order=element.get("ORDER"),
        order_label=_attribute(element, "ORDERLABEL"),
        type=_attribute(element, "TYPE"),
        files=tuple(dict.fromkeys(files)),
        has_pointers=bool(pointers) or first(element, f"{_PREFIX}mptr") is not None,
    )


def digest_name(checksum_type: str) -> str:
    """Return the name that bag manifests use for an algorithm of METS, MIX or PREMIS; empty if unknown."""
    plain = re.sub(r"[^a-z0-9]", "", checksum_type.lower())
    return plain if plain in mets.DIGESTS.values() else ""
