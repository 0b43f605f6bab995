"""Rules of a delivery specification: a library's own terms for what contractors deliver.

They run only if a specification is given; each cites it.
"""

from __future__ import annotations

import functools
from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from pipeline.delivery import DeliverySpecification, Document, ImageTerms, Role
from pipeline.files import PATH_CHARACTERS
from pipeline.findings import Level, Register, Remark
from pipeline.model import MasterFacts
from pipeline.specification import Measure
from pipeline.specs import bagit
from pipeline.verify.evidence import Bag, Bundle, FileReading, Stated, StatedDigest
from pipeline.verify.page_lists import Row
from pipeline.verify.roles import Picture, is_tile
from pipeline.verify.sessions import Session, sessions, together

TERMS = "the delivery specification in use"
"""Stands in the table of rules; a finding cites the specification by its title."""


@dataclass(frozen=True, kw_only=True)
class DeliveryFacts:
    """A bundle, the terms that it is held against, and what other families learnt of it."""

    bundle: Bundle
    terms: DeliverySpecification
    kind: str
    """What it came in, as verdicts name it."""
    documents: frozenset[Document] = frozenset()
    """Documents that were found."""
    stated: Stated = field(default_factory=Stated)
    """What metadata documents say."""
    rows: tuple[Row, ...] = ()
    """Of page lists."""
    pictures: tuple[Picture, ...] = ()
    is_in_group: bool = False
    """Other bundles of the same item may come with it."""
    missing: tuple[str, ...] = ()
    """Files of which it is told elsewhere that they are missing."""

    @property
    def bag(self) -> Bag:
        """The bag. These rules run over bags alone."""
        assert self.bundle.bag is not None
        return self.bundle.bag

    def images(self) -> Iterator[tuple[FileReading, MasterFacts, ImageTerms]]:
        """Every image that has a header to read and is no tile, with the terms for its folder."""
        for _, reading in sorted(self.bundle.readings.items()):
            image = self.bundle.image_at(reading.path)
            if image and image.facts and not is_tile(reading.path):
                yield reading, image.facts, self.terms.images.for_path(reading.path)

    def with_role(self, role: Role) -> list[str]:
        """Paths of payload files whose folder has a role."""
        folders = self.terms.folders
        return sorted(path for path in self.bag.payload if folders.role_of(path) is role)

    @property
    def lacks_targets(self) -> bool:
        """True if target frames are among the files that are missing: they are told of, and may be enough."""
        return any(self.terms.folders.role_of(path) is Role.TARGETS for path in self.missing)

    @functools.cached_property
    def sessions(self) -> tuple[Session, ...]:
        """The sessions in which masters and targets were made."""
        return sessions(
            self.bundle,
            self.terms.targets,
            masters=self.with_role(Role.MASTERS),
            targets=self.with_role(Role.TARGETS),
            rows=self.rows,
            stated=self.stated,
        )


DELIVERY = Register[DeliveryFacts]("terms of a delivery")

_AGREE = "Make it as the specification says, or agree on other terms before the next delivery."


def _remark(facts: DeliveryFacts, place: str, value: str, limit: str, level: Level | None = None) -> Remark:
    return Remark(place=place, value=value, limit=limit, level=level, source=facts.terms.citation)


def _some(names: Sequence[str], most: int = 5) -> str:
    """Return names in one line, and how many more there are."""
    more = f" and {len(names) - most:,} more" if len(names) > most else ""
    return ", ".join(names[:most]) + more


# ------------------------------------------------------------------------------------------------- bag


@DELIVERY.rule("D001", Level.ERROR, "The bag is not named as agreed", source=TERMS, advice=_AGREE)
def the_bag_is_named_as_agreed(facts: DeliveryFacts) -> Iterator[Remark]:
    """The name of the bag's folder matches the pattern."""
    pattern = facts.terms.bag.name
    if pattern and facts.terms.bag.match_name(facts.bundle.container.name) is None:
        name = facts.bundle.container.name
        yield _remark(facts, facts.bundle.place, name, f"a name such as {pattern.text}")


@DELIVERY.rule("D002", Level.ERROR, "The bag comes in another form than agreed", source=TERMS, advice=_AGREE)
def the_bag_comes_as_agreed(facts: DeliveryFacts) -> Iterator[Remark]:
    """Version of BagIt, kind of archive, and whether files may be left to fetch."""
    terms, place = facts.terms.bag, facts.bundle.place
    major, minor = facts.bag.declaration.version
    if not terms.allows_version(f"{major}.{minor}"):
        yield _remark(facts, place, f"BagIt {major}.{minor}", f"BagIt {' or '.join(terms.versions)}")
    if not terms.allows_container(facts.kind):
        wanted = " or ".join(each.container for each in terms.serialisations)
        yield _remark(facts, place, f"a {facts.kind}", f"a {wanted}")
    if facts.bag.has_fetch and not terms.is_fetch_allowed:
        yield _remark(facts, bagit.FETCH_FILE, "it is there", "no files left to fetch")


@DELIVERY.rule(
    "D003",
    Level.ERROR,
    "Digests are not those agreed",
    source=TERMS,
    advice="Make the manifests with the algorithms that the specification names.",
)
def digests_are_as_agreed(facts: DeliveryFacts) -> Iterator[Remark]:
    """Algorithms that are required are there, others only if they are allowed."""
    present = [each.algorithm for each in facts.bag.manifests]
    for missing in facts.terms.bag.missing_algorithms(present):
        yield _remark(facts, facts.bundle.place, f"no {bagit.manifest_name(missing)}", "one")
    for excess in facts.terms.bag.excess_algorithms(present):
        yield _remark(facts, bagit.manifest_name(excess), excess, "the algorithms that were agreed")


@DELIVERY.rule(
    "D004",
    Level.ERROR,
    "bag-info.txt lacks an element that was agreed",
    source=TERMS,
    advice="Add the element with its value, and make the tag manifests again.",
)
def information_is_as_agreed(facts: DeliveryFacts) -> Iterator[Remark]:
    """Every label that is asked for is there with a value."""
    for label in facts.terms.bag.missing_labels(facts.bag.info):
        yield _remark(facts, f"{bagit.INFO_FILE}, {label}", "none", "a value")


# ----------------------------------------------------------------------------------------------- names


@DELIVERY.rule(
    "D010",
    Level.ERROR,
    "A file is not named as agreed",
    source=TERMS,
    advice="Rename it, in manifests and documents too, or take it out if it was not asked for.",
)
def files_are_named_as_agreed(facts: DeliveryFacts) -> Iterator[Remark]:
    """Each file's folder and name match the patterns; capitals and length are as agreed.

    A folder in which all names are wrong in the same way is told of once.
    """
    names = facts.terms.names
    longest = names.longest_characters or PATH_CHARACTERS
    wrong: dict[tuple[str, str], list[tuple[str, str]]] = defaultdict(list)
    named = _named(facts)
    for path in named:
        faults = [
            (fault, "no capitals" if fault == "capital letters" else f"{longest} characters at most")
            for fault in names.faults(path)
        ]
        if _is_misnamed(facts, path):
            faults.insert(0, (path.rpartition("/")[2], _wanted_name(facts, path)))
        if faults:
            value, limit = ("; ".join(each) for each in zip(*faults, strict=True))
            wrong[path.rpartition("/")[0], limit].append((path, value))
    together = Counter(path.rpartition("/")[0] for path in named)
    for (folder, limit), found in wrong.items():
        if len(found) > _SINGLE and len(found) == together[folder]:
            path, fault = found[0]
            name = path.rpartition("/")[2]
            first = fault if fault.startswith(name) else f"{name}: {fault}"
            value = f"all {len(found):,} names, the first {first}"
            yield _remark(facts, f"{folder}/", value, limit)
        else:
            yield from (_remark(facts, path, value, limit) for path, value in found)


_SINGLE = 3
"""Files of a folder that are misnamed in the same way are told one by one up to here."""


def _is_misnamed(facts: DeliveryFacts, path: str) -> bool:
    """True if a path fits no pattern, or says another thing than the name of the bag."""
    return facts.terms.names.match(path, _bag_fields(facts)) is None


def _bag_fields(facts: DeliveryFacts) -> Mapping[str, str]:
    """What the bag's name tells; nothing if it is wrong itself."""
    return facts.terms.bag.match_name(facts.bundle.container.name) or {}


def _named(facts: DeliveryFacts) -> list[str]:
    """Payload files whose names are agreed on; those of image services have the Image API's names."""
    files = facts.bundle.container.files
    services = {path.rpartition("/")[0] for path in files if path.endswith("/info.json")}
    paths = sorted(facts.bag.payload)
    return [path for path in paths if not is_tile(path) and services.isdisjoint(_above(path))]


def _above(path: str) -> Iterator[str]:
    """Yield the folders that a path lies in, the nearest first."""
    while "/" in path:
        path = path.rpartition("/")[0]
        yield path


def _wanted_name(facts: DeliveryFacts, path: str) -> str:
    terms = facts.terms.names.terms_for(path)
    if facts.terms.folders.find(path) is None:
        return "a file in one of the folders that were agreed"
    pattern = f"a name such as {terms.pattern.text}" if terms and terms.pattern else "a name"
    fields = ", ".join(f"{name} {text}" for name, text in _bag_fields(facts).items())
    is_of_another = fields and facts.terms.names.match(path) is not None
    return f"{pattern}, with what the bag's name says: {fields}" if is_of_another else pattern


@DELIVERY.rule(
    "D011",
    Level.ERROR,
    "Numbers of files have a gap",
    source=TERMS,
    advice="Deliver the files that are missing, or number the files again without a gap.",
)
def numbers_have_no_gaps(facts: DeliveryFacts) -> Iterator[Remark]:
    """Numbered files of one series follow each other from the first number on.

    Left out are folders with a file that is not named as agreed: it may be the one that is missing.
    """
    names = facts.terms.names
    numbered = _named(facts)
    unclear = {names.folders.role_of(path) for path in numbered if _is_misnamed(facts, path)}
    for gaps in names.gaps(path for path in numbered if names.folders.role_of(path) not in unclear):
        series = ", ".join(text for _, text in gaps.series)
        place = f"{facts.bundle.place}, {gaps.role}{f' of {series}' if series else ''}"
        if gaps.missing:
            runs = [str(first) if first == last else f"{first} to {last}" for first, last in gaps.missing]
            yield _remark(facts, place, f"no number {_some(runs, most=20)}", "no gap")
        if gaps.too_low:
            low = ", ".join(map(str, gaps.too_low[:5]))
            yield _remark(facts, place, f"numbers before the first: {low}", "the first number agreed")


# ---------------------------------------------------------------------------------------------- images


@dataclass(frozen=True, slots=True, kw_only=True)
class _Term:
    """One property of images that can be agreed on."""

    allows: Callable[[ImageTerms, MasterFacts], bool]
    found: Callable[[MasterFacts], str]
    wanted: Callable[[ImageTerms], str]


def _ppi(facts: MasterFacts) -> str:
    if facts.ppi is None:
        return "no ppi"
    across, down = facts.ppi
    return f"{across:g} ppi" if across == down else f"{across:g} × {down:g} ppi"


def _ppi_wanted(terms: ImageTerms) -> str:
    low, high = terms.ppi_range or (0.0, 0.0)
    if high == float("inf"):
        return f"≥ {low:g} ppi"
    return f"{low:g} ppi" if low == high else f"{low:g} to {high:g} ppi"


def _edge_wanted(terms: ImageTerms) -> str:
    parts = [
        *([f"≥ {terms.min_long_edge_px:,} px"] if terms.min_long_edge_px else []),
        *([f"≤ {terms.max_long_edge_px:,} px"] if terms.max_long_edge_px else []),
    ]
    return "long edge " + ", ".join(parts)


def _or(values: Iterable[object]) -> str:
    return " or ".join(map(str, values)) or "none"


_TERMS = (
    _Term(
        allows=ImageTerms.allows_format,
        found=lambda facts: facts.format.value,
        wanted=lambda terms: _or(terms.formats),
    ),
    _Term(
        allows=ImageTerms.allows_compression,
        found=lambda facts: f"compression {facts.compression}",
        wanted=lambda terms: f"compression {_or(terms.compressions)}",
    ),
    _Term(
        allows=ImageTerms.allows_bits,
        found=lambda facts: f"{_or(sorted(set(facts.bits_per_sample)))} bits per channel",
        wanted=lambda terms: f"{_or(terms.bits_per_channel)} bits per channel",
    ),
    _Term(
        allows=ImageTerms.allows_colour_mode,
        found=lambda facts: "grey" if facts.is_grey else "RGB",
        wanted=lambda terms: _or(terms.colour_modes),
    ),
    _Term(
        allows=ImageTerms.allows_profile,
        found=lambda facts: f'profile "{facts.icc.description}"' if facts.icc else "no ICC profile",
        wanted=lambda terms: f"profile {_or(terms.profiles)}",
    ),
    _Term(allows=ImageTerms.allows_ppi, found=_ppi, wanted=_ppi_wanted),
    _Term(
        allows=ImageTerms.allows_size,
        found=lambda facts: f"{facts.width_px:,} × {facts.height_px:,} px",
        wanted=_edge_wanted,
    ),
    _Term(
        allows=ImageTerms.allows_pages,
        found=lambda facts: f"{facts.page_count} images in the file",
        wanted=lambda terms: "one image in each file",
    ),
)


DELIVERED = Register[DeliveryFacts]("terms of a delivery for what is read")
"""These need the payload read."""


@DELIVERED.rule(
    "D020",
    Level.ERROR,
    "An image is not as agreed",
    source=TERMS,
    advice="Export it again from the raw capture as the specification says. Resolution and size cannot be "
    "made up afterwards: whether the page may be photographed again is the conservator's decision.",
)
def images_are_as_agreed(facts: DeliveryFacts) -> Iterator[Remark]:
    """Format, compression, bits, colour mode, profile, ppi, size: one finding for each image."""
    for reading, image, terms in facts.images():
        broken = [each for each in _TERMS if not each.allows(terms, image)]
        if broken:
            value = "; ".join(each.found(image) for each in broken)
            yield _remark(facts, reading.path, value, "; ".join(each.wanted(terms) for each in broken))


_FOUND: dict[Measure, Callable[[DeliveryFacts, MasterFacts], float | str]] = {
    Measure.FORMAT: lambda _, image: image.format.value,
    Measure.BITS: lambda _, image: min(image.bits_per_sample, default=0),
    Measure.COLOUR_SPACE: lambda facts, image: _colour_space(facts, image),
    Measure.PPI: lambda _, image: min(image.ppi) if image.ppi else 0.0,
}
"""What an image's header says of what imaging specifications set limits for."""
_ALLOWED: dict[Measure, Callable[[ImageTerms, MasterFacts], bool]] = {
    Measure.FORMAT: ImageTerms.allows_format,
    Measure.BITS: ImageTerms.allows_bits,
    Measure.COLOUR_SPACE: ImageTerms.allows_profile,
    Measure.PPI: ImageTerms.allows_ppi,
}
"""The terms of D020 about the same."""


def _colour_space(facts: DeliveryFacts, image: MasterFacts) -> str:
    description = image.icc.description if image.icc else image.declared_space
    specification = facts.terms.imaging
    return (specification.colour_space(description) if specification else "") or description


@DELIVERED.rule(
    "D021",
    Level.ERROR,
    "A master does not keep the imaging specification",
    source="the imaging specification that the delivery specification names",
    advice="Export it again as the imaging specification says; what the capture lacks cannot be added.",
)
def masters_keep_the_imaging_specification(facts: DeliveryFacts) -> Iterator[Remark]:
    """What a master's header says keeps every limit that is set for it. What D020 tells of is left out."""
    if facts.terms.imaging is None:
        return
    limits = [each for each in facts.terms.imaging.limits if each.measure in _FOUND]
    for reading, image, terms in facts.images():
        if facts.terms.folders.role_of(reading.path) in (Role.MASTERS, Role.TARGETS):
            for limit in limits:
                if not _ALLOWED[Measure(limit.measure)](terms, image):
                    continue
                found = _FOUND[Measure(limit.measure)](facts, image)
                if not limit.allows(found):
                    unit = f" {limit.unit}" if limit.unit and found else ""
                    value = f"{limit.measure.label}: {found or 'not stated'}{unit}"
                    yield Remark(
                        place=reading.path,
                        value=value,
                        limit=limit.text,
                        level=limit.level,
                        source=limit.citation,
                    )


# --------------------------------------------------------------------------------------- documents


@DELIVERY.rule(
    "D030",
    Level.ERROR,
    "A document that was agreed is not there",
    source=TERMS,
    advice="Deliver the document with the bag.",
)
def documents_are_there(facts: DeliveryFacts) -> Iterator[Remark]:
    """METS, MODS, PREMIS, MIX, manifest, page list: those that are asked for."""
    absent = sorted(facts.terms.metadata.documents - facts.documents)
    if absent:
        value = f"no {', no '.join(_DOCUMENTS[each] for each in absent)}"
        yield _remark(facts, facts.bundle.place, value, "one" if len(absent) == 1 else "one of each")


_DOCUMENTS = {
    Document.METS: "METS document",
    Document.MODS: "MODS record",
    Document.PREMIS: "PREMIS record",
    Document.MIX: "MIX record for any master",
    Document.MANIFEST: "IIIF manifest",
    Document.PAGES: "page list",
}


@DELIVERY.rule(
    "D031",
    Level.ERROR,
    "The MODS record lacks an element that was agreed",
    source=TERMS,
    advice="Add the element with its content.",
)
def mods_elements_are_there(facts: DeliveryFacts) -> Iterator[Remark]:
    """Every element that is asked for has content in each record of the item."""
    for record in facts.stated.mods:
        if missing := facts.terms.metadata.missing_mods(record.present):
            yield _remark(facts, record.place, f"no {', '.join(missing)}", "with content")


@DELIVERY.rule(
    "D032",
    Level.ERROR,
    "MIX records lack a value that was agreed",
    source=TERMS,
    advice="Add the value to each of these records. What was not noted at the capture cannot be made up: "
    "tell the library.",
)
def mix_values_are_there(facts: DeliveryFacts) -> Iterator[Remark]:
    """Every value that is asked for is in each record; records that lack the same are told of together."""
    lacking: dict[tuple[str, ...], list[str]] = defaultdict(list)
    for record in facts.stated.mix:
        if missing := facts.terms.metadata.missing_mix(record.present):
            lacking[missing].append(record.file or record.place)
    total = len(facts.stated.mix)
    for missing, files in lacking.items():
        value = f"no {', '.join(missing)} in {len(files):,} of {total:,} records: {_some(files)}"
        yield _remark(facts, facts.bundle.place, value, "a value in each")


@DELIVERY.rule(
    "D033",
    Level.ERROR,
    "A master has no MIX record",
    source=TERMS,
    advice="Add a MIX record for it, and point to it from METS, or name the file in it.",
    requires={"D030"},
)
def masters_have_mix_records(facts: DeliveryFacts) -> Iterator[Remark]:
    """Each master is described by a MIX record. Left out is one that has another name: it may be meant."""
    if Document.MIX in facts.terms.metadata.documents:
        described = {each.file for each in facts.stated.mix}
        wanting = [each.path for each in facts.pictures if each.role is Role.MASTERS]
        for path in wanting:
            if path not in described and path not in facts.missing and not _is_misnamed(facts, path):
                yield _remark(facts, path, "no MIX record", "one")


@DELIVERY.rule(
    "D034",
    Level.ERROR,
    "Documents state checksums of another kind than agreed",
    source=TERMS,
    advice="Make the checksums in the documents with an algorithm that the specification names.",
)
def checksums_are_as_agreed(facts: DeliveryFacts) -> Iterator[Remark]:
    """For each file that METS, PREMIS or MIX has checksums of, one is made as it was agreed."""
    wanted = facts.terms.checksums.algorithms
    strange: dict[tuple[str, str, str], list[StatedDigest]] = defaultdict(list)
    for each in facts.stated.digests if wanted else ():
        if each.algorithms and not set(each.algorithms) & set(wanted):
            strange[each.document, each.standard, " and ".join(each.algorithms)].append(each)
    for (document, standard, algorithms), found in strange.items():
        value = f"{algorithms} in {standard} for {_some([each.what for each in found])}"
        yield _remark(facts, document, value, _or(wanted))


@DELIVERY.rule(
    "D035",
    Level.ERROR,
    "METS has no checksum for a file",
    source=TERMS,
    advice="Add CHECKSUM and CHECKSUMTYPE to the file in METS.",
)
def every_file_has_a_checksum(facts: DeliveryFacts) -> Iterator[Remark]:
    """Every file that METS names has a checksum there, its own or that of its PREMIS object."""
    bare: dict[str, list[str]] = defaultdict(list)
    for each in facts.stated.digests if facts.terms.checksums.is_every_file else ():
        if each.standard == "METS" and not each.algorithms:
            bare[each.document].append(each.what)
    for document, files in bare.items():
        yield _remark(facts, document, f"none for {_some(files)}", "one for each file")


# ----------------------------------------------------------------------------------------- targets


@DELIVERY.rule(
    "D040",
    Level.ERROR,
    "Target frames are missing",
    source=TERMS,
    advice="Deliver the frames of the targets that were photographed in the same set-up. A target that was "
    "not photographed with the pages cannot be made up later.",
)
def targets_are_there(facts: DeliveryFacts) -> Iterator[Remark]:
    """One frame at least of each kind of target, or as many as the number of masters asks for.

    In each session if that was agreed, else in the bundle. Silent if target frames are known to be missing.
    """
    terms = facts.terms.targets
    judged = _sessions(facts) if terms.is_each_session else [together(facts.sessions, facts.bundle.place)]
    for session in judged if terms.required and not facts.lacks_targets else ():
        wanted = terms.count_for(session.pages)
        counts = {kind: session.count(kind) for kind in terms.required}
        lacking = [f"{count} of {kind}" for kind, count in counts.items() if count < wanted]
        if lacking and session.pages:
            value = f"{', '.join(lacking)} for {session.pages:,} master{'s' if session.pages != 1 else ''}"
            yield _remark(facts, session.place, value, f"{wanted} at least of each")


def _sessions(facts: DeliveryFacts) -> list[Session]:
    """The sessions that are named; if none is, the bundle as one. Frames in none are told of by D043."""
    return [each for each in facts.sessions if each.name] or list(facts.sessions)


@DELIVERY.rule(
    "D041",
    Level.ERROR,
    "A folder that was agreed is empty",
    source=TERMS,
    advice="Deliver the files, or tell the library why there are none.",
)
def folders_are_filled(facts: DeliveryFacts) -> Iterator[Remark]:
    """There is one master at least, if the specification says where masters lie.

    If surrogates were agreed and are here, the masters may be in another bundle: that is told between both.
    """
    roles = [role for role, _ in facts.terms.folders.by_role]
    has_surrogates = any(each.role is Role.ACCESS for each in facts.pictures)
    is_half = facts.is_in_group and facts.terms.views.are_surrogates_required and has_surrogates
    if Role.MASTERS in roles and not facts.with_role(Role.MASTERS) and not is_half:
        yield _remark(facts, facts.bundle.place, "no master", "one at least")


@DELIVERY.rule(
    "D043",
    Level.WARNING,
    "Nothing says in which session a frame was made",
    source=TERMS,
    advice="Fill in the column session of the page list.",
)
def sessions_are_told(facts: DeliveryFacts) -> Iterator[Remark]:
    """Page lists name the session of each frame, if terms are for each session.

    If they name none, the bundle is judged as one session, and this is a note.
    """
    terms = facts.terms.targets
    unnamed = (each for session in facts.sessions if not session.name for each in session.frames)
    silent = [each for each in unnamed if each.is_listed or not facts.rows]
    if silent and (terms.is_each_session or terms.is_first_and_last):
        is_one = len(facts.sessions) == 1
        value = "none is named: judged as one" if is_one else _some([each.path for each in silent])
        yield _remark(facts, facts.bundle.place, value, "a session", Level.NOTE if is_one else None)


@DELIVERED.rule(
    "D042",
    Level.ERROR,
    "A session does not begin and end with a target",
    source=TERMS,
    advice="Deliver the target frames that were photographed first and last. If there are none, nobody can "
    "prove that nothing changed during the session: tell the library.",
)
def sessions_begin_and_end_with_targets(facts: DeliveryFacts) -> Iterator[Remark]:
    """The first and the last frame of each session are targets or flats.

    By the times of capture; if a frame of a session has none, by the order of the page list.
    """
    is_wanted = facts.terms.targets.is_first_and_last and not facts.lacks_targets
    for session in _sessions(facts) if is_wanted else ():
        frames = session.in_order
        wrong = [
            f"{which} frame is {each.path}"
            for which, each in (("the first", frames[0]), ("the last", frames[-1]))
            if not each.is_target
        ]
        if wrong and session.pages:
            yield _remark(facts, session.place, "; ".join(wrong), "a target")
