"""What a library wants of deliveries, as values that answer questions.

Paths of files are those in the bag, ``data/masters/…``, or without ``data/`` where there is no bag. A term
that is not given is None or empty, and allows everything.
"""

from __future__ import annotations

import enum
import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field

from pipeline import sampling
from pipeline.bagprofile import Profile
from pipeline.containers import Limits
from pipeline.delivery.patterns import NUMBER, Pattern
from pipeline.findings import Level
from pipeline.model import Algorithm, MasterFacts, MasterFormat
from pipeline.sampling import SamplingPlan
from pipeline.specification import Specification
from pipeline.specs import bagit


class Role(enum.StrEnum):
    """What the files of a folder are."""

    MASTERS = "masters"
    TARGETS = "targets"
    ACCESS = "access"
    METADATA = "metadata"


class Document(enum.StrEnum):
    """A document that can be asked for."""

    METS = "mets"
    MODS = "mods"
    PREMIS = "premis"
    MIX = "mix"
    """One record for each master, in METS or by itself."""
    MANIFEST = "manifest"
    """A IIIF Presentation manifest."""
    PAGES = "pages"
    """A page list."""


class TargetKind(enum.StrEnum):
    """What a target frame shows."""

    COLOUR = "colour"
    RESOLUTION = "resolution"
    SCALE = "scale"
    FLAT = "flat"


class Serialisation(enum.StrEnum):
    """What a bag may come in."""

    FOLDER = "folder"
    TAR = "tar"
    TAR_GZ = "tar.gz"
    ZIP = "zip"

    @property
    def container(self) -> str:
        """What a container of this kind is called in verdicts."""
        return _CONTAINERS[self]


_CONTAINERS = {
    Serialisation.FOLDER: "folder",
    Serialisation.TAR: "tar archive",
    Serialisation.TAR_GZ: "compressed tar archive",
    Serialisation.ZIP: "zip archive",
}


def in_payload(path: str) -> str:
    """Return a path without the bag's ``data/`` before it."""
    return path.removeprefix(f"{bagit.PAYLOAD}/")


# ------------------------------------------------------------------------------------------------ bag


@dataclass(frozen=True, slots=True, kw_only=True)
class BagTerms:
    """What a bag must be like, apart from its files."""

    name: Pattern | None = None
    versions: tuple[str, ...] = ()
    algorithms_required: tuple[Algorithm, ...] = ()
    algorithms_allowed: tuple[Algorithm, ...] = ()
    """Empty: all."""
    profile: Profile | None = None
    serialisations: tuple[Serialisation, ...] = ()
    labels: tuple[str, ...] = ()
    """That `bag-info.txt` must have."""
    is_fetch_allowed: bool = True

    def match_name(self, name: str) -> dict[str, str] | None:
        """Return the fields of a bag's name; None if the name is not as it must be."""
        return {} if self.name is None else self.name.match(name)

    def allows_version(self, version: str) -> bool:
        """True for a version of BagIt that is accepted."""
        return not self.versions or version in self.versions

    def missing_algorithms(self, present: Iterable[str]) -> tuple[str, ...]:
        """Return the algorithms of manifests that are wanted and not there."""
        there = {each.lower() for each in present}
        return tuple(each.value for each in self.algorithms_required if each not in there)

    def excess_algorithms(self, present: Iterable[str]) -> tuple[str, ...]:
        """Return the algorithms of manifests that are there and not allowed."""
        allowed = {*self.algorithms_allowed, *self.algorithms_required}
        return tuple(each for each in present if self.algorithms_allowed and each.lower() not in allowed)

    def allows_container(self, kind: str) -> bool:
        """True for a kind of container, as verdicts name it, that a bag may come in."""
        return not self.serialisations or kind in {each.container for each in self.serialisations}

    def missing_labels(self, info: Iterable[tuple[str, str]]) -> tuple[str, ...]:
        """Return the labels that `bag-info.txt` must have and has not, or has without a value."""
        there = {label.lower() for label, value in info if value.strip()}
        return tuple(each for each in self.labels if each.lower() not in there)


# -------------------------------------------------------------------------------------------- folders


@dataclass(frozen=True, slots=True, kw_only=True)
class Folders:
    """Which folders of the payload hold what: for the roles that something is asked of."""

    by_role: tuple[tuple[Role, tuple[Pattern, ...]], ...] = ()

    def find(self, path: str) -> tuple[Role, dict[str, str], str] | None:
        """Return what the files of a path's folder are, the folder's fields, and the path below it.

        Of folders inside each other the innermost counts. None for a path in none of them.
        """
        found = [
            (len(folder.segments), role, *match)
            for role, folders in self.by_role
            for folder in folders
            if (match := folder.match_start(in_payload(path)))
        ]
        if not found:
            return None
        _, role, fields, below = max(found, key=lambda each: each[0])
        return role, fields, below

    def role_of(self, path: str) -> Role | None:
        """Return what the files of a path's folder are, or None."""
        found = self.find(path)
        return found[0] if found else None


# ---------------------------------------------------------------------------------------------- names


@dataclass(frozen=True, slots=True, kw_only=True)
class NameTerms:
    """How the files of one role are named."""

    role: Role
    pattern: Pattern | None = None
    """For the path below the folder."""
    numbered_from: int | None = None
    """The first number of each series, which has no gaps."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Gaps:
    """What is wrong with the numbers of one series of files."""

    role: Role
    series: tuple[tuple[str, str], ...]
    """The fields that the series shares, without the number."""
    count: int
    """Numbers that are there."""
    missing: tuple[tuple[int, int], ...] = ()
    """Runs of numbers that are not there: the first and the last of each."""
    too_low: tuple[int, ...] = ()
    """Numbers before the one that the series should begin with."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Names:
    """How files are named."""

    folders: Folders = Folders()
    terms: tuple[NameTerms, ...] = ()
    longest_characters: int | None = None
    is_lower_case: bool = False
    are_others_allowed: bool = True
    """Whether files may lie in none of the folders."""

    def terms_for(self, path: str) -> NameTerms | None:
        """Return the terms for a file's folder, or None."""
        role = self.folders.role_of(path)
        return next((each for each in self.terms if each.role is role), None)

    def match(self, path: str, known: Mapping[str, str] | None = None) -> dict[str, str] | None:
        """Return the fields of a path's folder and name; None if they are not as they must be.

        `known` are fields of the bag's name: a field that is there too must have the same text, the number
        left out. A path in none of the folders has no fields, and is as it must be if others are allowed.
        """
        found = self.folders.find(path)
        if found is None:
            return {} if self.are_others_allowed else None
        role, fields, below = found
        pattern = next((each.pattern for each in self.terms if each.role is role), None)
        own = {} if pattern is None else pattern.match(below)
        if own is None or clashing_fields(fields, own) or clashing_fields(known or {}, fields | own):
            return None
        return fields | own

    def faults(self, path: str) -> tuple[str, ...]:
        """Return in what a file's name breaks the terms for all names, apart from patterns."""
        name = path.rpartition("/")[2]
        longest = self.longest_characters
        return (
            *([f"{len(name)} characters"] if longest is not None and len(name) > longest else ()),
            *(["capital letters"] if self.is_lower_case and name != name.lower() else ()),
        )

    def gaps(self, paths: Iterable[str]) -> tuple[Gaps, ...]:
        """Return the series of numbered files in which numbers are missing or too low, sorted.

        A series is made of files that agree in all fields before their number; files with one number,
        such as a recto and a verso, count once.
        """
        series: dict[tuple[Role, tuple[tuple[str, str], ...]], set[int]] = {}
        for path in paths:
            if counted := self._counted(path):
                role, shared, number = counted
                series.setdefault((role, shared), set()).add(number)
        found = (self._gaps(role, shared, numbers) for (role, shared), numbers in sorted(series.items()))
        return tuple(each for each in found if each.missing or each.too_low)

    def _counted(self, path: str) -> tuple[Role, tuple[tuple[str, str], ...], int] | None:
        terms = self.terms_for(path)
        if terms is None or terms.pattern is None or terms.numbered_from is None:
            return None
        fields = self.match(path)
        if fields is None or not _is_number(fields.get(NUMBER, "")):
            return None
        own = terms.pattern.fields
        behind = set(own[own.index(NUMBER) :])
        shared = tuple(sorted((name, text) for name, text in fields.items() if name not in behind))
        return terms.role, shared, int(fields[NUMBER])

    def _gaps(self, role: Role, shared: tuple[tuple[str, str], ...], numbers: set[int]) -> Gaps:
        first = next(each.numbered_from or 0 for each in self.terms if each.role is role)
        counted = sorted(number for number in numbers if number >= first)
        return Gaps(
            role=role,
            series=shared,
            count=len(numbers),
            missing=tuple(_missing(first, counted)),
            too_low=tuple(sorted(numbers - set(counted))),
        )


def _is_number(text: str) -> bool:
    return text.isascii() and text.isdigit()


def _missing(first: int, numbers: Iterable[int]) -> Iterator[tuple[int, int]]:
    expected = first
    for number in numbers:
        if number > expected:
            yield expected, number - 1
        expected = number + 1


def clashing_fields(one: Mapping[str, str], other: Mapping[str, str]) -> tuple[str, ...]:
    """Return the fields that two names share and do not agree in, the number left out."""
    return tuple(name for name in one if name != NUMBER and other.get(name, one[name]) != one[name])


# --------------------------------------------------------------------------------------------- images


class ColourMode(enum.StrEnum):
    """How the pixels of an image are made up."""

    RGB = "RGB"
    GREY = "grey"


@dataclass(frozen=True, slots=True, kw_only=True)
class ImageTerms:
    """What images of one role must be like. Facts are those of the file's header."""

    formats: tuple[MasterFormat, ...] = ()
    compressions: tuple[str, ...] = ()
    """``none``, ``LZW`` … as the specification writes them."""
    bits_per_channel: tuple[int, ...] = ()
    colour_modes: tuple[ColourMode, ...] = ()
    profiles: tuple[str, ...] = ()
    """Words of the descriptions of ICC profiles."""
    ppi: float | None = None
    ppi_tolerance_percent: float = 0.0
    min_ppi: float | None = None
    min_long_edge_px: int | None = None
    max_long_edge_px: int | None = None
    is_one_image: bool = False
    max_trailing_bytes: int | None = None

    def allows_format(self, facts: MasterFacts) -> bool:
        """True for a file format that is allowed."""
        return not self.formats or facts.format in self.formats

    def allows_compression(self, facts: MasterFacts) -> bool:
        """True for a compression that is allowed."""
        return not self.compressions or not _compressions(facts).isdisjoint(self.compressions)

    def allows_bits(self, facts: MasterFacts) -> bool:
        """True if every channel has a number of bits that is allowed."""
        return not self.bits_per_channel or set(facts.bits_per_sample) <= set(self.bits_per_channel)

    def allows_colour_mode(self, facts: MasterFacts) -> bool:
        """True for a colour mode that is allowed; YCbCr, as JPEG has it, counts as RGB."""
        mode = ColourMode.GREY if facts.is_grey else ColourMode.RGB
        return not self.colour_modes or mode in self.colour_modes

    def allows_profile(self, facts: MasterFacts) -> bool:
        """True if an embedded ICC profile's description contains words that are allowed.

        Case, blanks and punctuation do not count. An image without a profile is never allowed if
        profiles are asked for.
        """
        if not self.profiles:
            return True
        description = _letters(facts.icc.description) if facts.icc else ""
        return any(_letters(each) in description for each in self.profiles)

    @property
    def ppi_range(self) -> tuple[float, float] | None:
        """The lowest and the highest ppi that are allowed, or None if any are."""
        if self.ppi is not None:
            slack = self.ppi * self.ppi_tolerance_percent / 100
            return self.ppi - slack, self.ppi + slack
        return None if self.min_ppi is None else (self.min_ppi, float("inf"))

    def allows_ppi(self, facts: MasterFacts) -> bool:
        """True if the ppi that a file states are allowed across and down; a file must state them then."""
        if self.ppi_range is None:
            return True
        low, high = self.ppi_range
        return facts.ppi is not None and all(low - 0.005 <= each <= high + 0.005 for each in facts.ppi)

    def allows_size(self, facts: MasterFacts) -> bool:
        """True if the long edge has a number of pixels that is allowed."""
        edge_px = max(facts.width_px, facts.height_px)
        return (self.min_long_edge_px or 0) <= edge_px <= (self.max_long_edge_px or edge_px)

    def allows_pages(self, facts: MasterFacts) -> bool:
        """True unless a file holds several images and one is wanted."""
        return not self.is_one_image or facts.page_count == 1


def _compressions(facts: MasterFacts) -> set[str]:
    """The words of a specification that a file's compression answers to."""
    words = {"none" if facts.compression == "Uncompressed" else facts.compression}
    if facts.jpeg2000 and facts.jpeg2000.is_reversible:
        words.add(f"{facts.compression} lossless")
    return words


def _letters(text: str) -> str:
    return "".join(char for char in text.casefold() if char.isalnum())


@dataclass(frozen=True, slots=True, kw_only=True)
class Images:
    """What images must be like, by what their folder holds."""

    folders: Folders = Folders()
    by_role: tuple[tuple[Role, ImageTerms], ...] = ()

    def for_path(self, path: str) -> ImageTerms:
        """Return the terms for a file's folder; terms that allow everything if there are none."""
        role = self.folders.role_of(path)
        return next((terms for each, terms in self.by_role if each is role), ImageTerms())


# ------------------------------------------------------------------------------------------- metadata


@dataclass(frozen=True, slots=True, kw_only=True)
class MetadataTerms:
    """Which documents must be there, and what in them."""

    documents: frozenset[Document] = frozenset()
    mods_elements: tuple[tuple[str, ...], ...] = ()
    """Elements of MODS, alone or as a path (``titleInfo/title``); of each tuple one will do."""
    mix_values: tuple[tuple[str, ...], ...] = ()
    """Leaves of MIX by their names; of each tuple one will do."""

    def missing_mods(self, present: Iterable[str]) -> tuple[str, ...]:
        """Return what a MODS record has not, of the paths of its elements that have content."""
        return _lacking(self.mods_elements, present)

    def missing_mix(self, present: Iterable[str]) -> tuple[str, ...]:
        """Return what a MIX record has not, of the names of its leaves that have a value."""
        return _lacking(self.mix_values, present)


def _lacking(wanted: Iterable[tuple[str, ...]], present: Iterable[str]) -> tuple[str, ...]:
    there = set(present)
    return tuple(" or ".join(each) for each in wanted if there.isdisjoint(each))


@dataclass(frozen=True, slots=True, kw_only=True)
class ChecksumTerms:
    """What checksums the documents must state."""

    algorithms: tuple[Algorithm, ...] = ()
    """One of these; empty: any."""
    is_every_file: bool = False
    """METS must have one for every file."""


# -------------------------------------------------------------------------------------------- targets

WORDS = {
    TargetKind.COLOUR: ("colour", "color", "24-patch"),
    TargetKind.RESOLUTION: ("resolution", "slanted", "sfr"),
    TargetKind.SCALE: ("scale", "ruler"),
    TargetKind.FLAT: ("flat", "white"),
}
"""By what a target is known if the specification does not say."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TargetTerms:
    """Which target frames there must be."""

    required: tuple[TargetKind, ...] = ()
    is_each_session: bool = False
    """Each session must have one of each kind; else the bundle."""
    every_frames: int | None = None
    """One of each kind at least for so many frames."""
    is_first_and_last: bool = False
    """The first and last frame of a session must be targets."""
    words: tuple[tuple[TargetKind, tuple[str, ...]], ...] = tuple(WORDS.items())

    def kinds_of(self, *texts: str) -> frozenset[TargetKind]:
        """Return what a target shows, by how words in its name, label, note or record begin."""
        found = [f" {_words(text)}" for text in texts]
        return frozenset(
            kind
            for kind, words in self.words
            if any(f" {_words(word)}" in text for word in words for text in found)
        )

    def count_for(self, frames: int) -> int:
        """Return how many targets of each kind so many frames need."""
        return max(1, -(-frames // self.every_frames)) if self.every_frames else 1


def _words(text: str) -> str:
    return " ".join(re.findall(r"[^\W_]+", text.casefold()))


# ----------------------------------------------------------------------------------- views, sampling


@dataclass(frozen=True, slots=True, kw_only=True)
class ViewTerms:
    """What readers must be given."""

    are_surrogates_required: bool = False
    """Each master has an access image."""
    max_picture_difference: float | None = None
    """How far an access image may be from its master: 1 − the correlation of both as small grey pictures,
    0 for the same picture."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SamplingTerms:
    """How many frames are inspected by eye (ISO 2859-1)."""

    is_all: bool = False
    """Every frame is inspected."""
    level: sampling.Level = sampling.Level.II
    aql: float | None = None
    """Acceptance quality limit in per cent; None: nothing is said."""
    severity: sampling.Severity = sampling.Severity.NORMAL
    seed: str = ""
    is_by_session: bool = False

    def plan_for(self, lot_size: int) -> SamplingPlan | None:
        """Return the plan for a lot of so many frames; None if none is asked for or there are no frames.

        If every frame is inspected, none may be nonconforming.
        """
        if lot_size < 1 or not (self.is_all or self.aql):
            return None
        if self.aql is None:
            letter = sampling.code_letter(lot_size, self.level)
            return SamplingPlan(
                code_letter=letter,
                plan_letter=letter,
                sample_size=lot_size,
                accept=0,
                reject=1,
                is_whole_lot=True,
            )
        return sampling.plan(lot_size, self.level, self.aql, self.severity)

    def choose(self, frames: Iterable[str], session_of: Mapping[str, str] | None = None) -> tuple[str, ...]:
        """Return the frames that are inspected, in the order in which they were drawn."""
        lot = sorted(set(frames))
        plan = self.plan_for(len(lot))
        if plan is None:
            return ()
        return sampling.choose(
            lot, plan.sample_size, self.seed, session_of=session_of if self.is_by_session else None
        )


# ------------------------------------------------------------------------------------------ the whole


@dataclass(frozen=True, slots=True, kw_only=True)
class DeliverySpecification:
    """A library's own terms for what contractors deliver."""

    identifier: str = ""
    title: str = ""
    version: str = ""
    holder: str = ""
    note: str = ""
    bag: BagTerms = BagTerms()
    folders: Folders = Folders()
    names: Names = Names()
    images: Images = Images()
    imaging: Specification | None = None
    """Tolerances of imaging quality."""
    metadata: MetadataTerms = MetadataTerms()
    targets: TargetTerms = TargetTerms()
    checksums: ChecksumTerms = ChecksumTerms()
    views: ViewTerms = ViewTerms()
    sampling: SamplingTerms = SamplingTerms()
    limits: Limits = field(default_factory=Limits)
    severity: Mapping[str, Level | None] = field(default_factory=dict)
    """By the code of a rule, what its findings weigh; None: the rule is off. Codes are not checked here."""

    @property
    def is_given(self) -> bool:
        """False for `DEFAULT`: no terms were given."""
        return bool(self.identifier)

    @property
    def citation(self) -> str:
        """The specification as a finding cites it."""
        return f"{self.title}, version {self.version}" if self.is_given else ""

    def level_of(self, code: str, own: Level) -> Level | None:
        """Return what a finding weighs whose rule gives it the level `own`; None: it is not reported."""
        return self.severity.get(code, own)


DEFAULT = DeliverySpecification()
"""Nothing is asked for beyond the standards."""
