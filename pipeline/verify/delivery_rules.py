"""Rules of a delivery specification: a library's own terms for what contractors deliver.

They run only if a specification is given; each cites it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from pathlib import PurePosixPath

from pipeline.delivery import DeliverySpecification, Document, ImageTerms, Role
from pipeline.files import PATH_CHARACTERS
from pipeline.findings import Level, Register, Remark
from pipeline.model import MasterFacts
from pipeline.specification import Measure
from pipeline.specs import bagit
from pipeline.verify.evidence import Bag, Bundle, FileReading, Pages
from pipeline.verify.file_reading import is_tile

TERMS = "the delivery specification in use"
"""Stands in the table of rules; a finding cites the specification by its title."""


@dataclass(frozen=True, slots=True, kw_only=True)
class DeliveryFacts:
    """A bundle, the terms that it is held against, and what other families learnt of it."""

    bundle: Bundle
    terms: DeliverySpecification
    kind: str
    """What it came in, as verdicts name it."""
    documents: frozenset[Document] = frozenset()
    """Documents that were found."""
    accounts: tuple[Pages, ...] = ()

    @property
    def bag(self) -> Bag:
        """The bag. These rules run over bags alone."""
        assert self.bundle.bag is not None
        return self.bundle.bag

    def pictures(self) -> Iterator[tuple[FileReading, MasterFacts, ImageTerms]]:
        """Every image that decoded and is no tile, with the terms for its folder."""
        for reading in self.bundle.readings.values():
            if reading.image and reading.image.facts and not is_tile(reading.path):
                yield reading, reading.image.facts, self.terms.images.for_path(reading.path)

    def with_role(self, role: Role) -> list[str]:
        """Paths of payload files whose folder has a role."""
        folders = self.terms.folders
        return [path for path in self.bag.payload if folders.role_of(path) is role]


DELIVERY = Register[DeliveryFacts]("terms of a delivery")

_AGREE = "Make it as the specification says, or agree on other terms before the next delivery."


def _remark(facts: DeliveryFacts, place: str, value: str, limit: str) -> Remark:
    return Remark(place=place, value=value, limit=limit, source=facts.terms.citation)


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
    """Each file's folder and name match the patterns; capitals and length are as agreed."""
    names = facts.terms.names
    tiled = _service_folders(facts.bundle)
    for path in facts.bag.payload:
        if any(path.startswith(folder) for folder in tiled) or is_tile(path):
            continue
        if names.match(path) is None:
            yield _remark(facts, path, path.rpartition("/")[2], _wanted_name(facts, path))
        for fault in names.faults(path):
            longest = names.longest_characters or PATH_CHARACTERS
            limit = "no capitals" if fault == "capital letters" else f"{longest} characters at most"
            yield _remark(facts, path, fault, limit)


def _service_folders(bundle: Bundle) -> tuple[str, ...]:
    """Folders of image services: their files have the names that the Image API gives them."""
    info = "/info.json"
    return tuple(path.removesuffix("info.json") for path in bundle.container.entries if path.endswith(info))


def _wanted_name(facts: DeliveryFacts, path: str) -> str:
    terms = facts.terms.names.terms_for(path)
    if terms is None or terms.pattern is None:
        return "a file in one of the folders that were agreed"
    return f"a name such as {terms.pattern.text}"


@DELIVERY.rule(
    "D011",
    Level.ERROR,
    "Numbers of files have a gap",
    source=TERMS,
    advice="Deliver the files that are missing, or number the files again without a gap.",
)
def numbers_have_no_gaps(facts: DeliveryFacts) -> Iterator[Remark]:
    """Numbered files of one series follow each other from the first number on."""
    for gaps in facts.terms.names.gaps(facts.bag.payload):
        series = ", ".join(text for _, text in gaps.series)
        place = f"{facts.bundle.place}, {gaps.role}{f' of {series}' if series else ''}"
        for first, last in gaps.missing:
            run = str(first) if first == last else f"{first} to {last}"
            yield _remark(facts, place, f"no number {run}", "no gap")
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
    return " or ".join(map(str, values))


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


@DELIVERY.rule(
    "D020",
    Level.ERROR,
    "An image is not as agreed",
    source=TERMS,
    advice="Export it again from the raw capture as the specification says. Resolution and size cannot be "
    "made up afterwards: whether the page may be photographed again is the conservator's decision.",
)
def images_are_as_agreed(facts: DeliveryFacts) -> Iterator[Remark]:
    """Format, compression, bits, colour mode, profile, ppi, size: one finding for each image."""
    for reading, image, terms in facts.pictures():
        broken = [each for each in _TERMS if not each.allows(terms, image)]
        if broken:
            value = "; ".join(each.found(image) for each in broken)
            yield _remark(facts, reading.path, value, "; ".join(each.wanted(terms) for each in broken))


_FOUND: dict[Measure, Callable[[DeliveryFacts, MasterFacts], float | str]] = {
    Measure.FORMAT: lambda _, image: image.format.value,
    Measure.BITS: lambda _, image: min(image.bits_per_sample),
    Measure.COLOUR_SPACE: lambda facts, image: _colour_space(facts, image),
    Measure.PPI: lambda _, image: min(image.ppi) if image.ppi else 0.0,
}
"""What an image's header says of what imaging specifications set limits for."""


def _colour_space(facts: DeliveryFacts, image: MasterFacts) -> str:
    description = image.icc.description if image.icc else image.declared_space
    specification = facts.terms.imaging
    return (specification.colour_space(description) if specification else "") or description


@DELIVERY.rule(
    "D021",
    Level.ERROR,
    "A master does not keep the imaging specification",
    source="the imaging specification that the delivery specification names",
    advice="Export it again as the imaging specification says; what the capture lacks cannot be added.",
)
def masters_keep_the_imaging_specification(facts: DeliveryFacts) -> Iterator[Remark]:
    """What a master's header says keeps every limit that is set for it."""
    if facts.terms.imaging is None:
        return
    limits = [each for each in facts.terms.imaging.limits if each.measure in _FOUND]
    for reading, image, _ in facts.pictures():
        if facts.terms.folders.role_of(reading.path) in (Role.MASTERS, Role.TARGETS):
            for limit in limits:
                found = _FOUND[limit.measure](facts, image)
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


# ------------------------------------------------------------------------------- documents and targets


@DELIVERY.rule(
    "D030",
    Level.ERROR,
    "A document that was agreed is not there",
    source=TERMS,
    advice="Deliver the document with the bag.",
)
def documents_are_there(facts: DeliveryFacts) -> Iterator[Remark]:
    """METS, MODS, PREMIS, MIX, manifest, page list: those that are asked for."""
    for document in sorted(facts.terms.metadata.documents - facts.documents):
        yield _remark(facts, facts.bundle.place, f"no {_DOCUMENTS[document]}", "one")


_DOCUMENTS = {
    Document.METS: "METS document",
    Document.MODS: "MODS record",
    Document.PREMIS: "PREMIS record",
    Document.MIX: "MIX record for each master",
    Document.MANIFEST: "IIIF manifest",
    Document.PAGES: "page list",
}


@DELIVERY.rule(
    "D040",
    Level.ERROR,
    "Target frames are missing",
    source=TERMS,
    advice="Deliver the frames of the targets that were photographed in the same set-up. A target that was "
    "not photographed with the pages cannot be made up later.",
)
def targets_are_there(facts: DeliveryFacts) -> Iterator[Remark]:
    """One frame at least of each kind of target, or as many as the number of masters asks for."""
    terms = facts.terms.targets
    frames = len(facts.with_role(Role.MASTERS))
    targets = facts.with_role(Role.TARGETS)
    wanted = terms.count_for(frames)
    for kind in terms.required:
        found = sum(kind in terms.kinds_of(PurePosixPath(path).stem) for path in targets)
        if found < wanted:
            value = f"{found} of the {kind} target for {frames} masters"
            yield _remark(facts, facts.bundle.place, value, f"{wanted} at least")


@DELIVERY.rule(
    "D041",
    Level.ERROR,
    "A folder that was agreed is empty",
    source=TERMS,
    advice="Deliver the files, or tell the library why there are none.",
)
def folders_are_filled(facts: DeliveryFacts) -> Iterator[Remark]:
    """There is one master at least, if the specification says where masters lie."""
    roles = [role for role, _ in facts.terms.folders.by_role]
    if Role.MASTERS in roles and not facts.with_role(Role.MASTERS):
        yield _remark(facts, facts.bundle.place, "no master", "one at least")
