"""METS 1.12.1, in two editions.

`preservation_mets` describes the masters in full and stands in the preservation bundle. `publication_mets`
describes the access images and is public: no serial numbers, no operator, no location, no masters.

IDs are made from the identifiers of frames, views and sections: a prefix, a full stop, which no identifier
has, and the identifier. So they are unique, and those of frames and views stay when labels change.
Source: METS schema 1.12.1; conventions for digitised items in `docs/decisions/0004-mets-conventions.md`.
"""

from __future__ import annotations

import datetime as dt
import functools
import posixpath
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import PurePosixPath
from urllib.parse import quote

from pipeline import __version__, foliation, layout, premisdoc
from pipeline.describe import mix, mods, premis
from pipeline.describe.events import EventLog, access_id, master_id
from pipeline.model import (
    Derivatives,
    Event,
    Frame,
    FrameRecord,
    Item,
    LightKind,
    Section,
    Settings,
    StoredFile,
    View,
)
from pipeline.specs import mets, xlink
from pipeline.specs import mix as mix_spec
from pipeline.specs import mods as mods_spec
from pipeline.specs import premis as premis_spec
from pipeline.xmldoc import Element, element, with_attributes

_PREFIXES = {
    mets.PREFIX: mets.NAMESPACE,
    mods_spec.PREFIX: mods_spec.NAMESPACE,
    xlink.PREFIX: xlink.NAMESPACE,
    xlink.SCHEMA_INSTANCE_PREFIX: xlink.SCHEMA_INSTANCE,
    premis_spec.PREFIX: premis_spec.NAMESPACE,
}
_ALL_PREFIXES = _PREFIXES | {mix_spec.PREFIX: mix_spec.NAMESPACE}
_make = functools.partial(element, namespace=mets.NAMESPACE)

_ITEM = "dmd-item"
_RIGHTS = "rights-item"
_PHYSICAL, _LOGICAL = "phys-item", "log-item"


@dataclass(frozen=True, slots=True, kw_only=True)
class _File:
    """One file of a group, ready to be written."""

    identifier: str
    frame: Frame
    stored: StoredFile
    href: str
    sections: tuple[str, ...]
    """IDs of the metadata sections that describe it."""


def preservation_mets(
    item: Item,
    settings: Settings,
    records: Mapping[str, FrameRecord],
    derivatives: Mapping[str, Derivatives],
    log: EventLog,
    *,
    now: dt.datetime,
) -> Element:
    """Return the record of the preservation bundle; locations are relative to its metadata folder."""
    happened = log.by_object()
    frames = [frame for frame in item.frames_of() if frame.identifier in records]
    rights = premis.rights_record(item, settings)

    def about(name: str) -> tuple[str, ...]:
        """IDs of the sections on the rights and events of an object."""
        return (*_rights_ids(rights), *map(_event_section_id, happened.get(name, ())))

    masters = [
        _master_file(frame, records[frame.identifier], about(master_id(item, frame))) for frame in frames
    ]
    access = [
        _access_file(
            frame,
            made,
            layout.url(settings.base_url, made.access.path),
            (f"premis-access.{frame.identifier}", *about(access_id(item, frame.identifier))),
        )
        for frame in frames
        if (made := derivatives.get(frame.identifier))
    ]
    groups = {
        mets.MASTER: [each for each in masters if each.frame.kind.is_reading_matter],
        mets.TARGET: [each for each in masters if not each.frame.kind.is_reading_matter],
        mets.ACCESS: access,
    }
    recorder = mix.Recorder(item, settings)
    sections = [
        *(
            _frame_section(item, settings, frame, recorder, records, derivatives, happened)
            for frame in frames
        ),
        _item_section(item, log, happened, rights),
    ]
    return _document(
        item, settings, sections, groups, now=now, prefixes=_ALL_PREFIXES, masters=records.values()
    )


def publication_mets(
    item: Item, settings: Settings, derivatives: Mapping[str, Derivatives], *, now: dt.datetime
) -> Element:
    """Return the public record; locations are relative to it, so they hold in the bundle and on the web."""
    folder = layout.public_metadata_path(item.identifier, "mets.xml").parent
    rights = premis.rights_record(item, settings)
    access = [
        _access_file(frame, made, _relative(made.access.path, folder), _rights_ids(rights))
        for frame in item.frames_of()
        if (made := derivatives.get(frame.identifier))
    ]
    described = [] if rights is None else [_make("amdSec", _rights_section(rights), ID="amd-item")]
    return _document(item, settings, described, {mets.ACCESS: access}, now=now, prefixes=_PREFIXES)


def _document(
    item: Item,
    settings: Settings,
    sections: Iterable[Element],
    groups: Mapping[str, Sequence[_File]],
    *,
    now: dt.datetime,
    prefixes: Mapping[str, str],
    masters: Iterable[FrameRecord] = (),
) -> Element:
    files = {each.identifier for group in groups.values() for each in group}
    described = mods.mods_document(item, settings, recorded_on=now.date(), masters=masters)
    root = _make(
        "mets",
        _header(settings, now),
        _section("dmdSec", _ITEM, mets.MODS, mods_spec.VERSION, described),
        *sections,
        _make("fileSec", *(_group(use, group) for use, group in groups.items() if group)) if files else None,
        _physical_map(item, files),
        _logical_map(item),
        _links(item),
        prefixes=prefixes,
        OBJID=item.identifier,
        LABEL=item.called(item.title.best("en")),
        TYPE=item.kind.value,
    )
    locations = [
        (mets.NAMESPACE, mets.SCHEMA_LOCATION),
        (mods_spec.NAMESPACE, mods_spec.SCHEMA_LOCATION),
        (premis_spec.NAMESPACE, premis_spec.SCHEMA_LOCATION),
        (mix_spec.NAMESPACE, mix_spec.SCHEMA_LOCATION),
    ]
    used = " ".join(f"{name} {place}" for name, place in locations if name in prefixes.values())
    return with_attributes(root, {xlink.SCHEMA_LOCATION: used})


def _header(settings: Settings, now: dt.datetime) -> Element:
    holder = settings.holder.name.best("en")
    unit = settings.unit_name or holder
    return _make(
        "metsHdr",
        _make("agent", _make("name", holder), ROLE="CUSTODIAN", TYPE="ORGANIZATION"),
        _make("agent", _make("name", unit), ROLE="CREATOR", TYPE="ORGANIZATION"),
        _make(
            "agent",
            _make("name", "solander"),
            _make("note", f"version {__version__}"),
            ROLE="CREATOR",
            TYPE="OTHER",
            OTHERTYPE="SOFTWARE",
        ),
        CREATEDATE=now.isoformat(),
    )


# ------------------------------------------------------------------------------------ metadata sections


def _section(name: str, identifier: str, kind: str, version: str, record: Element) -> Element:
    wrapped = _make("mdWrap", _make("xmlData", record), MDTYPE=kind, MDTYPEVERSION=version)
    return _make(name, wrapped, ID=identifier)


def _premis_section(name: str, identifier: str, kind: str, record: Element) -> Element:
    return _section(name, identifier, kind, premis_spec.VERSION, record)


def _rights_ids(record: Element | None) -> tuple[str, ...]:
    return () if record is None else (_RIGHTS,)


def _rights_section(record: Element) -> Element:
    return _premis_section("rightsMD", _RIGHTS, mets.PREMIS_RIGHTS, record)


def _frame_section(
    item: Item,
    settings: Settings,
    frame: Frame,
    recorder: mix.Recorder,
    records: Mapping[str, FrameRecord],
    derivatives: Mapping[str, Derivatives],
    happened: Mapping[str, list[Event]],
) -> Element:
    name, record = frame.identifier, records[frame.identifier]
    image = recorder.document(frame, record)
    master = premis.master_object(item, frame, record, happened.get(master_id(item, frame), ()), settings)
    sections = [
        _section("techMD", f"mix.{name}", mets.MIX, mix_spec.VERSION, image),
        _premis_section("techMD", f"premis.{name}", mets.PREMIS_OBJECT, master),
    ]
    if made := derivatives.get(name):
        access = premis.access_object(item, frame, made, happened.get(access_id(item, name), []), settings)
        sections.append(_premis_section("techMD", f"premis-access.{name}", mets.PREMIS_OBJECT, access))
    return _make("amdSec", *sections, ID=f"amd.{name}")


def _item_section(
    item: Item, log: EventLog, happened: dict[str, list[Event]], rights: Element | None
) -> Element:
    objects = premis.item_objects(item, happened)
    names = ("premis-item", "premis-masters-of-item", "premis-access-of-item")
    return _make(
        "amdSec",
        *(
            _premis_section("techMD", name, mets.PREMIS_OBJECT, each)
            for name, each in zip(names, objects, strict=True)
        ),
        None if rights is None else _rights_section(rights),
        *(
            _premis_section(
                "digiprovMD", _event_section_id(event), mets.PREMIS_EVENT, premisdoc.event_record(event)
            )
            for event in log.events
        ),
        *(
            _premis_section("digiprovMD", f"agent.{number}", mets.PREMIS_AGENT, premisdoc.agent_record(agent))
            for number, agent in enumerate(log.agents, 1)
        ),
        ID="amd-of-item",
    )


def _event_section_id(event: Event) -> str:
    return f"event.{event.identifier}"


# ------------------------------------------------------------------------------------------------ files


def _master_file_id(frame: Frame) -> str:
    return f"master.{frame.identifier}"


def _access_file_id(frame: Frame) -> str:
    return f"access.{frame.identifier}"


def _master_file(frame: Frame, record: FrameRecord, about: tuple[str, ...]) -> _File:
    return _File(
        identifier=_master_file_id(frame),
        frame=frame,
        stored=record.master,
        href=_relative(layout.master_path(frame), layout.METADATA),
        sections=(f"mix.{frame.identifier}", f"premis.{frame.identifier}", *about),
    )


def _access_file(frame: Frame, made: Derivatives, href: str, sections: tuple[str, ...]) -> _File:
    return _File(
        identifier=_access_file_id(frame), frame=frame, stored=made.access, href=href, sections=sections
    )


def _relative(path: PurePosixPath, folder: PurePosixPath) -> str:
    return quote(posixpath.relpath(path, folder), safe="/")


def _group(use: str, group: Sequence[_File]) -> Element:
    return _make("fileGrp", *(_file(each, number) for number, each in enumerate(group, 1)), USE=use)


def _file(each: _File, number: int) -> Element:
    fixity = each.stored.fixity[0]
    location = with_attributes(
        _make("FLocat", LOCTYPE=mets.URL), {xlink.TYPE: xlink.SIMPLE, xlink.HREF: each.href}
    )
    return _make(
        "file",
        location,
        ID=each.identifier,
        SEQ=str(number),
        MIMETYPE=each.stored.media_type,
        SIZE=str(each.stored.size_bytes),
        CHECKSUM=fixity.hex_digest,
        CHECKSUMTYPE=mets.CHECKSUM_TYPES[fixity.algorithm],
        GROUPID=each.frame.identifier,
        ADMID=" ".join(each.sections) or None,
    )


# -------------------------------------------------------------------------------------------- structure


def _division(
    identifier: str | None,
    *children: Element | None,
    label: str,
    kind: str,
    order: int | None = None,
    order_label: str = "",
) -> Element:
    made = _make(
        "div",
        *children,
        ID=identifier,
        TYPE=kind,
        LABEL=label,
        ORDER=None if order is None else str(order),
        ORDERLABEL=order_label or None,
        DMDID=_ITEM if identifier in (_PHYSICAL, _LOGICAL) else None,
    )
    return with_attributes(made, {xlink.LABEL: identifier}) if identifier else made


def _physical_map(item: Item, files: set[str]) -> Element:
    root = _division(
        _PHYSICAL,
        *(_view(view, number, files) for number, view in enumerate(item.views, 1)),
        _proofs(item, len(item.views) + 1, files),
        label=item.title.best("en"),
        kind=item.kind.value,
    )
    return _make("structMap", root, TYPE=mets.PHYSICAL)


def _view(view: View, number: int, files: set[str]) -> Element:
    label = view.label if view.is_captured else f"{view.label} (not captured)"
    lights = len(view.frames) > 1 or any(f.light.kind is not LightKind.NORMAL for f in view.frames)
    children = (
        [_light(frame, place, files) for place, frame in enumerate(view.frames, 1)]
        if lights
        else [pointer for frame in view.frames for pointer in _pointers(frame, files)]
    )
    return _division(
        f"phys.{view.identifier}",
        *children,
        label=label,
        kind=view.kind.value,
        order=number,
        order_label=foliation.order_label(view.label),
    )


def _light(frame: Frame, place: int, files: set[str]) -> Element:
    return _division(None, *_pointers(frame, files), label=str(frame.light), kind="light", order=place)


def _proofs(item: Item, number: int, files: set[str]) -> Element | None:
    """Target and flat frames, which show nothing of the item, in a division of their own at the end."""
    frames = [f for f in item.frames_of() if not f.kind.is_reading_matter and _master_file_id(f) in files]
    if not frames:
        return None
    return _division(
        None,
        *(
            _division(
                None,
                *_pointers(frame, files),
                label=frame.label or frame.note or str(frame.file),
                kind=frame.kind.value,
                order=place,
            )
            for place, frame in enumerate(frames, 1)
        ),
        label="Target and flat frames",
        kind="targets",
        order=number,
    )


def _pointers(frame: Frame, files: set[str]) -> list[Element]:
    return [
        _make("fptr", FILEID=identifier)
        for identifier in (_master_file_id(frame), _access_file_id(frame))
        if identifier in files
    ]


def _logical_map(item: Item) -> Element:
    root = _division(
        _LOGICAL,
        *(_section_division(section) for section in item.sections),
        label=item.title.best("en"),
        kind=item.kind.value,
    )
    return _make("structMap", root, TYPE=mets.LOGICAL)


def _section_division(section: Section) -> Element:
    return _division(
        f"log.{section.identifier}",
        *map(_section_division, section.subsections),
        label=section.label.best("en"),
        kind="section",
    )


def _links(item: Item) -> Element:
    pairs = [(_LOGICAL, _PHYSICAL)] + [
        (f"log.{section.identifier}", f"phys.{view}")
        for section in item.all_sections
        for view in section.views
    ]
    return _make(
        "structLink",
        *(
            with_attributes(_make("smLink"), {xlink.FROM: source, xlink.TO: target})
            for source, target in pairs
        ),
    )
