"""Rules over the files that METS points at: they are there, all of them, and are what is said of them.

Three registers: pointers need the files around the document, contents need the files read, and what no
document points at can be told only when all documents are known.
"""

from __future__ import annotations

import re
from collections import Counter, defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import PurePosixPath

from pipeline.findings import Level, Register, Remark
from pipeline.model import MasterFacts, MasterFormat
from pipeline.specs import bagit
from pipeline.verify.metadata import sources
from pipeline.verify.metadata.documents import Kind
from pipeline.verify.metadata.knowledge import Knowledge, MetsFacts
from pipeline.verify.metadata.locations import IMAGE_SUFFIXES, Reach, is_uri_reference
from pipeline.verify.metadata.mets_reading import ListedFile, digest_name
from pipeline.verify.roles import is_tile

LOCATIONS = Register[MetsFacts]("locations in METS documents")

_SINGLE = 3
"""Files that are missing from a folder are told one by one up to here, if all of it is gone."""

# --------------------------------------------------------------------------------------------- locations


@LOCATIONS.rule(
    "M030",
    Level.ERROR,
    "A file or reference has no location",
    source=sources.METS + "file, FLocat, mdRef, xlink:href",
    advice="Add an FLocat with xlink:href that leads to the file. The schema leaves it optional; without "
    "it the entry points at nothing.",
)
def files_have_locations(facts: MetsFacts) -> Iterator[Remark]:
    """Every file has an FLocat, or its content in the document, and every FLocat and mdRef has xlink:href."""
    for file in facts.listed:
        if not file.pointers and not file.has_content:
            yield Remark(place=file.place, value="no FLocat", limit="one at least")
    for _, pointer, location in facts.located:
        if location.reach is Reach.UNSAID:
            yield Remark(place=pointer.place, value="no xlink:href", limit="a location")


@LOCATIONS.rule(
    "M031",
    Level.WARNING,
    "A location is not written as a URI",
    source=sources.URI,
    advice="Percent-encode blanks, letters beyond ASCII and the sign % itself: programs that go by the "
    "rules do not find the file otherwise.",
)
def locations_are_uris(facts: MetsFacts) -> Iterator[Remark]:
    """Every location has only characters that a URI reference may have."""
    for _, pointer, location in facts.located:
        text = (pointer.href or "").strip()
        if location.reach not in (Reach.UNSAID, Reach.UNSAFE) and not is_uri_reference(text):
            yield Remark(place=pointer.place, value=f'"{text}"', limit="a URI reference")


@LOCATIONS.rule(
    "M032",
    Level.ERROR,
    "A location leads out of the bundle",
    source=sources.COMMON_PRACTICE,
    advice="Write it relative to the METS document, with slashes: ../masters/b14_0001.tif. It was not "
    "followed.",
)
def locations_stay_inside(facts: MetsFacts) -> Iterator[Remark]:
    """No location is absolute, names a drive, or climbs out of the bundle."""
    for _, pointer, location in facts.located:
        if location.reach is Reach.UNSAFE:
            value = f'"{location.path}" {location.detail}'
            yield Remark(place=pointer.place, value=value, limit="a path inside the bundle")


@LOCATIONS.rule(
    "M033",
    Level.ERROR,
    "A file that METS points at is not there",
    source=sources.METS + "FLocat, mdRef",
    advice="Deliver the file, give it back its name, or correct the location. Locations are relative to the "
    "METS document; the payload folder and the base of the bundle were tried too.",
)
def files_are_there(facts: MetsFacts) -> Iterator[Remark]:
    """Every location that can be in the bundle is a file there. What manifests miss is told by them."""
    missing = list(facts.missing)
    inside = sum(1 for *_, location in facts.located if location.reach is Reach.INSIDE)
    if len(missing) > 1 and not inside:
        _, pointer, location = missing[0]
        value = f'none of {len(missing):,} locations, such as "{pointer.href}" (tried {location.path})'
        yield Remark(place=facts.reading.place, value=value, limit="files in the bundle")
        return
    folders = Counter(location.path.rpartition("/")[0] for _, _, location in missing)
    held = {path.rpartition("/")[0] for path in facts.finder.bundle.container.files}
    lost = {folder for folder, files in folders.items() if files > _SINGLE and folder not in held}
    told: set[str] = set()
    for file, pointer, location in missing:
        folder = location.path.rpartition("/")[0]
        if folder in lost:
            if folder not in told:
                value = f"none of {folders[folder]:,} files in {folder}/"
                yield Remark(place=pointer.place, value=value, limit="the files")
            told.add(folder)
            continue
        renamed = facts.finder.by_digest(digest_name(file.checksum_type), file.checksum)
        detail = f'"{renamed}" has its checksum' if renamed else location.detail
        there = f"; {detail}" if detail else ""
        yield Remark(place=pointer.place, value=f"no {location.path}{there}", limit="a file")


@LOCATIONS.rule(
    "M035",
    Level.ERROR,
    "A file has another size than METS says",
    source=sources.METS + "file, SIZE",
    advice="Look which is right: if the checksum agrees, correct SIZE; if not, deliver the file again.",
)
def sizes_agree(facts: MetsFacts) -> Iterator[Remark]:
    """SIZE is the number of bytes of the file. Of a file with another checksum it is told with that."""
    for file, path in _files_inside(facts):
        is_told = bool(facts.finder.bundle.readings) and facts.finder.reading_of(path) is None
        if _has_other_size(facts, file, path) and not is_told and path not in facts.exchanged:
            value = f"{path} has {facts.finder.size_of(path):,} bytes"
            yield Remark(place=file.place, value=value, limit=f"{int(file.size):,}")


def _has_other_size(facts: MetsFacts, file: ListedFile, path: str) -> bool:
    """True if SIZE is a number and not that of the file; what is no number is the schema's affair."""
    is_number = re.fullmatch(r"[+-]?\d{1,18}", file.size, re.ASCII) is not None
    return is_number and int(file.size) != facts.finder.size_of(path)


@LOCATIONS.rule(
    "M038",
    Level.WARNING,
    "Two entries point at the same file",
    source=sources.METS + "file, FLocat",
    advice="Remove one of the two, or correct its location: one file is listed twice, and perhaps another"
    " is not.",
)
def files_are_listed_once(facts: MetsFacts) -> Iterator[Remark]:
    """No two file elements lead to the same file."""
    owners: dict[str, list[ListedFile]] = defaultdict(list)
    for file in facts.reading.files:
        for path in facts.inside.get(file.place, ()):
            owners[path].append(file)
    for path, (first, *others) in owners.items():
        for each in others:
            yield Remark(
                place=each.place, value=f'{path}, as "{first.identifier}"', limit="a file of its own"
            )


@LOCATIONS.rule(
    "M039",
    Level.WARNING,
    "Files have no checksum",
    source=sources.METS + "file, CHECKSUM, CHECKSUMTYPE",
    advice="Add CHECKSUM and CHECKSUMTYPE, made when the files were: the bag's manifests prove the "
    "journey alone, and are gone once the bag is unpacked.",
)
def files_have_checksums(facts: MetsFacts) -> Iterator[Remark]:
    """Every file has CHECKSUM and CHECKSUMTYPE, or a digest in the PREMIS or MIX record that it names."""
    without = [
        each
        for each in facts.reading.files
        if not (each.checksum and each.checksum_type) and not _has_digest(facts, each)
    ]
    if without:
        value = f"{len(without):,} of {len(facts.reading.files):,} files"
        yield Remark(place=without[0].place, value=value, limit="none")


def _has_digest(facts: MetsFacts, file: ListedFile) -> bool:
    sections = tuple(facts.sections_of(file))
    in_premis = any(each.fixity for section in sections for each in section.objects)
    return in_premis or any(each.fixity for section in sections for each in section.mix)


@LOCATIONS.rule(
    "M040",
    Level.WARNING,
    "Files belong to no page",
    source=sources.METS + "fptr, FILEID",
    advice="Point at the file from the division of its page: who reads the document page by page never "
    "sees it.",
)
def files_belong_to_pages(facts: MetsFacts) -> Iterator[Remark]:
    """Every file is pointed at by a division of some map. A pointer that went astray is told elsewhere."""
    names = {each.identifier for each in facts.reading.files if each.identifier}
    unseen = names - facts.reading.pointed
    without = [each for each in facts.reading.files if each.identifier in unseen]
    if len(without) > len(facts.reading.pointed - names):
        shown = ", ".join(f'"{each.identifier}"' for each in without[:5])
        more = f" and {len(without) - 5:,} more" if len(without) > 5 else ""
        yield Remark(place=without[0].place, value=f"in no fptr: {shown}{more}", limit="none")


def _files_inside(facts: MetsFacts) -> Iterator[tuple[ListedFile, str]]:
    """Yield every entry with each file in the bundle that it leads to."""
    for file in facts.listed:
        for path in facts.inside.get(file.place, ()):
            yield file, path


# ---------------------------------------------------------------------------------------------- contents

CONTENTS = Register[MetsFacts]("contents of the files in METS documents")


@CONTENTS.rule(
    "M036",
    Level.ERROR,
    "A file has another checksum than METS says",
    source=sources.METS + "file, CHECKSUM, CHECKSUMTYPE",
    advice="The file was changed or exchanged between the making of METS and of the bag: its maker must say "
    "which of the two is right. Put the right file in its place, or make METS anew from the file, with its "
    "MIX and PREMIS records. Never copy the new checksum over the old one unasked.",
)
def checksums_agree(facts: MetsFacts) -> Iterator[Remark]:
    """CHECKSUM is the digest of the file. What the bag's manifests find altered is told there alone.

    The size is told with it; what else is said of the file, by MIX and PREMIS too, is said of another one.
    """
    for file, path in _files_inside(facts):
        if digest := facts.other_digest(file, path):
            sizes = ("", "")
            if _has_other_size(facts, file, path):
                sizes = (f", {facts.finder.size_of(path):,} bytes", f", {int(file.size):,} bytes")
            value = f"{path}: {file.checksum_type} {digest}{sizes[0]}"
            yield Remark(place=file.place, value=value, limit=f"{file.checksum}{sizes[1]}")


@CONTENTS.rule(
    "M037",
    Level.ERROR,
    "A file is of another type than METS says",
    source=sources.METS + "file, MIMETYPE",
    advice="Correct MIMETYPE, or deliver the file in the format that was agreed on.",
)
def media_types_agree(facts: MetsFacts) -> Iterator[Remark]:
    """MIMETYPE is the type of the image, as its own first bytes tell."""
    for file, path in _files_inside(facts):
        found = facts.finder.facts_of(path)
        said = file.media_type.partition(";")[0].strip().lower()
        if found is None or not said or said in _media_types(found) or path in facts.exchanged:
            continue
        level = Level.WARNING if said in _SLOPPY.get(found.format, ()) else None
        yield Remark(place=file.place, value=f"{path} is {found.media_type}", limit=said, level=level)


_SLOPPY = {
    MasterFormat.JPEG: ("image/jpg", "image/pjpeg"),
    MasterFormat.TIFF: ("image/tif", "image/x-tiff"),
    MasterFormat.BIGTIFF: ("image/tif", "image/x-tiff"),
    MasterFormat.JP2: ("image/jpeg2000", "image/x-jp2", "image/jpeg2000-image"),
    MasterFormat.PNG: ("image/x-png",),
}
"""Types that nobody registered and many write."""


def _media_types(found: MasterFacts) -> tuple[str, ...]:
    others = ("image/jpx",) if found.format is MasterFormat.JP2 else ()
    return (found.media_type, *others)


# ----------------------------------------------------------------------------------- what nobody points at

UNCLAIMED = Register[Knowledge]("files that no METS document points at")


@dataclass(frozen=True, slots=True, kw_only=True)
class _Unclaimed:
    """Payload files that no METS document points at."""

    wanting: tuple[str, ...]
    """Such as its kind are pointed at."""
    other: tuple[str, ...]


@UNCLAIMED.rule(
    "M034",
    Level.WARNING,
    "No METS document points at a file",
    source=sources.METS + "fileSec",
    advice="Add the file to fileSec and to the division of its page, or take it out of the bundle.",
)
def files_are_pointed_at(facts: Knowledge) -> Iterator[Remark]:
    """METS points at every image, and at all files of a folder if at any of it.

    Left out are METS documents themselves, tag files of a bag, image services of which METS names nothing,
    and images of the same name as one that it names. What no manifest of the bag lists is told there.
    """
    wanting = _unclaimed(facts).wanting
    if len(wanting) <= _lost(facts):
        return
    for path in wanting:
        yield Remark(place=path, value="in no METS document", limit="in one")


@UNCLAIMED.rule(
    "M041",
    Level.NOTE,
    "METS does not tell of all files",
    source=sources.METS + "fileSec",
    advice="Nothing need be done if these are derivatives that METS leaves out on purpose.",
)
def all_files_are_told_of(facts: Knowledge) -> Iterator[Remark]:
    """METS points at every other file of the payload as well; records about the item are left out."""
    other = _unclaimed(facts).other
    if other:
        names = ", ".join(other[:5])
        more = f" and {len(other) - 5:,} more" if len(other) > 5 else ""
        yield Remark(place=facts.finder.bundle.place, value=f"{names}{more}", limit="in METS")


def _unclaimed(facts: Knowledge) -> _Unclaimed:
    claimed = facts.claimed
    listed = any(each.reading.files for each in facts.mets.values())
    if not listed or not claimed:
        return _Unclaimed(wanting=(), other=())
    folders = {path.rpartition("/")[0] for path in claimed}
    stems = {_stem(path) for path in claimed}
    services = _image_services(facts, claimed)
    wanting: list[str] = []
    other: list[str] = []
    for path in _payload(facts):
        if path in claimed or facts.finder.is_stranger_to_bag(path) or _is_below(path, services):
            continue
        is_image = path.lower().endswith(IMAGE_SUFFIXES)
        is_wanted = path.rpartition("/")[0] in folders or (is_image and _stem(path) not in stems)
        if is_wanted:
            wanting.append(path)
        elif not path.lower().endswith(_RECORDS):
            other.append(path)
    return _Unclaimed(wanting=tuple(sorted(wanting)), other=tuple(sorted(other)))


_RECORDS = (".xml", ".json", ".toml", ".csv", ".html", ".txt", ".md")
"""What records about an item are written in; METS is one of them and seldom tells of the others."""


def _lost(facts: Knowledge) -> int:
    """Return how many pointers lead nowhere: they are told of, and as many files are what they mean."""
    return sum(
        location.reach in (Reach.NOWHERE, Reach.UNSAFE, Reach.UNSAID)
        for each in facts.mets.values()
        for _, _, location in each.located
    )


def _stem(path: str) -> str:
    return PurePosixPath(path).stem.lower()


def _payload(facts: Knowledge) -> Iterator[str]:
    """Yield the files that somebody delivered: no METS document, and nothing that a bag adds."""
    bundle = facts.finder.bundle
    own = {each.path for each in facts.documents if each.kind is Kind.METS}
    base = f"{bagit.PAYLOAD}/" if bundle.bag is not None else ""
    for path in bundle.container.files:
        if path.startswith(base) and path not in own:
            yield path


_INFORMATION = "/info.json"


def _image_services(facts: Knowledge, claimed: frozenset[str]) -> frozenset[str]:
    """Return the folders of image services of which METS names nothing: they are left out as a whole."""
    named: set[str] = set()
    for path in claimed:
        named.update(_folders_of(path))
    files = facts.finder.bundle.container.files
    found = {path.removesuffix(_INFORMATION) for path in files if path.endswith(_INFORMATION)}
    tiles = (path for path in files if "/default." in path and path.rsplit("/", 4)[0] not in found)
    found |= {path.rsplit("/", 4)[0] for path in tiles if is_tile(path)}  # T030: the info.json is gone
    return frozenset(folder for folder in found if folder not in named)


def _is_below(path: str, folders: frozenset[str]) -> bool:
    return bool(folders) and any(folder in folders for folder in _folders_of(path))


def _folders_of(path: str) -> Iterator[str]:
    folder = path
    while "/" in folder:
        folder = folder.rpartition("/")[0]
        yield folder
