"""Plans of bags over small files that are made for them, and what the bagit library says of sealed ones."""

from __future__ import annotations

import datetime as dt
import hashlib
from collections.abc import Mapping
from pathlib import Path, PurePosixPath

import bagit

from pipeline.digests import digest_bytes
from pipeline.model import Algorithm, Care, Holder, Identifier, Item, ItemKind, LanguageMap, Settings
from pipeline.specs import bagit as bagit_spec
from pipeline.wrap import BagPlan, PayloadEntry, bag_info

NOW = dt.datetime(2026, 3, 10, 12, tzinfo=dt.UTC)
SHA512 = (Algorithm.SHA512,)
TWO = (Algorithm.SHA512, Algorithm.SHA256)

ITEM = Item(
    identifier="msb-014",
    shelfmark="MS B 14",
    kind=ItemKind.CODEX,
    title=LanguageMap((("la", ("Herbarium cum calendario",)), ("en", ("Herbal and calendar",)))),
    care=Care(cleared=True),
    frames=(),
    views=(),
    identifiers=(Identifier(scheme="local", value="catalogue 1873, no. 212"),),
)
SETTINGS = Settings(
    holder=Holder(
        name=LanguageMap((("en", ("Aldermoor Library",)),)),
        address="1 Weir Lane\nAldermoor",
        contact_name="Imaging unit",
        contact_email="imaging@aldermoor.example.org",
        contact_phone="+00 555 0100",
    )
)

PUBLICATION = {
    "iiif/msb-014/manifest.json": b"{}",
    "iiif/msb-014/B14_0001/info.json": b"{}",
    "iiif/msb-014/B14_0001/0,0,512,512/512,/0/default.jpg": b"tile",
    "access/msb-014/B14_0001.jpg": b"access",
    "metadata/msb-014/mods.xml": b"<mods/>",
}
PRESERVATION = {
    "masters/B14_0001.tif": b"master 1",
    "masters/B14_0002.tif": b"master 2",
    "targets/B14_T001.tif": b"target",
    "metadata/mets.xml": b"<mets/>",
    "metadata/quality.json": b"{}",
    "metadata/quality.html": b"<!doctype html>",
    "metadata/item.toml": b"[item]",
    "metadata/pages.csv": b"file",
}


def entry(path: str, source: Path | bytes, algorithms: tuple[Algorithm, ...] = SHA512) -> PayloadEntry:
    """One file of a payload, digested as the stage before would have."""
    data = source.read_bytes() if isinstance(source, Path) else source
    return PayloadEntry(
        path=PurePosixPath(path),
        source=source,
        size_bytes=len(data),
        fixity=digest_bytes(data, algorithms),
    )


def documents(
    payload: Mapping[str, bytes], algorithms: tuple[Algorithm, ...] = SHA512
) -> tuple[PayloadEntry, ...]:
    """A payload that is in memory alone."""
    return tuple(entry(path, data, algorithms) for path, data in payload.items())


def masters(
    payload: Mapping[str, bytes], folder: Path, algorithms: tuple[Algorithm, ...] = SHA512
) -> tuple[PayloadEntry, ...]:
    """A payload of files on disk, written to `folder`."""
    entries = []
    for path, data in payload.items():
        source = folder / path
        source.parent.mkdir(parents=True, exist_ok=True)
        source.write_bytes(data)
        entries.append(entry(path, source, algorithms))
    return tuple(entries)


def plan(
    payload: tuple[PayloadEntry, ...],
    *,
    name: str = "msb-014-preservation",
    profile: str = "https://aldermoor.example.org/any-bag-1.0.json",
    algorithms: tuple[Algorithm, ...] = SHA512,
    settings: Settings = SETTINGS,
) -> BagPlan:
    """A plan of a bag; unless told otherwise it claims a profile that is not ours."""
    info = bag_info(
        ITEM,
        settings,
        kind_description="Preservation bundle: master images, target frames and their description",
        profile_uri=profile,
        payload=payload,
        now=NOW,
        software_version="0.1.0",
    )
    return BagPlan(name=name, payload=payload, info=info, algorithms=algorithms)


def preservation_plan(folder: Path, algorithms: tuple[Algorithm, ...] = SHA512) -> BagPlan:
    """A preservation bundle whose files are in `folder`."""
    return plan(
        masters(PRESERVATION, folder, algorithms),
        profile=bagit_spec.PRESERVATION_PROFILE,
        algorithms=algorithms,
    )


def publication_plan(algorithms: tuple[Algorithm, ...] = SHA512) -> BagPlan:
    """A publication bundle."""
    return plan(
        documents(PUBLICATION, algorithms),
        name="msb-014-publication",
        profile=bagit_spec.PUBLICATION_PROFILE,
        algorithms=algorithms,
    )


def changed(earlier: BagPlan) -> BagPlan:
    """The same bag with another document and one file less."""
    document = documents({"metadata/mets.xml": b"<mets>changed</mets>"})
    return plan((*earlier.payload[1:3], *document), name=earlier.name)


def snapshot(folder: Path) -> dict[str, str]:
    """Every file and folder below `folder`, with the digests of files."""
    return {
        str(path.relative_to(folder)): hashlib.sha256(path.read_bytes()).hexdigest()
        if path.is_file()
        else "folder"
        for path in sorted(folder.rglob("*"))
    }


def library_problems(bag: Path) -> tuple[str, ...]:
    """What the bagit library finds wrong with a bag; nothing if it is valid."""
    try:
        bagit.Bag(str(bag)).validate()
    except bagit.BagValidationError as error:
        return tuple(map(str, error.details)) or (error.message,)
    except (bagit.BagError, OSError, LookupError, ValueError) as error:  # damaged tag files raise anything
        return (repr(error),)
    return ()


def library_info(bag: Path) -> dict[str, str | list[str]]:
    """`bag-info.txt` as the bagit library reads it; a label that is repeated has a list of values."""
    return dict(bagit.Bag(str(bag)).info)
