"""What the words mean: frozen values that the stages hand to each other.

The words are the trade's or the standards' own (`docs/words.md`). Nothing here reads a file; nothing
here knows a format. A value that is absent is None; a sequence is a tuple.
"""

from __future__ import annotations

import datetime as dt
import enum
from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from pathlib import PurePosixPath

from pipeline.measurements import FrameMeasures

# ---------------------------------------------------------------------------------------- choices


class ItemKind(enum.StrEnum):
    """What the physical object is; decides how its views are presented."""

    CODEX = "codex"
    SHEET = "sheet"
    LETTER = "letter"
    SCROLL = "scroll"
    FRAGMENT = "fragment"
    TABLET = "tablet"
    PHOTOGRAPH = "photograph"
    ALBUM = "album"
    MAP = "map"


class FrameKind(enum.StrEnum):
    """What a frame shows."""

    PAGE = "page"
    OPENING = "opening"
    FOLDOUT = "foldout"
    """The unfolded state of a leaf; its folded state keeps its place as a page."""
    COVER = "cover"
    SPINE = "spine"
    EDGE = "edge"
    DETAIL = "detail"
    FACE = "face"
    TARGET = "target"
    FLAT = "flat"

    @property
    def is_reading_matter(self) -> bool:
        """False for targets and flats, which prove the image but are not shown to readers."""
        return self not in (FrameKind.TARGET, FrameKind.FLAT)


class LightKind(enum.StrEnum):
    """How the object was lit."""

    NORMAL = "normal"
    RAKING = "raking"
    TRANSMITTED = "transmitted"
    ULTRAVIOLET = "ultraviolet"
    INFRARED = "infrared"


class ViewingDirection(enum.StrEnum):
    """How the views are laid out (IIIF Presentation 3.0, viewingDirection)."""

    LEFT_TO_RIGHT = "left-to-right"
    RIGHT_TO_LEFT = "right-to-left"
    TOP_TO_BOTTOM = "top-to-bottom"
    BOTTOM_TO_TOP = "bottom-to-top"


class EquipmentKind(enum.StrEnum):
    """What an entry of the equipment register is."""

    CAMERA = "camera"
    SCANNER = "scanner"
    LENS = "lens"
    LIGHT = "light"
    SUPPORT = "support"
    TARGET = "target"


class ImageDelivery(enum.StrEnum):
    """How the images of a publication bundle are served."""

    TILES = "tiles"
    """A static IIIF Image API 3.0 level 0 tree; any web server will do."""
    PYRAMID_TIFF = "pyramid-tiff"
    """One tiled pyramid TIFF per frame, for a site with an image server."""
    JP2 = "jp2"
    """One JPEG 2000 file per frame, for a site with an image server."""


class Algorithm(enum.StrEnum):
    """Digest algorithms, named as bag manifests name them (RFC 8493, section 2.4)."""

    SHA512 = "sha512"
    SHA256 = "sha256"
    SHA1 = "sha1"
    MD5 = "md5"


# ---------------------------------------------------------------------------------- language and fixity


@dataclass(frozen=True, slots=True)
class LanguageMap:
    """Text in one or several languages: pairs of a BCP 47 tag (or ``none``) and its texts, in order."""

    entries: tuple[tuple[str, tuple[str, ...]], ...] = ()

    @classmethod
    def of(cls, text: str, language: str = "none") -> LanguageMap:
        """Return a map with one text."""
        return cls(((language, (text,)),))

    def __bool__(self) -> bool:
        """True if there is any text."""
        return any(text for _, texts in self.entries for text in texts)

    @property
    def first(self) -> str:
        """The first text of the first language, or nothing."""
        return next((text for _, texts in self.entries for text in texts), "")

    def best(self, *languages: str) -> str:
        """The first text in the first of `languages` that there is, else `first`."""
        by_language = dict(self.entries)
        return next((by_language[tag][0] for tag in languages if by_language.get(tag)), self.first)


@dataclass(frozen=True, slots=True, order=True)
class Fixity:
    """One digest of one stream of bytes, in lower-case hexadecimal."""

    algorithm: Algorithm
    hex_digest: str


@dataclass(frozen=True, slots=True, kw_only=True)
class StoredFile:
    """A file that exists and was digested: what manifests, METS and PREMIS say of it."""

    path: PurePosixPath
    """Relative to whatever holds it; never absolute, never upwards."""
    size_bytes: int
    fixity: tuple[Fixity, ...]
    media_type: str

    def digest(self, algorithm: Algorithm) -> str:
        """The digest by `algorithm`. Raises KeyError if it was not computed."""
        return {each.algorithm: each.hex_digest for each in self.fixity}[algorithm]


# --------------------------------------------------------------------------------------- item record


@dataclass(frozen=True, slots=True, kw_only=True)
class Light:
    """The light of a frame: its kind, and what tells it from others of its kind (``left``, ``940 nm``)."""

    kind: LightKind = LightKind.NORMAL
    qualifier: str = ""

    def __str__(self) -> str:
        """Return it as it is written in pages.csv."""
        return f"{self.kind} {self.qualifier}".strip()


@dataclass(frozen=True, slots=True, kw_only=True)
class Frame:
    """One row of pages.csv: one captured image file, or a view that was not captured."""

    identifier: str
    """Unique in the item; safe in a URL and as a file name; made from the file's name."""
    file: PurePosixPath | None
    """The master, relative to the masters' folder; None for a view that was not captured."""
    label: str
    kind: FrameKind
    session: str
    light: Light = Light()
    note: str = ""
    row: int = 0
    """The row of pages.csv, the header being row 1; 0 when there was no pages.csv."""


@dataclass(frozen=True, slots=True, kw_only=True)
class View:
    """What a reader turns to, one IIIF canvas: one frame, or several of the same thing in other light.

    Targets and flats are none.
    """

    identifier: str
    label: str
    kind: FrameKind
    frames: tuple[Frame, ...]
    """In the order of pages.csv, normal light first. Empty for a view that was not captured."""
    order: int
    """Place in reading order, from 1."""

    @property
    def is_captured(self) -> bool:
        """False for a view that is known to exist but of which there is no frame."""
        return bool(self.frames)


@dataclass(frozen=True, slots=True, kw_only=True)
class Section:
    """A named run of views: a IIIF range and a METS logical division. Sections nest, never cross."""

    identifier: str
    label: LanguageMap
    views: tuple[str, ...]
    """Identifiers of all views of the run, those of its subsections included."""
    subsections: tuple[Section, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Care:
    """The conservator's assessment before capture. solander records it and never makes it."""

    cleared: bool
    assessed_by: str = ""
    assessed_on: dt.date | None = None
    largest_opening_deg: float | None = None
    support: str = ""
    handling: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Session:
    """Frames made at one set-up on one day. Equipment is named by its id in the register."""

    identifier: str
    date: dt.date
    operator: str = ""
    camera: str = ""
    lens: str = ""
    lights: tuple[str, ...] = ()
    support: str = ""
    targets: tuple[str, ...] = ()
    ppi: float | None = None
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Person:
    """Somebody who had to do with the object, with a role and, if known, its marcrelator code."""

    name: str
    role: str
    role_code: str = ""
    uri: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Identifier:
    """An identifier of the object in some scheme: doi, ark, uri, local …"""

    scheme: str
    value: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Volume:
    """One member of a set of volumes."""

    item: str
    """The item id of the volume."""
    label: LanguageMap


@dataclass(frozen=True, slots=True, kw_only=True)
class VolumeSet:
    """Several volumes under one shelfmark: a IIIF Collection. Every volume's record names them all."""

    identifier: str
    label: LanguageMap
    volumes: tuple[Volume, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Item:
    """One physical object under one shelfmark, as item.toml and pages.csv describe it."""

    identifier: str
    shelfmark: str
    kind: ItemKind
    title: LanguageMap
    care: Care
    frames: tuple[Frame, ...]
    """In the order of pages.csv, which is the reading order."""
    views: tuple[View, ...]
    sections: tuple[Section, ...] = ()
    sessions: tuple[Session, ...] = ()
    summary: LanguageMap = LanguageMap()
    date: str = ""
    date_range: tuple[int, int] | None = None
    place: str = ""
    languages: tuple[str, ...] = ()
    """BCP 47 tags."""
    script: str = ""
    """ISO 15924 code."""
    material: str = ""
    extent: str = ""
    size_mm: tuple[float, ...] = ()
    """Height, width and, for three-dimensional objects, depth."""
    condition: str = ""
    people: tuple[Person, ...] = ()
    identifiers: tuple[Identifier, ...] = ()
    collection: str = ""
    """The collection or fonds that the item belongs to."""
    catalogue_url: str = ""
    reading: ViewingDirection = ViewingDirection.LEFT_TO_RIGHT
    follows_foliation: bool = True
    """False for an item whose leaves do not stand in the order of their numbers (misbound, rearranged)."""
    start: str = ""
    """Identifier of the view that a reader meets first; empty for the first view."""
    rights: str = ""
    """Rights URI; empty for the unit's default."""
    credit: LanguageMap = LanguageMap()
    metadata: tuple[tuple[LanguageMap, LanguageMap], ...] = ()
    """Further pairs of label and value, shown as they are."""
    volume_set: VolumeSet | None = None

    def session(self, identifier: str) -> Session | None:
        """The session of that id, if there is one."""
        return next((each for each in self.sessions if each.identifier == identifier), None)

    def called(self, title: str) -> str:
        """Shelfmark and title as one line; the shelfmark alone where the title says no more."""
        return self.shelfmark if title in ("", self.shelfmark) else f"{self.shelfmark}: {title}"

    def frames_of(self, *kinds: FrameKind) -> tuple[Frame, ...]:
        """The captured frames of `kinds`, or all captured frames, in order."""
        return tuple(f for f in self.frames if f.file is not None and (not kinds or f.kind in kinds))

    @property
    def all_sections(self) -> Iterator[Section]:
        """Every section, each before its subsections."""
        waiting = list(reversed(self.sections))
        while waiting:
            section = waiting.pop()
            yield section
            waiting += reversed(section.subsections)


# ------------------------------------------------------------------------------------- unit settings


@dataclass(frozen=True, slots=True, kw_only=True)
class Equipment:
    """One entry of the equipment register: what the unit owns or has owned."""

    identifier: str
    kind: EquipmentKind
    maker: str = ""
    model: str = ""
    serial: str = ""
    owned_from: dt.date | None = None
    owned_until: dt.date | None = None
    sensor: str = ""
    """For cameras and scanners, a MIX 2.0 cameraSensor or scannerSensor term."""
    light_source: str = ""
    """For lights, a MIX 2.0 lightSource term."""
    focal_length_mm: float | None = None
    medium: str = ""
    """For targets: what it is made of."""
    pitch_mm: tuple[float, float] | None = None
    """For colour targets: from patch to patch, across and down, as measured."""
    measured: str = ""
    """For colour targets: path of the file with its own measurement; empty if there is none."""
    name: str = ""
    """What the unit calls it; for targets the name of the kind, such as 24-patch colour target."""
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Holder:
    """Who keeps the object and answers for its images."""

    name: LanguageMap
    identifier: str = ""
    """A URI for the institution; its homepage if it has no other."""
    homepage: str = ""
    logo: str = ""
    """URL of an image."""
    address: str = ""
    contact_name: str = ""
    contact_email: str = ""
    contact_phone: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """The unit's settings, solander.toml, or what serves on a laptop without one."""

    holder: Holder
    unit_name: str = ""
    base_url: str = "http://localhost:8000"
    """Without a slash at its end."""
    base_url_is_default: bool = True
    images: ImageDelivery = ImageDelivery.TILES
    image_service_url: str = ""
    """Base of the image server, for `ImageDelivery.PYRAMID_TIFF` and `JP2`."""
    tile_px: int = 512
    access_long_edge_px: int = 3000
    jpeg_quality: int = 88
    rights: str = ""
    credit: LanguageMap = LanguageMap()
    checksums: tuple[Algorithm, ...] = (Algorithm.SHA512,)
    id_prefix: str = "urn:solander:item:"
    """What identifiers of objects in long-term storage begin with, before the bag's External-Identifier."""
    untagged_profile: str = ""
    """Path of the ICC profile that an untagged frame is taken to be in, or ``sRGB``; empty: refuse."""
    equipment: tuple[Equipment, ...] = ()

    def owned(self, identifier: str) -> Equipment | None:
        """The register's entry of that id, if there is one."""
        return next((each for each in self.equipment if each.identifier == identifier), None)


# -------------------------------------------------------------------------------- facts of a master


class MasterFormat(enum.StrEnum):
    """File formats that a master may have."""

    TIFF = "TIFF"
    BIGTIFF = "BigTIFF"
    JPEG = "JPEG"
    PNG = "PNG"
    JP2 = "JPEG 2000"


class ResolutionUnit(enum.StrEnum):
    """What a resolution is counted per."""

    NONE = "none"
    INCH = "inch"
    CENTIMETRE = "centimetre"


MM_PER_INCH = 25.4


@dataclass(frozen=True, slots=True, kw_only=True)
class Rational:
    """A fraction as the file has it, not reduced; the denominator may be 0."""

    numerator: int
    denominator: int = 1

    @property
    def value(self) -> Fraction | None:
        """Its value, or None if the denominator is 0."""
        return Fraction(self.numerator, self.denominator) if self.denominator else None


@dataclass(frozen=True, slots=True, kw_only=True)
class IccFacts:
    """An embedded ICC profile (ICC.1:2022, section 7.2)."""

    description: str
    version: str
    """``2.4.0``: major, minor, bug fix."""
    device_class: str
    """Four letters, such as ``mntr``."""
    colour_space: str
    """Four letters without trailing blanks: ``RGB``, ``GRAY``, ``CMYK`` …"""
    connection_space: str
    size_bytes: int
    sha256: str
    """Tells profiles apart that share a description."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Jpeg2000Facts:
    """How a JPEG 2000 codestream is coded (ISO/IEC 15444-1, annex A)."""

    is_reversible: bool
    tile_width_px: int
    tile_height_px: int
    quality_layers: int
    decomposition_levels: int


@dataclass(frozen=True, slots=True, kw_only=True)
class CaptureFacts:
    """What EXIF and XMP in the file say of its making. Codes are EXIF's own; text is trimmed."""

    make: str = ""
    model: str = ""
    body_serial: str = ""
    lens_make: str = ""
    lens_model: str = ""
    lens_serial: str = ""
    exposure_time_s: Fraction | None = None
    f_number: Fraction | None = None
    iso_speed: int | None = None
    focal_length_mm: Fraction | None = None
    exposure_program: int | None = None
    exposure_bias: Rational | None = None
    metering_mode: int | None = None
    light_source: int | None = None
    flash: int | None = None
    sensing_method: int | None = None
    exif_version: str = ""
    captured_at: str = ""
    """ISO 8601 with the zone if the file gives one: ``2026-03-09T10:11:12+01:00``."""
    changed_at: str = ""
    """ISO 8601: when software last wrote the file (TIFF 306)."""
    software: str = ""
    artist: str = ""
    host_computer: str = ""
    has_location: bool = False
    """A GPS directory is there; its values are never taken over."""


@dataclass(frozen=True, slots=True, kw_only=True)
class MasterFacts:
    """The technical facts of a master, read from its header (Z39.87; TIFF 6.0; EXIF 3.0)."""

    format: MasterFormat
    media_type: str
    size_bytes: int
    width_px: int
    """As stored, before `orientation` is applied; so is the height."""
    height_px: int
    bits_per_sample: tuple[int, ...]
    """One figure per sample."""
    photometric: str
    """``RGB``, ``BlackIsZero``, ``WhiteIsZero`` or ``YCbCr``."""
    compression: str
    """``Uncompressed``, ``LZW``, ``Deflate``, ``PackBits``, ``JPEG``, ``JPEG 2000`` …"""
    byte_order: str = ""
    """``little endian``, ``big endian``, or empty where the format has only one."""
    orientation: int = 1
    """TIFF 274, 1 to 8."""
    resolution_unit: ResolutionUnit = ResolutionUnit.NONE
    x_resolution: Rational | None = None
    y_resolution: Rational | None = None
    ycbcr_subsampling: tuple[int, int] | None = None
    ycbcr_positioning: int | None = None
    is_tiled: bool = False
    page_count: int = 1
    icc: IccFacts | None = None
    declared_space: str = ""
    """A colour space that the format itself declares without a profile (JPEG 2000, PNG): ``sRGB`` …"""
    jpeg2000: Jpeg2000Facts | None = None
    capture: CaptureFacts = CaptureFacts()

    @property
    def samples_per_pixel(self) -> int:
        """How many samples a pixel has."""
        return len(self.bits_per_sample)

    @property
    def is_grey(self) -> bool:
        """True for one sample per pixel."""
        return self.samples_per_pixel == 1

    @property
    def ppi(self) -> tuple[float, float] | None:
        """Pixels per inch across and down as the file says, or None if it does not say."""
        x = self.x_resolution.value if self.x_resolution else None
        y = self.y_resolution.value if self.y_resolution else None
        if self.resolution_unit is ResolutionUnit.NONE or not x or not y:
            return None
        per_inch = 1.0 if self.resolution_unit is ResolutionUnit.INCH else MM_PER_INCH / 10
        return float(x) * per_inch, float(y) * per_inch

    @property
    def long_edge_mm(self) -> float | None:
        """What the longer side covers at the object, by the ppi that the file states; None without one."""
        if self.ppi is None:
            return None
        across, down = self.ppi
        return MM_PER_INCH * max(self.width_px / across, self.height_px / down)

    @property
    def displayed_size_px(self) -> tuple[int, int]:
        """Width and height after `orientation` is applied."""
        turned = self.orientation in (5, 6, 7, 8)
        return (self.height_px, self.width_px) if turned else (self.width_px, self.height_px)


# ------------------------------------------------------------------------------ results of the stages


@dataclass(frozen=True, slots=True, kw_only=True)
class FrameRecord:
    """All that the one pass over one master found: what every later stage works from."""

    frame: str
    """Identifier of the frame."""
    master: StoredFile
    facts: MasterFacts
    pixel_digest: str
    """SHA-256 of the decoded samples: equal for two files that hold the same picture."""
    read_at: dt.datetime
    assumed_profile: str = ""
    """The profile that an untagged frame was taken to be in; empty if it carries its own."""
    measures: FrameMeasures | None = None
    """What was measured of its picture; None if nothing was to be measured."""


@dataclass(frozen=True, slots=True, kw_only=True)
class UnreadableMaster:
    """A master that could not be read to its end, or is of a kind that is refused, and why."""

    frame: str
    file: PurePosixPath
    reason: str
    """What is wrong and what to do, for the person who made the file."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SizePx:
    """Width and height in pixels."""

    width_px: int
    height_px: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Derivatives:
    """What was made from one master for readers; paths are relative to the publication payload."""

    frame: str
    size: SizePx
    """Of the full image as displayed, which may differ from the master's stored size."""
    max_size: SizePx
    """Of ``full/max``: the full size, or a reduced one where that is too large for one file."""
    sizes: tuple[SizePx, ...]
    """Whole-image sizes that exist as files, ascending, the full size excluded (Image API 3.0, sizes)."""
    tile_px: int
    scale_factors: tuple[int, ...]
    access: StoredFile
    access_size: SizePx
    made_at: dt.datetime


class AgentKind(enum.StrEnum):
    """PREMIS agentType."""

    PERSON = "person"
    ORGANIZATION = "organization"
    SOFTWARE = "software"
    HARDWARE = "hardware"


@dataclass(frozen=True, slots=True, kw_only=True)
class Agent:
    """Who or what had a part in an event (PREMIS 3.0, agent)."""

    identifier: str
    """Local, such as ``software/solander`` or ``equipment/camera-2``."""
    kind: AgentKind
    name: str
    version: str = ""
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Event:
    """Something that was done to objects (PREMIS 3.0, event)."""

    identifier: str
    """A UUID made from the event's content, so that runs repeat."""
    kind: str
    """A term of the PREMIS eventType vocabulary."""
    when: str
    """ISO 8601 date or date and time."""
    detail: str
    outcome: str
    """success, warning or fail."""
    outcome_note: str = ""
    outcome_details: tuple[str, ...] = ()
    """Further sentences about the outcome, such as what was measured."""
    agents: tuple[tuple[str, str], ...] = ()
    """Pairs of agent identifier and role: implementer, executing program, authorizer, validator."""
    objects: tuple[tuple[str, str], ...] = ()
    """Pairs of object identifier and role: source, outcome."""
