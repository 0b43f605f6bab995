"""What goes into each of the two bundles of an item: the plans that `pipeline.wrap` seals.

Documents are made here, from what the stages before found; everything else is a file that exists and was
digested when it was read or made. Nothing is read here but the item's own text files.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path, PurePosixPath

from pipeline import __version__, jsondoc, layout, wrap, xmldoc
from pipeline.describe import events, iiif, mets, mods
from pipeline.digests import digest_bytes
from pipeline.findings import Report
from pipeline.frame import PUBLIC, image_files
from pipeline.model import Derivatives, FrameRecord, Settings, StoredFile
from pipeline.record import ItemFolder
from pipeline.specs import bagit
from pipeline.wrap import BagPlan, PayloadEntry


@dataclass(frozen=True, slots=True, kw_only=True)
class Contents:
    """All that the bundles of one item are made from."""

    opened: ItemFolder
    settings: Settings
    records: Mapping[str, FrameRecord]
    derivatives: Mapping[str, Derivatives]
    report: Report
    quality: Mapping[str, jsondoc.JsonValue]
    """The document of quality.json."""
    quality_page: bytes
    frames: Path
    """The folder of the frames' own folders in the workspace."""
    waiver: str
    now: dt.datetime


def publication_plan(contents: Contents) -> BagPlan:
    """Return what any web server can serve: images, manifest, public metadata."""
    item, settings = contents.opened.item, contents.settings
    manifest = iiif.manifest(item, settings, contents.derivatives, contents.records)
    collection = iiif.collection(item, settings)
    public = {
        "mods.xml": mods.mods_document(item, settings, recorded_on=contents.now.date()),
        "mets.xml": mets.publication_mets(item, settings, contents.derivatives, now=contents.now),
    }
    documents = {layout.manifest_path(item.identifier): jsondoc.to_bytes(manifest)}
    for name, root in public.items():
        documents[layout.public_metadata_path(item.identifier, name)] = xmldoc.to_bytes(root)
    if item.volume_set and collection:
        documents[layout.collection_path(item.volume_set.identifier)] = jsondoc.to_bytes(collection)
    entries = [_document(path, data, settings) for path, data in documents.items()]
    for frame, made in contents.derivatives.items():
        folder = contents.frames / frame
        stored = (made.access, *image_files(folder))
        entries += [_file(folder / PUBLIC / each.path, each.path, each) for each in stored]
    return _plan(
        contents,
        layout.publication_name(item.identifier),
        entries,
        description="Publication bundle: access images, IIIF images and manifest",
        profile=bagit.PUBLICATION_PROFILE,
    )


def preservation_plan(contents: Contents) -> BagPlan:
    """Return what goes into long-term storage: masters, targets, and their description in full."""
    opened, settings = contents.opened, contents.settings
    item = opened.item
    documents = {
        "mets.xml": xmldoc.to_bytes(_full_mets(contents)),
        layout.QUALITY.name: jsondoc.to_bytes(contents.quality),
        "quality.html": contents.quality_page,
        "item.toml": opened.item_toml.read_bytes(),
        "pages.csv": opened.pages_csv.read_bytes(),
    }
    entries = [
        _file(
            opened.masters / frame.file, layout.master_path(frame), contents.records[frame.identifier].master
        )
        for frame in item.frames_of()
        if frame.file
    ]
    entries += [_document(layout.METADATA / name, data, settings) for name, data in documents.items()]
    return _plan(
        contents,
        layout.preservation_name(item.identifier),
        entries,
        description="Preservation bundle: master images, target frames and their description",
        profile=bagit.PRESERVATION_PROFILE,
    )


def _full_mets(contents: Contents) -> xmldoc.Element:
    item, settings = contents.opened.item, contents.settings
    log = events.event_log(
        item,
        settings,
        contents.records,
        contents.derivatives,
        contents.report,
        now=contents.now,
        software_version=__version__,
        waiver=contents.waiver,
    )
    return mets.preservation_mets(
        item, settings, contents.records, contents.derivatives, log, now=contents.now
    )


def _plan(
    contents: Contents, name: str, entries: list[PayloadEntry], *, description: str, profile: str
) -> BagPlan:
    payload = tuple(entries)
    info = wrap.bag_info(
        contents.opened.item,
        contents.settings,
        kind_description=description,
        profile_uri=profile,
        payload=payload,
        now=contents.now,
        software_version=__version__,
    )
    return BagPlan(name=name, payload=payload, info=info, algorithms=contents.settings.checksums)


def _file(source: Path, path: PurePosixPath, stored: StoredFile) -> PayloadEntry:
    return PayloadEntry(path=path, source=source, size_bytes=stored.size_bytes, fixity=stored.fixity)


def _document(path: PurePosixPath, data: bytes, settings: Settings) -> PayloadEntry:
    fixity = digest_bytes(data, settings.checksums)
    return PayloadEntry(path=path, source=data, size_bytes=len(data), fixity=fixity)
