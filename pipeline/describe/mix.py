"""MIX: the technical record of one master.

What the file says of itself comes first; the session and the equipment register speak where it is silent,
with two exceptions: they win for the focal length of the lens, because cameras record nothing, zero or a
leftover for lenses that they cannot talk to; and for the resolution where the file has only a placeholder.
The register's serial number is used only if the file does not name another camera. What MIX cannot hold
validly is left out. Lens, lights and support have no element of their own; they stand in `methodology`, and
as agents in PREMIS.

Source: MIX 2.0 (ANSI/NISO Z39.87-2006); codes and terms in `pipeline.specs.mix`.
"""

from __future__ import annotations

import copy
import dataclasses
import datetime as dt
import functools
import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from fractions import Fraction
from urllib.parse import quote

from pipeline import layout
from pipeline.model import (
    CaptureFacts,
    Equipment,
    EquipmentKind,
    Frame,
    FrameKind,
    FrameRecord,
    Item,
    LightKind,
    MasterFacts,
    Rational,
    ResolutionUnit,
    Session,
    Settings,
)
from pipeline.specs import mix, pronom, tiff
from pipeline.xmldoc import Element, element, group, leaf

_group = functools.partial(group, namespace=mix.NAMESPACE)
_leaf = functools.partial(leaf, namespace=mix.NAMESPACE)

_NAMESPACES = {mix.PREFIX: mix.NAMESPACE}
_SOURCE_TYPES = {FrameKind.TARGET: "test target", FrameKind.FLAT: "flat field"}
_VERSIONED = re.compile(r"(?P<name>.*\S)\s+[vV]?(?P<version>\d[\w.+-]*)")
_TIME = re.compile(r"\d{4}-\d\d-\d\d(?:T\d\d:\d\d:\d\d(?:\.\d+)?(?:Z|[+-]\d\d:\d\d)?)?", re.ASCII)
_LONGEST_OFFSET = dt.timedelta(hours=14)
"""The largest zone that a date may have (XML Schema 1.0, part 2, section 3.2.7.3)."""


class Recorder:
    """Makes the records of an item's masters.

    It knows what the frames of a session have in common, and copies the parts of a record that are as in
    the one before: most of it, from page to page, and copying costs a tenth of making.
    """

    def __init__(self, item: Item, settings: Settings) -> None:
        self._item = item
        self._settings = settings
        self._sessions = {each.identifier: each for each in item.sessions}
        self._register = {each.identifier: each for each in settings.equipment}
        self._targets: dict[str, tuple[Frame, ...]] = {}
        for frame in item.frames_of(FrameKind.TARGET):
            self._targets[frame.session] = (*self._targets.get(frame.session, ()), frame)
        self._before: dict[str, tuple[object, Element | None]] = {}

    def document(self, frame: Frame, record: FrameRecord) -> Element:
        """Return the MIX record of one master."""
        setting, facts = self._setting(frame), record.facts
        undated = dataclasses.replace(facts.capture, captured_at="", changed_at="")
        is_target = frame.kind is FrameKind.TARGET
        encoding = (facts.bits_per_sample, facts.resolution_unit, facts.x_resolution, facts.y_resolution)
        return element(
            "mix",
            _digital_object(frame, record),
            self._again("image", _image_key(record), lambda: _image(record)),
            _group(
                "ImageCaptureMetadata",
                _source(frame, setting),
                _general(frame, facts.capture, setting),
                self._again(
                    "device",
                    (frame.session, frame.light, undated),
                    lambda: _device_capture(frame, facts.capture, setting),
                ),
                _leaf("orientation", mix.ORIENTATIONS.get(facts.orientation, mix.UNKNOWN_ORIENTATION)),
                _leaf("methodology", _methodology(frame, facts.capture, setting)),
            ),
            self._again(
                "assessment",
                (frame.session, is_target, encoding),
                lambda: _assessment(frame, facts, setting),
            ),
            _history(facts.capture, setting),
            namespace=mix.NAMESPACE,
            prefixes=_NAMESPACES,
        )

    def _again(self, part: str, key: object, make: Callable[[], Element | None]) -> Element | None:
        """Return a part of the record: a copy of the one before if that was made from the same values."""
        before = self._before.get(part)
        if before is None or before[0] != key:
            before = self._before[part] = (key, make())
        return copy.deepcopy(before[1])

    def _setting(self, frame: Frame) -> _Setting:
        session = self._sessions.get(frame.session)
        owned = self._register
        names = (session.camera, session.lens, session.support) if session else ("", "", "")
        camera, lens, support = (owned.get(name) for name in names)
        return _Setting(
            item=self._item,
            settings=self._settings,
            session=session,
            camera=camera,
            lens=lens,
            support=support,
            lights=tuple(owned[name] for name in session.lights if name in owned) if session else (),
            targets=tuple(owned[name] for name in session.targets if name in owned) if session else (),
            target_frames=self._targets.get(frame.session, ()),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Setting:
    """What is known of the making of a frame besides its file."""

    item: Item
    settings: Settings
    session: Session | None
    camera: Equipment | None
    lens: Equipment | None
    support: Equipment | None
    lights: tuple[Equipment, ...]
    targets: tuple[Equipment, ...]
    target_frames: tuple[Frame, ...]

    @property
    def producers(self) -> tuple[str, ...]:
        """The unit, or else the holder, and the operator."""
        unit = self.settings.unit_name or self.settings.holder.name.first
        operator = self.session.operator if self.session else ""
        return tuple(dict.fromkeys(name for name in (unit, operator) if name))


# ----------------------------------------------------------------- basic digital object information (6)


def _digital_object(frame: Frame, record: FrameRecord) -> Element | None:
    facts, master = record.facts, record.master
    return _group(
        "BasicDigitalObjectInformation",
        _group(
            "ObjectIdentifier",
            _leaf("objectIdentifierType", "local"),
            _leaf("objectIdentifierValue", frame.identifier),
        ),
        _leaf("fileSize", master.size_bytes),
        _group(
            "FormatDesignation",
            _leaf("formatName", master.media_type),
            _leaf("formatVersion", pronom.VERSIONS.get(facts.format)),
        ),
        _registry(facts),
        _leaf("byteOrder", facts.byte_order if facts.byte_order in mix.BYTE_ORDERS else None),
        _compression(facts, master.size_bytes),
        *(
            _group(
                "Fixity",
                _leaf("messageDigestAlgorithm", mix.DIGEST_ALGORITHMS[each.algorithm]),
                _leaf("messageDigest", each.hex_digest),
            )
            for each in master.fixity
        ),
    )


def _registry(facts: MasterFacts) -> Element | None:
    key = pronom.KEYS.get(facts.format)
    if key is None:
        return None
    return _group(
        "FormatRegistry",
        _leaf("formatRegistryName", pronom.REGISTRY),
        _leaf("formatRegistryKey", key),
    )


def _compression(facts: MasterFacts, size_bytes: int) -> Element | None:
    return _group(
        "Compression",
        _leaf("compressionScheme", facts.compression),
        _rational("compressionRatio", compression_ratio(facts, size_bytes)),
    )


def compression_ratio(facts: MasterFacts, size_bytes: int) -> Rational | None:
    """Return the size of the samples over the size of the file, to the hundredth.

    1/1 if uncompressed; None for a file that holds next to no samples.
    """
    if facts.compression == "Uncompressed":
        return Rational(numerator=1)
    sample_bits = facts.width_px * facts.height_px * sum(facts.bits_per_sample)
    ratio = round(Fraction(sample_bits, 8 * max(size_bytes, 1)), 2)
    return Rational(numerator=ratio.numerator, denominator=ratio.denominator) if ratio else None


# ------------------------------------------------------------------------- basic image information (7)


def _image(record: FrameRecord) -> Element | None:
    facts = record.facts
    return _group(
        "BasicImageInformation",
        _group(
            "BasicImageCharacteristics",
            _leaf("imageWidth", facts.width_px),
            _leaf("imageHeight", facts.height_px),
            _group(
                "PhotometricInterpretation",
                _leaf("colorSpace", facts.photometric),
                _colour_profile(record),
                _ycbcr(facts),
            ),
        ),
        _jpeg2000(facts),
    )


def _image_key(record: FrameRecord) -> tuple[object, ...]:
    """Return all that `_image` is made from."""
    facts = record.facts
    size, space = (facts.width_px, facts.height_px), (facts.photometric, facts.declared_space)
    luma = (facts.ycbcr_subsampling, facts.ycbcr_positioning)
    return (size, space, luma, facts.icc, facts.jpeg2000, record.assumed_profile)


def _colour_profile(record: FrameRecord) -> Element | None:
    icc = record.facts.icc
    if icc:
        profile = _group(
            "IccProfile",
            _leaf("iccProfileName", icc.description),
            _leaf("iccProfileVersion", icc.version),
        )
        return _group("ColorProfile", profile)
    named = record.facts.declared_space or record.assumed_profile
    return _group("ColorProfile", _group("LocalProfile", _leaf("localProfileName", named)))


def _ycbcr(facts: MasterFacts) -> Element | None:
    across, down = facts.ycbcr_subsampling or (0, 0)
    is_valid = across in mix.SUBSAMPLINGS and down in mix.SUBSAMPLINGS
    position = facts.ycbcr_positioning
    return _group(
        "YCbCr",
        _group(
            "YCbCrSubSampling",
            _leaf("yCbCrSubsampleHoriz", across),
            _leaf("yCbCrSubsampleVert", down),
        )
        if is_valid
        else None,
        _leaf("yCbCrPositioning", position if position in mix.POSITIONINGS else None),
    )


def _jpeg2000(facts: MasterFacts) -> Element | None:
    coded = facts.jpeg2000
    if coded is None:
        return None
    options = _group(
        "EncodingOptions",
        _group(
            "Tiles",
            _leaf("tileWidth", _positive(coded.tile_width_px)),
            _leaf("tileHeight", _positive(coded.tile_height_px)),
        ),
        _leaf("qualityLayers", _positive(coded.quality_layers)),
        _leaf("resolutionLevels", coded.decomposition_levels + 1),
    )
    return _group("SpecialFormatCharacteristics", _group("JPEG2000", options))


# -------------------------------------------------------------------------- image capture metadata (8)


def _general(frame: Frame, capture: CaptureFacts, setting: _Setting) -> Element | None:
    return _group(
        "GeneralCaptureInformation",
        _leaf("dateTimeCreated", _created(capture, setting.session)),
        *(_leaf("imageProducer", name) for name in setting.producers),
        _leaf("captureDevice", _device(frame, capture, setting)),
    )


def _source(frame: Frame, setting: _Setting) -> Element | None:
    if not frame.kind.is_reading_matter:
        return _group("SourceInformation", _leaf("sourceType", _SOURCE_TYPES[frame.kind]))
    item = setting.item
    named = ", ".join(filter(None, (item.shelfmark, frame.label)))
    return _group(
        "SourceInformation",
        _leaf("sourceType", ", ".join(filter(None, (item.kind.value, item.material)))),
        *(
            _group("SourceID", _leaf("sourceIDType", kind), _leaf("sourceIDValue", value))
            for kind, value in (("shelfmark", named), ("local", item.identifier))
        ),
        _source_size(item.size_mm),
    )


def _source_size(size_mm: tuple[float, ...]) -> Element | None:
    """Return the size of the whole object as it was catalogued: height, width, depth are Y, X, Z."""
    height_mm, width_mm, depth_mm = (*size_mm, None, None, None)[:3]
    sides = (("X", width_mm), ("Y", height_mm), ("Z", depth_mm))
    return _group(
        "SourceSize",
        *(
            _group(
                f"Source{axis}Dimension",
                _leaf(f"source{axis}DimensionValue", f"{side_mm:g}"),
                _leaf(f"source{axis}DimensionUnit", mix.MILLIMETRE),
            )
            for axis, side_mm in sides
            if side_mm is not None and side_mm >= 0
        ),
    )


def _created(capture: CaptureFacts, session: Session | None) -> str | None:
    return valid_time(capture.captured_at) or (session.date.isoformat() if session else None)


def valid_time(text: str) -> str | None:
    """Return an ISO 8601 date, or date and time, that XML Schema can hold; None for any other text."""
    if not _TIME.fullmatch(text):
        return None
    try:
        if "T" not in text:
            return dt.date.fromisoformat(text).isoformat()
        time = dt.datetime.fromisoformat(text)
    except ValueError:
        return None
    if abs(time.utcoffset() or dt.timedelta()) > _LONGEST_OFFSET:
        time = time.replace(tzinfo=None)
    return time.isoformat()


def _device(frame: Frame, capture: CaptureFacts, setting: _Setting) -> str | None:
    """Return the captureDevice: what the register says, or a camera if the file has an exposure."""
    if setting.camera and setting.camera.kind is EquipmentKind.SCANNER:
        is_through = frame.light.kind is LightKind.TRANSMITTED
        return mix.TRANSMISSION_SCANNER if is_through else mix.REFLECTION_SCANNER
    if setting.camera or _is_exposure(capture):
        return mix.DIGITAL_STILL_CAMERA
    return None


def _is_exposure(capture: CaptureFacts) -> bool:
    """True if the file tells what only a camera has."""
    told = (capture.exposure_time_s, capture.f_number, capture.iso_speed, capture.focal_length_mm)
    return any(each is not None for each in told)


def _device_capture(frame: Frame, capture: CaptureFacts, setting: _Setting) -> Element | None:
    """Return what is known of the scanner, or of the camera and its exposure."""
    device = _device(frame, capture, setting)
    if device is None:
        return None
    if device == mix.DIGITAL_STILL_CAMERA:
        return _digital_camera(frame, capture, setting)
    return _scanner(capture, setting)


def _scanner(capture: CaptureFacts, setting: _Setting) -> Element | None:
    body = _body(capture, setting.camera)
    name, version = split_version(capture.software)
    return _group(
        "ScannerCapture",
        _leaf("scannerManufacturer", body.maker),
        _group(
            "ScannerModel",
            _leaf("scannerModelName", body.model),
            _leaf("scannerModelSerialNo", body.serial),
        ),
        _leaf("scannerSensor", _sensor(setting.camera, mix.SCANNER_SENSORS)),
        _group(
            "ScanningSystemSoftware",
            _leaf("scanningSoftwareName", name),
            _leaf("scanningSoftwareVersionNo", version),
        ),
    )


def _digital_camera(frame: Frame, capture: CaptureFacts, setting: _Setting) -> Element | None:
    body = _body(capture, setting.camera)
    return _group(
        "DigitalCameraCapture",
        _leaf("digitalCameraManufacturer", body.maker),
        _group(
            "DigitalCameraModel",
            _leaf("digitalCameraModelName", body.model),
            _leaf("digitalCameraModelSerialNo", body.serial),
        ),
        _leaf("cameraSensor", _sensor(setting.camera, mix.CAMERA_SENSORS)),
        _group("CameraCaptureSettings", _image_data(frame, capture, setting)),
    )


def _image_data(frame: Frame, capture: CaptureFacts, setting: _Setting) -> Element | None:
    is_infrared = frame.light.kind is LightKind.INFRARED
    version = capture.exif_version
    return _group(
        "ImageData",
        _leaf("fNumber", _float(capture.f_number)),
        _leaf("exposureTime", _float(capture.exposure_time_s)),
        _leaf("exposureProgram", _term(mix.EXPOSURE_PROGRAMS, capture.exposure_program)),
        _leaf("spectralSensitivity", str(frame.light) if is_infrared else None),
        _leaf("isoSpeedRatings", _positive(capture.iso_speed)),
        _leaf("exifVersion", version if version in mix.EXIF_VERSIONS else None),
        _rational("exposureBiasValue", capture.exposure_bias),
        _leaf("meteringMode", _term(mix.METERING_MODES, capture.metering_mode)),
        _leaf("lightSource", _light_source(capture, setting.lights)),
        _leaf("flash", _term(mix.FLASHES, capture.flash)),
        _leaf("focalLength", _focal_length(capture, setting.lens)),
        _leaf("sensingMethod", _term(mix.SENSING_METHODS, capture.sensing_method)),
    )


def _light_source(capture: CaptureFacts, lights: tuple[Equipment, ...]) -> str | None:
    """Return the term of the file's code; if that is unknown, the one that the session's lights share."""
    if capture.light_source and (term := mix.LIGHT_SOURCES.get(capture.light_source)):
        return term
    terms = {each.light_source for each in lights} & set(mix.LIGHT_SOURCES.values())
    if len(terms) == 1 and all(each.light_source in terms for each in lights):
        return terms.pop()
    return _term(mix.LIGHT_SOURCES, capture.light_source)


def _focal_length(capture: CaptureFacts, lens: Equipment | None) -> str | None:
    length_mm = (lens.focal_length_mm if lens else None) or capture.focal_length_mm
    return _decimal(float(length_mm)) if length_mm and length_mm > 0 else None


# ----------------------------------------------------------------------------------------- equipment


@dataclass(frozen=True, slots=True, kw_only=True)
class _Body:
    maker: str
    model: str
    serial: str


def _body(capture: CaptureFacts, owned: Equipment | None) -> _Body:
    """Return what is known of the camera or scanner; nothing of the register's if the file names another."""
    if owned is None or not (_agree(owned.model, capture.model) and _agree(owned.maker, capture.make)):
        return _Body(maker=capture.make, model=capture.model, serial=capture.body_serial)
    return _Body(
        maker=capture.make or owned.maker,
        model=capture.model or owned.model,
        serial=capture.body_serial or owned.serial,
    )


def _agree(registered: str, found: str) -> bool:
    """True unless both say something and neither contains the other, letters and digits alone."""
    one, other = ("".join(filter(str.isalnum, text.casefold())) for text in (registered, found))
    return not one or not other or one in other or other in one


def _sensor(owned: Equipment | None, terms: frozenset[str]) -> str | None:
    """Return the register's sensor as the term that is spelled alike, British or American."""
    wanted = owned.sensor.replace("Colour", "Color") if owned else ""
    return next((term for term in sorted(terms) if term.replace("Colour", "Color") == wanted), None)


def _methodology(frame: Frame, capture: CaptureFacts, setting: _Setting) -> str:
    """Return how the frame was made, as one line: what MIX has no elements for."""
    return "; ".join(_steps(frame, capture, setting))


def _steps(frame: Frame, capture: CaptureFacts, setting: _Setting) -> Iterator[str]:
    session = setting.session
    if session:
        yield f"session {session.identifier} of {session.date.isoformat()}"
        yield from _named("camera", setting.camera, session.camera)
    if not setting.camera and (made_with := " ".join(filter(None, (capture.make, capture.model)))):
        yield f"made with {made_with}"
    lens = " ".join(filter(None, (capture.lens_make, capture.lens_model, capture.lens_serial)))
    if setting.lens or (session and session.lens):
        yield from _named("lens", setting.lens, session.lens if session else "")
    elif lens:
        yield f"lens {lens}"
    yield f"{frame.light} light"
    if session:
        for name in session.lights:
            yield from _named("light", setting.settings.owned(name), name)
        yield from _named("support", setting.support, session.support)
        if session.note:
            yield session.note


def _named(what: str, owned: Equipment | None, identifier: str) -> Iterator[str]:
    if owned:
        known = " ".join(filter(None, (owned.maker, owned.model))) or owned.name
        yield f"{what} {known} ({owned.identifier})" if known else f"{what} {owned.identifier}"
    elif identifier:
        yield f"{what} {identifier}"


# --------------------------------------------------------------------- image assessment metadata (9)


def _assessment(frame: Frame, facts: MasterFacts, setting: _Setting) -> Element | None:
    return _group(
        "ImageAssessmentMetadata",
        _spatial_metrics(facts, setting.session),
        _group(
            "ImageColorEncoding",
            _group(
                "BitsPerSample",
                *(_leaf("bitsPerSampleValue", bits) for bits in facts.bits_per_sample),
                _leaf("bitsPerSampleUnit", mix.INTEGER_SAMPLES),
            ),
            _leaf("samplesPerPixel", facts.samples_per_pixel),
        ),
        _target_data(frame, setting),
    )


def _spatial_metrics(facts: MasterFacts, session: Session | None) -> Element | None:
    """Return the resolution: the file's fractions as they are, or the session's if they state nothing.

    A placeholder that nobody corrects is written down without a plane: it is not the object's.
    """
    is_placeholder = facts.ppi is not None and tiff.is_placeholder(facts.ppi[0])
    stated = session.ppi if session else None
    if stated and (facts.ppi is None or is_placeholder):
        ppi = Fraction(stated).limit_denominator(1000)
        across = down = Rational(numerator=ppi.numerator, denominator=ppi.denominator)
        return _metrics(mix.OBJECT_PLANE, ResolutionUnit.INCH, across, down)
    if facts.x_resolution is None or facts.y_resolution is None:
        return None
    is_absolute = facts.ppi is not None and not is_placeholder
    plane = mix.OBJECT_PLANE if is_absolute else None
    return _metrics(plane, facts.resolution_unit, facts.x_resolution, facts.y_resolution)


def _metrics(plane: str | None, unit: ResolutionUnit, across: Rational, down: Rational) -> Element | None:
    if across.value is None or down.value is None:
        return None
    return _group(
        "SpatialMetrics",
        _leaf("samplingFrequencyPlane", plane),
        _leaf("samplingFrequencyUnit", mix.SAMPLING_UNITS[unit]),
        _rational("xSamplingFrequency", across),
        _rational("ySamplingFrequency", down),
    )


def _target_data(frame: Frame, setting: _Setting) -> Element | None:
    """Return the targets of the session: in frames of their own, or in this frame if it is of a target."""
    if frame.kind is FrameKind.TARGET:
        return _group(
            "TargetData",
            _leaf("targetType", mix.INTERNAL_TARGET),
            *_target_ids(setting),
            _leaf("performanceData", str(layout.QUALITY)),
        )
    if not setting.target_frames and not setting.targets:
        return None
    return _group(
        "TargetData",
        _leaf("targetType", mix.EXTERNAL_TARGET),
        *_target_ids(setting),
        *(_leaf("externalTarget", quote(str(layout.master_path(each)))) for each in setting.target_frames),
        _leaf("performanceData", str(layout.QUALITY)) if setting.target_frames else None,
    )


def _target_ids(setting: _Setting) -> Iterator[Element | None]:
    for target in setting.targets:
        yield _group(
            "TargetID",
            _leaf("targetManufacturer", target.maker),
            _leaf("targetName", target.name or target.model),
            _leaf("targetNo", target.serial),
            _leaf("targetMedia", target.medium),
        )


# ---------------------------------------------------------------------------------- change history (10)


def _history(capture: CaptureFacts, setting: _Setting) -> Element | None:
    """Return what software last wrote the file; a scanner's own software has its place elsewhere."""
    is_scanner = setting.camera is not None and setting.camera.kind is EquipmentKind.SCANNER
    if not capture.software or is_scanner:
        return None
    name, version = split_version(capture.software)
    processing = _group(
        "ImageProcessing",
        _leaf("dateTimeProcessed", valid_time(capture.changed_at)),
        *(_leaf("processingAgency", producer) for producer in setting.producers[:1]),
        _group(
            "ProcessingSoftware",
            _leaf("processingSoftwareName", name),
            _leaf("processingSoftwareVersion", version),
            _leaf("processingOperatingSystemName", capture.host_computer),
        ),
    )
    return _group("ChangeHistory", processing)


def split_version(software: str) -> tuple[str, str]:
    """Return name and version of software: the version is the last word, if it begins with a digit."""
    match = _VERSIONED.fullmatch(software)
    return (match["name"], match["version"]) if match else (software, "")


# ------------------------------------------------------------------------------------------ small change


def _rational(name: str, value: Rational | None) -> Element | None:
    """Return a fraction, not reduced; None if it has no value."""
    if value is None or value.value is None:
        return None
    return _group(name, _leaf("numerator", value.numerator), _leaf("denominator", value.denominator))


def _float(value: Fraction | None) -> str | None:
    return f"{float(value):.6g}" if value is not None and value >= 0 else None


def _decimal(value: float) -> str:
    """Return a number without an exponent (XML Schema 1.0, part 2, decimal)."""
    return f"{value:.4f}".rstrip("0").rstrip(".")


def _positive(value: int | None) -> int | None:
    return value if value and value > 0 else None


def _term(terms: Mapping[int, str], code: int | None) -> str | None:
    return terms.get(code) if code is not None else None
