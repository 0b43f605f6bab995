"""Rules over one master file by itself: can it be read, and is it what the specification asks for?"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import PurePosixPath

from pipeline import files
from pipeline.check import places, sources
from pipeline.findings import Level, Register, Remark
from pipeline.model import (
    MM_PER_INCH,
    Frame,
    FrameRecord,
    LightKind,
    MasterFacts,
    MasterFormat,
    Rational,
    ResolutionUnit,
    UnreadableMaster,
)
from pipeline.specification import Limit, Measure, Specification
from pipeline.specs import icc, tiff

LONGEST_NAME = 32
"""FADGI 2016, file naming; the extension counts."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FrameFacts:
    """One frame with what was read from its master, or why nothing was."""

    frame: Frame
    record: FrameRecord | None
    unreadable: UnreadableMaster | None
    specification: Specification

    @property
    def master(self) -> MasterFacts:
        """The technical facts. Raises ValueError for a master that could not be read."""
        if self.record is None:
            raise ValueError(f"{self.frame.file} was not read")
        return self.record.facts

    @property
    def place(self) -> str:
        """Where the frame stands."""
        return places.of_frame(self.frame)

    def remark(self, value: str, limit: str) -> Remark:
        """A remark about this frame."""
        return Remark(place=self.place, value=value, limit=limit)

    def broken(self, limit: Limit, value: str) -> Remark:
        """A remark that this frame breaks a limit of the specification."""
        return Remark(
            place=self.place, value=value, limit=limit.text, level=limit.level, source=limit.citation
        )


FRAME = Register[FrameFacts]("one master file")

# ----------------------------------------------------------------------------------------- the file


@FRAME.rule(
    "F001",
    Level.ERROR,
    "Master cannot be read to its end",
    source=sources.COMMON_PRACTICE,
    advice="Copy the file again from the camera's card or the first copy. If that one is broken too, "
    "export it again from the raw file or photograph the page again. If permission was denied, the file may "
    "be whole: ask for the right to read it.",
)
def master_is_readable(facts: FrameFacts) -> Iterator[Remark]:
    """Every master decodes to its last pixel and is of a kind that is taken as a master."""
    if facts.unreadable is not None:
        reason = facts.unreadable.reason.removeprefix(f"{facts.unreadable.file.name}: ")
        yield facts.remark(reason, "a whole file of a kind that is read")


@FRAME.rule(
    "F002",
    Level.ERROR,
    "File format is not one for masters",
    source=sources.SPECIFICATION,
    advice="Export the master again from the raw file as an uncompressed or LZW TIFF. Converting what was "
    "delivered does not bring back what it lost.",
    requires={"F001"},
)
def format_is_allowed(facts: FrameFacts) -> Iterator[Remark]:
    """The file format, as the file's first bytes say, is one that the specification allows."""
    limit = facts.specification.limit(Measure.FORMAT)
    if limit and not limit.allows(facts.master.format.value):
        yield facts.broken(limit, facts.master.format.value)


@FRAME.rule(
    "F003",
    Level.ERROR,
    "Compression loses part of the picture",
    source=sources.SPECIFICATION,
    advice="Export the master again from the raw file, uncompressed or with lossless compression.",
    requires={"F001", "F002"},
)
def compression_is_allowed(facts: FrameFacts) -> Iterator[Remark]:
    """The compression is one that the specification allows: none, or one that loses nothing."""
    limit, found = facts.specification.limit(Measure.COMPRESSION), compression_kind(facts.master)
    if limit and not limit.allows(found):
        yield facts.broken(limit, f"{found} ({facts.master.compression})")


@FRAME.rule(
    "F004",
    Level.ERROR,
    "Bit depth is not allowed",
    source=sources.SPECIFICATION,
    advice="Export the master again from the raw file at the bit depth asked for. Raising the depth of a "
    "finished file adds nothing.",
    requires={"F001"},
)
def bit_depth_is_allowed(facts: FrameFacts) -> Iterator[Remark]:
    """Every channel has a bit depth that the specification allows."""
    limit = facts.specification.limit(Measure.BITS)
    if limit and not all(limit.allows(bits) for bits in facts.master.bits_per_sample):
        depths = sorted(set(facts.master.bits_per_sample))
        yield facts.broken(limit, f"{', '.join(map(str, depths))} bit")


# --------------------------------------------------------------------------------------------- colour


@FRAME.rule(
    "F005",
    Level.ERROR,
    "No colour profile",
    source=sources.ICC_EMBEDDED,
    advice="Find out which colour space the file was exported in, and export it again with that profile "
    "embedded. If all untagged files of the unit are in one known space, name it as untagged_profile in "
    "solander.toml.",
    requires={"F001"},
)
def profile_is_known(facts: FrameFacts) -> Iterator[Remark]:
    """A master says which colour space it is in, or the settings say it for untagged ones."""
    if _is_untagged(facts) and facts.record and not facts.record.assumed_profile:
        yield facts.remark("no profile", "an embedded ICC profile")


@FRAME.rule(
    "F006",
    Level.WARNING,
    "No colour profile; the one from the settings was assumed",
    source=sources.ICC_EMBEDDED,
    advice="Make sure that the file is really in this colour space. Have the profile embedded at export "
    "from now on.",
    requires={"F001"},
)
def profile_is_embedded(facts: FrameFacts) -> Iterator[Remark]:
    """A master carries its own profile, so that nothing has to be assumed."""
    if _is_untagged(facts) and facts.record and (assumed := facts.record.assumed_profile):
        yield facts.remark(f"no profile, taken to be {assumed}", "an embedded ICC profile")


@FRAME.rule(
    "F007",
    Level.ERROR,
    "Colour profile is not one for images",
    source=sources.ICC_CLASS,
    advice="Export the file again in a working colour space. A printer's or a link profile does not say "
    "what the pixels look like.",
    requires={"F001"},
)
def profile_describes_pixels(facts: FrameFacts) -> Iterator[Remark]:
    """The profile is of class input, display or colour space."""
    profile = facts.master.icc
    if profile and profile.device_class not in icc.PIXEL_CLASSES:
        name = icc.CLASS_NAMES.get(profile.device_class, "unknown")
        yield facts.remark(f"{name} ({profile.device_class}): {_named(profile.description)}", _CLASSES)


_CLASSES = "input, display or colour space (" + ", ".join(icc.PIXEL_CLASSES) + ")"


@FRAME.rule(
    "F008",
    Level.ERROR,
    "Colour space is not allowed",
    source=sources.SPECIFICATION,
    advice="Export the master again from the raw file in one of these colour spaces. If the space is right "
    "and only its profile has another name, add that name to the specification.",
    requires={"F001", "F007"},
)
def colour_space_is_allowed(facts: FrameFacts) -> Iterator[Remark]:
    """The profile, known by its description, is of a colour space that the specification allows.

    Ultraviolet and infrared frames are left out: the published limits are for visible light.
    """
    limit, found = facts.specification.limit(Measure.COLOUR_SPACE), stated_space(facts.master)
    if not limit or not found or facts.frame.light.kind in _INVISIBLE:
        return
    if not limit.allows(facts.specification.colour_space(found)):
        yield facts.broken(limit, found)


_INVISIBLE = frozenset({LightKind.ULTRAVIOLET, LightKind.INFRARED})


def stated_space(master: MasterFacts) -> str:
    """What the file calls its colour space: its profile's description, or what its format declares."""
    return _named(master.icc.description) if master.icc else master.declared_space


def compression_kind(master: MasterFacts) -> str:
    """``none``, ``lossless`` or ``lossy``."""
    if master.format is MasterFormat.JP2:
        return "lossless" if master.jpeg2000 and master.jpeg2000.is_reversible else "lossy"
    return {"Uncompressed": "none", "JPEG": "lossy"}.get(master.compression, "lossless")


def _is_untagged(facts: FrameFacts) -> bool:
    return not facts.master.icc and not facts.master.declared_space


def _named(description: str) -> str:
    return description or "a profile without a name"


# ----------------------------------------------------------------------------------------- resolution


@FRAME.rule(
    "F009",
    Level.ERROR,
    "Resolution is not stated",
    source=sources.TIFF_RESOLUTION,
    advice="Export the master again with the ppi at which it was photographed; without it nobody can tell "
    "the size of the object.",
    requires={"F001"},
)
def ppi_is_stated(facts: FrameFacts) -> Iterator[Remark]:
    """The file states pixels per inch or per centimetre, across and down."""
    if facts.master.ppi is None:
        unit = facts.master.resolution_unit
        found = "resolution without a unit" if _has_numbers(facts.master) else "no resolution"
        if unit is not ResolutionUnit.NONE:
            found = f"no usable number per {unit}"
        yield facts.remark(found, "pixels per inch or per centimetre, across and down")


@FRAME.rule(
    "F010",
    Level.ERROR,
    "Resolution differs across and down",
    source=sources.TIFF_RESOLUTION,
    advice="Export the master again with one ppi for both directions: a camera's pixels are square.",
    requires={"F009"},
)
def ppi_is_square(facts: FrameFacts) -> Iterator[Remark]:
    """Both directions state the same resolution, within 0.1 %."""
    across, down = _stated_ppi(facts.master)
    if abs(across - down) > 0.001 * max(across, down):
        yield facts.remark(f"{across:.2f} ppi across, {down:.2f} ppi down", "the same in both directions")


@FRAME.rule(
    "F011",
    Level.ERROR,
    "Resolution is a placeholder",
    source=sources.COMMON_PRACTICE,
    advice="Export the master again with the ppi at which it was photographed: work it out from the scale "
    "in the target frame.",
    requires={"F009", "F010"},
)
def ppi_is_no_placeholder(facts: FrameFacts) -> Iterator[Remark]:
    """The resolution is not 1, 72 or 96 ppi, which software writes when it does not know."""
    across, _ = _stated_ppi(facts.master)
    if tiff.is_placeholder(across):
        yield facts.remark(f"{across:.0f} ppi", "the ppi at which the object was photographed")


@FRAME.rule(
    "F012",
    Level.ERROR,
    "Resolution is below the specification",
    source=sources.SPECIFICATION,
    advice="If the object was photographed at this resolution, photograph it again closer or with another "
    "lens. If only the number in the file is wrong, export the master again with the right one.",
    requires={"F011"},
)
def ppi_is_enough(facts: FrameFacts) -> Iterator[Remark]:
    """The stated resolution reaches the specification's, allowing for the rounding of the file's fields."""
    limit = facts.specification.limit(Measure.PPI)
    across, down = _stated_ppi(facts.master)
    lowest = min(across, down)
    if not limit or limit.allows(lowest):
        return
    if not agrees(facts.master, limit.number, percent=_tag_tolerance(facts.specification)):
        yield facts.broken(limit, f"{lowest:.2f} ppi")


def agrees(master: MasterFacts, wanted_ppi: float, *, percent: float) -> bool:
    """True if the stated resolution is `wanted_ppi` within `percent` of it, in both directions.

    A whole number per centimetre may be off by half of one: 400 ppi is 157.48 per cm, and 157 is 398.78.
    """
    pairs = zip(_stated_ppi(master), (master.x_resolution, master.y_resolution), strict=True)
    return all(
        abs(stated - wanted_ppi) <= max(wanted_ppi * percent / 100, _rounding_ppi(master, written))
        for stated, written in pairs
    )


def _rounding_ppi(master: MasterFacts, written: Rational | None) -> float:
    value = written.value if written else None
    is_rounded = value is not None and value.denominator == 1
    return (
        0.5 * MM_PER_INCH / 10 if is_rounded and master.resolution_unit is ResolutionUnit.CENTIMETRE else 0.0
    )


def _tag_tolerance(specification: Specification) -> float:
    limit = specification.limit(Measure.PPI_TAG)
    return limit.number if limit else 0.0


def _stated_ppi(master: MasterFacts) -> tuple[float, float]:
    if master.ppi is None:
        raise ValueError("no resolution is stated")
    return master.ppi


def _has_numbers(master: MasterFacts) -> bool:
    return master.x_resolution is not None or master.y_resolution is not None


# --------------------------------------------------------------------------------- what else it says


@FRAME.rule(
    "F013",
    Level.NOTE,
    "Picture is stored turned or mirrored",
    source=sources.TIFF_ORIENTATION,
    advice="Nothing need be done: access images and tiles are turned upright. Some programs ignore the "
    "orientation tag, so it is safer to export masters upright.",
    requires={"F001"},
)
def picture_is_stored_upright(facts: FrameFacts) -> Iterator[Remark]:
    """The orientation tag is 1: the picture is stored as it is to be seen."""
    if facts.master.orientation != 1:
        yield facts.remark(f"orientation {facts.master.orientation}", "orientation 1")


@FRAME.rule(
    "F014",
    Level.NOTE,
    "File was written again after capture",
    source=sources.TIFF_DATE_TIME,
    advice="Usual for a TIFF that was exported from a raw file. If nothing should have been edited after "
    "the export, ask what this program did.",
    requires={"F001"},
)
def file_is_as_captured(facts: FrameFacts) -> Iterator[Remark]:
    """No program wrote the file later than the camera took the picture."""
    capture = facts.master.capture
    taken, changed = moment(capture.captured_at), moment(capture.changed_at)
    if taken and changed and _is_later(changed, taken):
        by = f" by {capture.software}" if capture.software else ""
        yield facts.remark(
            f"written {capture.changed_at}{by}", f"not after the capture, {capture.captured_at}"
        )


def moment(text: str) -> dt.datetime | None:
    """The date and time of an ISO 8601 text, or None if it is no such text."""
    try:
        return dt.datetime.fromisoformat(text) if text else None
    except ValueError:
        return None


def _is_later(one: dt.datetime, other: dt.datetime) -> bool:
    """Compared on the clock's face where only one of them knows its zone."""
    if (one.tzinfo is None) is not (other.tzinfo is None):
        one, other = one.replace(tzinfo=None), other.replace(tzinfo=None)
    return one > other


@FRAME.rule(
    "F015",
    Level.NOTE,
    "File tells where it was made",
    source=sources.EXIF_GPS,
    advice="Nothing need be done: the position stays in the master and does not go into access images or "
    "tiles. Switch the camera's position logging off if it should not be there.",
    requires={"F001"},
)
def file_has_no_location(facts: FrameFacts) -> Iterator[Remark]:
    """The file carries no geographic position."""
    if facts.master.capture.has_location:
        yield facts.remark("a GPS position", "none")


# ----------------------------------------------------------------------------------------------- name


@FRAME.rule(
    "F016",
    Level.NOTE,
    "File name may not travel",
    source=sources.FADGI_NAMES,
    advice="Use letters a to z, digits, hyphen and underscore in file names, and one full stop before the "
    "extension.",
)
def name_is_plain(facts: FrameFacts) -> Iterator[Remark]:
    """The name has only ASCII letters, digits, hyphen and underscore, and one full stop; no device name."""
    name = _file(facts).name
    if name.count(".") > 1 or not files.is_safe_name(name):
        yield facts.remark(name, "ASCII letters, digits, hyphen, underscore, and one full stop")


@FRAME.rule(
    "F017",
    Level.NOTE,
    "File name is long",
    source=sources.FADGI_NAMES,
    advice="Shorten the name: shelfmark part and sequence number are enough, the rest goes into pages.csv.",
)
def name_is_short(facts: FrameFacts) -> Iterator[Remark]:
    """The name has at most 32 characters."""
    if (length := len(_file(facts).name)) > LONGEST_NAME:
        yield facts.remark(f"{length} characters", f"≤ {LONGEST_NAME} characters")


@FRAME.rule(
    "F018",
    Level.NOTE,
    "File name's extension does not fit its format",
    source=sources.FADGI_NAMES,
    advice="Give the file the extension of what it is.",
    requires={"F001"},
)
def extension_fits_format(facts: FrameFacts) -> Iterator[Remark]:
    """The name ends in an extension that is usual for what the file is."""
    usual = _EXTENSIONS[facts.master.format]
    if (found := _file(facts).suffix) and found.lower() in usual:
        return
    yield facts.remark(found or "no extension", f"{' or '.join(usual)} for {facts.master.format}")


_EXTENSIONS = {
    MasterFormat.TIFF: (".tif", ".tiff"),
    MasterFormat.BIGTIFF: (".tif", ".tiff"),
    MasterFormat.JPEG: (".jpg", ".jpeg"),
    MasterFormat.PNG: (".png",),
    MasterFormat.JP2: (".jp2", ".jpx"),
}


def _file(facts: FrameFacts) -> PurePosixPath:
    return facts.frame.file or PurePosixPath(facts.frame.label)
