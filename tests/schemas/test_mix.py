"""Our schema of MIX 2.0: what it accepts, what it rejects, and that the publisher's says the same."""

from __future__ import annotations

import copy
from collections.abc import Callable, Iterator

import pytest
from lxml import etree

from pipeline.specs import mix
from tests.describe.test_mix import everything
from tests.schemas.mutations import (
    FOREIGN,
    SCHEMAS,
    Element,
    agree,
    mutations,
    official_schema,
    our_schema,
    tally,
    words_of_schema,
)

SCHEMA = our_schema("mix")


def outlined(outline: str) -> Element:
    """The document of an outline: an element a line, two blanks a level, ``name = text`` for a value.

    A name that begins with a colon belongs to a foreign namespace.
    """
    open_elements: list[Element] = []
    for line in filter(str.strip, outline.splitlines()):
        name, _, text = line.strip().partition(" = ")
        made = etree.Element(_full_name(name))
        made.text = text or None
        depth = (len(line) - len(line.lstrip())) // 2
        if depth:
            open_elements[depth - 1].append(made)
        open_elements[depth:] = [made]
    return open_elements[0]


def _full_name(name: str) -> str:
    return f"{{{FOREIGN}}}{name[1:]}" if name.startswith(":") else f"{{{mix.NAMESPACE}}}{name}"


def local(element: Element) -> str:
    """The name without its namespace."""
    return str(element.tag).partition("}")[2]


def first(root: Element, name: str) -> Element:
    """The first element of a name in a document."""
    return next(root.iter(_full_name(name)))


def excerpt(name: str, text: str) -> Element:
    """The full record with another text in the first element of a name, and only what is around that."""
    changed = copy.deepcopy(FULL)
    chosen = first(changed, name)
    chosen.text = text
    above = list(chosen.iterancestors())
    for each in above[1:]:
        for child in each:
            if child not in above:
                each.remove(child)
    return changed


def is_valid(root: Element) -> bool:
    """Whether our schema accepts the document that the elements are written to."""
    return bool(SCHEMA.validate(etree.fromstring(etree.tostring(root))))


def assert_valid(root: Element) -> None:
    """Fail with what our schema says of a document."""
    assert is_valid(root), str(SCHEMA.error_log)


# ------------------------------------------------------------------------------------------------- samples

# Every element of MIX 2.0, in the order of Z39.87; makers and figures are invented.
FULL = outlined("""
mix
  BasicDigitalObjectInformation
    ObjectIdentifier
      objectIdentifierType = local
      objectIdentifierValue = B14_0005
    fileSize = 234319870
    FormatDesignation
      formatName = image/tiff
      formatVersion = 6.0
    FormatRegistry
      formatRegistryName = PRONOM
      formatRegistryKey = fmt/353
    byteOrder = big endian
    Compression
      compressionScheme = house method
      compressionSchemeLocalList = https://example.org/methods
      compressionSchemeLocalValue = 17
      compressionRatio
        numerator = 19
        denominator = 10
    Fixity
      messageDigestAlgorithm = WHIRLPOOL
      messageDigest = 0a0b
      messageDigestOriginator = imaging unit
  BasicImageInformation
    BasicImageCharacteristics
      imageWidth = 5412
      imageHeight = 7216
      PhotometricInterpretation
        colorSpace = YCbCr
        ColorProfile
          IccProfile
            iccProfileName = Wide RGB for manuscripts
            iccProfileVersion = 2.4.0
            iccProfileURI = https://example.org/profiles/wide.icc
          LocalProfile
            localProfileName = house RGB
            localProfileURL = profiles/house.icc
          embeddedProfile = AAEC
        YCbCr
          YCbCrSubSampling
            yCbCrSubsampleHoriz = 4
            yCbCrSubsampleVert = 2
          yCbCrPositioning = 2
          YCbCrCoefficients
            lumaRed
              numerator = 299
              denominator = 1000
            lumaGreen
              numerator = 587
              denominator = 1000
            lumaBlue
              numerator = 114
              denominator = 1000
        ReferenceBlackWhite
          Component
            componentPhotometricInterpretation = Cb
            footroom
              numerator = 128
              denominator = 1
            headroom
              numerator = 255
              denominator = 1
    SpecialFormatCharacteristics
      JPEG2000
        CodecCompliance
          codec = Linnet encoder
          codecVersion = 3.1
          codestreamProfile = P1
          complianceClass = C2
        EncodingOptions
          Tiles
            tileWidth = 1024
            tileHeight = 1024
          qualityLayers = 12
          resolutionLevels = 6
      MrSID
        zoomLevels = 9
      Djvu
        djvuFormat = bundled
  ImageCaptureMetadata
    SourceInformation
      sourceType = codex, parchment
      SourceID
        sourceIDType = shelfmark
        sourceIDValue = MS B 14, f. 1r
      SourceSize
        SourceXDimension
          sourceXDimensionValue = 152
          sourceXDimensionUnit = mm
        SourceYDimension
          sourceYDimensionValue = 8.4
          sourceYDimensionUnit = in.
        SourceZDimension
          sourceZDimensionValue = 0
          sourceZDimensionUnit = mm
    GeneralCaptureInformation
      dateTimeCreated = 2026-03-09T10:11:12+01:00
      imageProducer = Imaging unit
      captureDevice = still from video
    ScannerCapture
      scannerManufacturer = Kestrelworks
      ScannerModel
        scannerModelName = Flatbed A2
        scannerModelNumber = A2-11
        scannerModelSerialNo = KW-7
      MaximumOpticalResolution
        xOpticalResolution = 1200
        yOpticalResolution = 2400
        opticalResolutionUnit = in.
      scannerSensor = OneChipColourArea
      ScanningSystemSoftware
        scanningSoftwareName = Flatbed Suite
        scanningSoftwareVersionNo = 4.1
    DigitalCameraCapture
      digitalCameraManufacturer = Kestrelworks
      DigitalCameraModel
        digitalCameraModelName = Merlin 150
        digitalCameraModelNumber = 150-B
        digitalCameraModelSerialNo = KW-20417
      cameraSensor = OneChipColorArea
      CameraCaptureSettings
        ImageData
          fNumber = 8
          exposureTime = 0.008
          exposureProgram = Manual
          spectralSensitivity = 940 nm
          isoSpeedRatings = 50
          oECF
            numerator = 1
            denominator = 2
          exifVersion = 0230
          shutterSpeedValue
            numerator = 7
            denominator = 1
          apertureValue
            numerator = 6
            denominator = 1
          brightnessValue
            numerator = -3
            denominator = 2
          exposureBiasValue
            numerator = -1
            denominator = 3
          maxApertureValue
            numerator = 3
            denominator = 1
          SubjectDistance
            distance = 1.25
            MinMaxDistance
              minDistance = 1.2
              maxDistance = 1.3
          meteringMode = Spot
          lightSource = D50
          flash = Flash did not fire
          focalLength = 120
          flashEnergy
            numerator = 500
            denominator = 1
          backLight = Backlight 2
          exposureIndex = 64
          sensingMethod = Trilinear sensor
          cfaPattern = -2
          autoFocus = Manual
          PrintAspectRatio
            xPrintAspectRatio = 3
            yPrintAspectRatio = 4
        GPSData
          gpsVersionID = 2.3.0.0
          gpsLatitudeRef = N
          GPSLatitude
            degrees
              numerator = 51
              denominator = 1
            minutes
              numerator = 30
              denominator = 1
            seconds
              numerator = 25
              denominator = 2
          gpsLongitudeRef = W
          GPSLongitude
            degrees
              numerator = 1
            minutes
            seconds
          gpsAltitudeRef = Sea level
          gpsAltitude
            numerator = 44
            denominator = 1
          gpsTimeStamp = 10:11:12
          gpsSatellites = 4, 9, 17
          gpsStatus = A
          gpsMeasureMode = 3-dimensional measurement
          gpsDOP
            numerator = 2
            denominator = 1
          gpsSpeedRef = N
          gpsSpeed
            numerator = 0
            denominator = 1
          gpsTrackRef = T
          gpsTrack
            numerator = 90
            denominator = 1
          gpsImgDirectionRef = M
          gpsImgDirection
            numerator = 180
            denominator = 1
          gpsMapDatum = WGS-84
          gpsDestLatitudeRef = S
          GPSDestLatitude
            degrees
              numerator = 2
              denominator = 1
          gpsDestLongitudeRef = E
          GPSDestLongitude
            seconds
              numerator = 2
              denominator = 1
          gpsDestBearingRef = T
          gpsDestBearing
            numerator = 10
            denominator = 1
          gpsDestDistanceRef = K
          gpsDestDistance
            numerator = 3
            denominator = 1
          gpsProcessingMethod = GPS
          gpsAreaInformation = reading room
          gpsDateStamp = 2026-03-09
          gpsDifferential = Differential correction applied
    orientation = normal, rotated 180°
    methodology = cradle at 100 degrees, glass
  ImageAssessmentMetadata
    SpatialMetrics
      samplingFrequencyPlane = source object plane
      samplingFrequencyUnit = cm
      xSamplingFrequency
        numerator = 2362
        denominator = 10
      ySamplingFrequency
        numerator = 2362
        denominator = 10
    ImageColorEncoding
      BitsPerSample
        bitsPerSampleValue = 16
        bitsPerSampleUnit = floating point
      samplesPerPixel = 4
      extraSamples = range or depth data
      Colormap
        colormapReference = maps/house.map
        embeddedColormap = AQIDBA==
      GrayResponse
        grayResponseCurve = 0
        grayResponseUnit = Number represents tenths of a unit
      WhitePoint
        whitePointXValue
          numerator = 3457
          denominator = 10000
        whitePointYValue
          numerator = 3585
          denominator = 10000
      PrimaryChromaticities
        primaryChromaticitiesRedX
          numerator = 64
          denominator = 100
        primaryChromaticitiesRedY
          numerator = 33
          denominator = 100
        primaryChromaticitiesGreenX
          numerator = 30
          denominator = 100
        primaryChromaticitiesGreenY
          numerator = 60
          denominator = 100
        primaryChromaticitiesBlueX
          numerator = 15
          denominator = 100
        primaryChromaticitiesBlueY
          numerator = 6
          denominator = 100
    TargetData
      targetType = internal
      TargetID
        targetManufacturer = Hueworks
        targetName = 24-patch colour target
        targetNo = T-0093
        targetMedia = matt paint
      externalTarget = targets/B14_T001.tif
      performanceData = https://example.org/measured/B14_T001.json
  ChangeHistory
    ImageProcessing
      dateTimeProcessed = 2026-03
      sourceData = raw file
      processingAgency = Imaging unit
      processingRationale = legibility
      ProcessingSoftware
        processingSoftwareName = Exporter
        processingSoftwareVersion = 3.1
        processingOperatingSystemName = workstation
        processingOperatingSystemVersion = 12
      processingActions = sharpened
    PreviousImageMetadata
      :old
        :width = 10
  Extension
    :more = of the house
""")

SCANNED = outlined("""
mix
  BasicDigitalObjectInformation
    ObjectIdentifier
      objectIdentifierType = local
      objectIdentifierValue = B14_0005
    ObjectIdentifier
      objectIdentifierType = URN
      objectIdentifierValue = urn:example:b14:5
    Compression
      compressionScheme = Deflate
    Compression
      compressionScheme = Uncompressed
    Fixity
      messageDigestAlgorithm = MD5
      messageDigest = 0a
    Fixity
      messageDigestAlgorithm = Adler-32
      messageDigest = 0b
  BasicImageInformation
    BasicImageCharacteristics
      PhotometricInterpretation
        ReferenceBlackWhite
          Component
            componentPhotometricInterpretation = Y
            footroom
            headroom
          Component
            componentPhotometricInterpretation = Cr
            footroom
              denominator = 0
            headroom
              numerator = -1
        ReferenceBlackWhite
  ImageCaptureMetadata
    SourceInformation
      SourceID
        sourceIDType = shelfmark
      SourceID
        sourceIDValue = msb-014
    GeneralCaptureInformation
      dateTimeCreated = 2026
      imageProducer = Imaging unit
      imageProducer = R. Vance
      captureDevice = transmission scanner
    ScannerCapture
      MaximumOpticalResolution
        xOpticalResolution = 4800
        opticalResolutionUnit = no absolute unit
      scannerSensor = ColorTriLinear
  ImageAssessmentMetadata
    ImageColorEncoding
      BitsPerSample
        bitsPerSampleValue = 8
        bitsPerSampleValue = 8
        bitsPerSampleValue = 8
        bitsPerSampleUnit = integer
      extraSamples = unassociated alpha data
      extraSamples = unspecified data
      GrayResponse
        grayResponseCurve = 0
        grayResponseCurve = 5
        grayResponseCurve = 9
      WhitePoint
      WhitePoint
      PrimaryChromaticities
      PrimaryChromaticities
    TargetData
      targetType = external
      targetType = internal
      TargetID
        targetName = step wedge
      TargetID
        targetName = resolution chart
      externalTarget = a.tif
      externalTarget = b.tif
      performanceData = a.json
      performanceData = b.json
  ChangeHistory
    ImageProcessing
      dateTimeProcessed = 2026-03-09Z
      processingAgency = Imaging unit
      processingAgency = Aldermoor Library
      ProcessingSoftware
        processingSoftwareName = Exporter
      ProcessingSoftware
        processingSoftwareName = Sharpener
      processingActions = cropped
      processingActions = sharpened
    ImageProcessing
    PreviousImageMetadata
    PreviousImageMetadata
      :old
      mix
        fileSize = none
  Extension
    :more
    imageWidth = none
  Extension
    :more
""")

EMPTY = outlined("mix")

HAND_MADE = {"full": FULL, "scanned": SCANNED, "empty": EMPTY}
EMITTED = {f"emitted {number}": root for number, root in enumerate(everything(), start=1)}
SAMPLES = HAND_MADE | EMITTED


@pytest.mark.parametrize("name", SAMPLES)
def test_records_made_by_hand_and_by_us_are_accepted(name: str) -> None:
    assert_valid(SAMPLES[name])


def test_the_full_record_has_every_element_that_the_schema_declares() -> None:
    declared = set(words_of_schema(SCHEMAS / "mix.xsd").elements)
    assert declared == {str(each.tag) for each in FULL.iter() if str(each.tag).startswith(_full_name(""))}


def test_only_mix_may_be_the_root() -> None:
    for each in {str(each.tag) for each in FULL.iter()}:
        assert is_valid(etree.Element(each)) is (each == _full_name("mix"))


def test_records_of_version_1_and_of_no_namespace_are_rejected() -> None:
    assert not is_valid(etree.Element("{http://www.loc.gov/mix/v10}mix"))
    assert not is_valid(etree.Element("mix"))


# --------------------------------------------------------------------------------------- order and number

# What may be repeated, and the only parts that are required: MIX 2.0, all its sequences.
REPEATABLE = """
    ObjectIdentifier Compression Fixity ReferenceBlackWhite Component SourceID imageProducer
    spectralSensitivity bitsPerSampleValue extraSamples grayResponseCurve WhitePoint PrimaryChromaticities
    targetType TargetID externalTarget performanceData ImageProcessing processingAgency ProcessingSoftware
    processingActions PreviousImageMetadata Extension
"""
REQUIRED = frozenset(("componentPhotometricInterpretation", "footroom", "headroom"))
OPEN = frozenset(("PreviousImageMetadata", "Extension"))
"""Whose content is not looked into."""


def _elements(root: Element) -> Iterator[Element]:
    """The elements of MIX below the root."""
    return (each for each in root.iter(f"{_full_name('')}*") if each is not root)


def _changes(change: Callable[[Element], None]) -> Iterator[tuple[Element, bool]]:
    """Each element below the root of the full record, and whether the record is valid once it is changed."""
    for place, before in enumerate(_elements(FULL)):
        changed = copy.deepcopy(FULL)
        change(list(_elements(changed))[place])
        yield before, is_valid(changed)


def _remove(element: Element) -> None:
    parent = element.getparent()
    assert parent is not None
    parent.remove(element)


def _double(element: Element) -> None:
    element.addnext(copy.deepcopy(element))


def test_all_but_the_parts_of_a_component_may_be_missing() -> None:
    for element, valid in _changes(_remove):
        assert valid is (local(element) not in REQUIRED), local(element)


def test_only_what_has_several_in_the_standard_may_be_repeated() -> None:
    for element, valid in _changes(_double):
        assert valid is (local(element) in REPEATABLE.split()), local(element)


def test_siblings_have_one_order() -> None:
    for place, before in enumerate(_elements(FULL)):
        if before.getnext() is not None:
            changed = copy.deepcopy(FULL)
            element = list(_elements(changed))[place]
            later = element.getnext()
            assert later is not None
            element.addprevious(later)
            assert not is_valid(changed), local(before)


def test_nothing_is_known_by_the_name_of_another_place() -> None:
    for element, valid in _changes(lambda each: setattr(each, "tag", _full_name(f"{local(each)}s"))):
        assert not valid, local(element)


def test_foreign_elements_stand_only_in_open_content() -> None:
    for element, valid in _changes(lambda each: each.append(etree.Element(_full_name(":thing")))):
        assert valid is (local(element) in OPEN), local(element)


def test_text_stands_in_values_and_extensions_only() -> None:
    for element, valid in _changes(lambda each: setattr(each, "text", "stray")):
        if len(element):
            assert valid is (local(element) == "Extension"), local(element)


# ---------------------------------------------------------------------------------------------- attributes


RATIONAL = frozenset(("numerator", "denominator"))


def _is_value(element: Element) -> bool:
    """Whether an element is a text or a rational, and not a part of one."""
    is_rational = any(local(child) in RATIONAL for child in element)
    return local(element) not in RATIONAL and (is_rational or not len(element))


def test_values_alone_have_a_use() -> None:
    for element, valid in _changes(lambda each: each.set("use", "as measured")):
        assert valid is _is_value(element), local(element)


@pytest.mark.parametrize(
    "attribute",
    [
        "unit",
        "Use",
        "id",
        _full_name("use"),
        _full_name(":use"),
        "{http://www.w3.org/XML/1998/namespace}lang",
    ],
)
def test_no_other_attribute_is_known(attribute: str) -> None:
    for element, valid in _changes(lambda each: each.set(attribute, "1")):
        assert not valid, local(element)
    root = copy.deepcopy(EMPTY)
    root.set(attribute, "1")
    assert not is_valid(root)


# -------------------------------------------------------------------------------------------- typed values

POSITIVE = """
    imageWidth imageHeight tileWidth tileHeight qualityLayers resolutionLevels zoomLevels xOpticalResolution
    yOpticalResolution isoSpeedRatings bitsPerSampleValue samplesPerPixel
"""
COUNT = "fileSize grayResponseCurve"
INTEGER = "cfaPattern numerator denominator"
QUANTITY = """
    sourceXDimensionValue sourceYDimensionValue sourceZDimensionValue fNumber exposureTime xPrintAspectRatio
    yPrintAspectRatio
"""
ABOVE_ZERO = "exposureIndex"
MEASURE = "distance minDistance maxDistance focalLength"
DATE = "gpsDateStamp"
MOMENT = "dateTimeCreated dateTimeProcessed"
ADDRESS = """
    compressionSchemeLocalList iccProfileURI localProfileURL colormapReference externalTarget performanceData
"""
ANGLE = frozenset(("degrees", "minutes", "seconds"))
BYTES = "embeddedProfile embeddedColormap"

# The lexical forms are those of XML Schema 1.0, part 2.
FORMS: dict[str, tuple[str, list[str], list[str]]] = {
    "positive": (
        POSITIVE,
        ["1", "+7", "007", " 5 ", "9" * 25],
        ["0", "-1", "1.0", "1e3", "", "abc", "1,000", "5 px", "5 6"],
    ),
    "count": (COUNT, ["0", "-0", "7", "\n7"], ["-1", "1.5", "", "0x10", "7 MB"]),
    "integer": (INTEGER, ["0", "-5", "+5", " 5"], ["1.5", "", "a", "1/2", "- 5", "--5"]),
    "quantity": (
        QUANTITY,
        ["0", "1.5", "1E2", "1e-3", ".5", "5.", "INF", " 8 "],
        ["-0.1", "-INF", "1/125", "1,5", "", "8 mm", "f/8", "inf"],
    ),
    "above zero": (ABOVE_ZERO, ["0.001", "64", "1e-9", "INF"], ["0", "0.0", "-0", "-1", "", "x"]),
    "measure": (MEASURE, ["0", "12.50", "+3", " 1.2 "], ["1E2", "-0.1", "INF", "1/2", "", "120 mm"]),
    "date": (
        DATE,
        ["2026-03-09", "2026-03-09Z", "2024-02-29", "2026-03-09+14:00"],
        ["2026-02-29", "2026-03", "2026", "2026:03:09", "20260309", "2026-03-09T10:11:12", ""],
    ),
    "moment": (
        MOMENT,
        [
            *("2026", "2026-03", "2026-03-09", "2026-03-09T10:11:12", "2026-03-09T10:11:12Z", " 2026 "),
            *("2026-03-09T10:11:12.5+01:00", "2026Z"),
        ],
        [
            *("2026:03:09 10:11:12", "2026-13", "2026-02-30", "2026-03-09T25:00:00", "2026-03-09T10:11"),
            *(
                "2026-03-09 10:11:12",
                "March 2026",
                "26",
                "",
                "10:11:12",
                "2026-W10",
                "2026-03-09T10:11:12+15:00",
            ),
        ],
    ),
    "address": (
        ADDRESS,
        ["", "a.tif", "../a.tif", "https://example.org/a?b=c#d", "urn:x:y", "#a", "a%20b"],
        ["%zz", "http://[a", "://"],
    ),
    "bytes": (
        BYTES,
        ["", "AQID", "AQI=", "AQ==", "AQ ID", "AQ\nID"],
        ["AQI", "A", "====", "AQID=", "AQ_D"],
    ),
}


@pytest.mark.parametrize("form", FORMS)
def test_values_have_the_forms_of_their_type(form: str) -> None:
    names, right, wrong = FORMS[form]
    for name in names.split():
        assert [text for text in right if not _may_be(name, text)] == [], name
        assert [text for text in wrong if _may_be(name, text)] == [], name


def _may_be(name: str, text: str) -> bool:
    return is_valid(excerpt(name, text))


def test_all_other_values_are_any_text() -> None:
    typed = {name for names, _, _ in FORMS.values() for name in names.split()}
    names = {local(each) for each in _elements(FULL) if not len(each)} - typed - set(TERMS) - ANGLE
    assert len(names) == 52
    for name in names:
        assert all(_may_be(name, text) for text in ("", " ", "ä 1/2", "two\nlines", "0" * 5000)), name


# ------------------------------------------------------------------------------------------------- terms

COMPASS = ("T", "M")
ROAD = ("K", "M", "N")
SIDES = ("in.", "mm")
# By element, from ANSI/NISO Z39.87 in its form MIX 2.0; the longer lists are those that our records are
# written with.
TERMS: dict[str, tuple[str, ...]] = {
    "byteOrder": tuple(mix.BYTE_ORDERS),
    "messageDigestAlgorithm": (
        *("Adler-32", "CRC32", "HAVAL", "MD5", "MNP", "SHA-1", "SHA-256", "SHA-384", "SHA-512"),
        *("TIGER", "WHIRLPOOL", "unknown"),
    ),
    "yCbCrSubsampleHoriz": ("1", "2", "4"),
    "yCbCrSubsampleVert": ("1", "2", "4"),
    "yCbCrPositioning": ("1", "2"),
    "componentPhotometricInterpretation": ("R", "G", "B", "Y", "Cb", "Cr"),
    "djvuFormat": ("indirect", "bundled"),
    "sourceXDimensionUnit": SIDES,
    "sourceYDimensionUnit": SIDES,
    "sourceZDimensionUnit": SIDES,
    "captureDevice": (
        mix.TRANSMISSION_SCANNER,
        mix.REFLECTION_SCANNER,
        mix.DIGITAL_STILL_CAMERA,
        "still from video",
    ),
    "opticalResolutionUnit": ("no absolute unit", "in.", "cm"),
    "scannerSensor": tuple(mix.SCANNER_SENSORS),
    "cameraSensor": tuple(mix.CAMERA_SENSORS),
    "exposureProgram": tuple(mix.EXPOSURE_PROGRAMS.values()),
    "exifVersion": tuple(mix.EXIF_VERSIONS),
    "meteringMode": tuple(mix.METERING_MODES.values()),
    "lightSource": tuple(mix.LIGHT_SOURCES.values()),
    "flash": tuple(mix.FLASHES.values()),
    "backLight": ("Front light", "Backlight 1", "Backlight 2"),
    "sensingMethod": tuple(mix.SENSING_METHODS.values()),
    "autoFocus": ("Auto Focus Used", "Auto Focus Interrupted", "Near Focused", "Soft Focused", "Manual"),
    "gpsLatitudeRef": ("N", "S"),
    "gpsLongitudeRef": ("E", "W"),
    "gpsAltitudeRef": ("Sea level", "Sea level reference (negative value)"),
    "gpsStatus": ("A", "V"),
    "gpsMeasureMode": ("2-dimensional measurement", "3-dimensional measurement"),
    "gpsSpeedRef": ROAD,
    "gpsTrackRef": COMPASS,
    "gpsImgDirectionRef": COMPASS,
    "gpsDestLatitudeRef": ("N", "S"),
    "gpsDestLongitudeRef": ("E", "W"),
    "gpsDestBearingRef": COMPASS,
    "gpsDestDistanceRef": ROAD,
    "gpsDifferential": (
        "Measurement without differential correction",
        "Differential correction applied",
    ),
    "orientation": (*mix.ORIENTATIONS.values(), mix.UNKNOWN_ORIENTATION),
    "samplingFrequencyPlane": ("camera/scanner focal plane", mix.OBJECT_PLANE, "source object plane"),
    "samplingFrequencyUnit": tuple(mix.SAMPLING_UNITS.values()),
    "bitsPerSampleUnit": (mix.INTEGER_SAMPLES, "floating point"),
    "extraSamples": (
        "unspecified data",
        "associated alpha data (with pre-multiplied color)",
        "unassociated alpha data",
        "range or depth data",
    ),
    "grayResponseUnit": tuple(
        f"Number represents {part} of a unit"
        for part in (
            *("tenths", "hundredths", "thousandths"),
            *("ten-thousandths", "hundred-thousandths"),
        )
    ),
    "targetType": (mix.EXTERNAL_TARGET, mix.INTERNAL_TARGET),
}
# Types that the standard's own schema declares without an element that has them, and spellings of others.
NO_TERMS = (
    *("", "value1", "integer ", "associated alpha data", "image data", "range data", "Normal*", "normal"),
    *("inch", "mm.", "cm.", "in", "OneChipColourArea ", "0231", "0300", "SHA512", "sha-512", "8", "0"),
)
EVERY_TERM = sorted({term for terms in TERMS.values() for term in terms} | set(NO_TERMS))


@pytest.mark.parametrize("name", TERMS)
def test_a_vocabulary_has_its_own_terms_and_no_others(name: str) -> None:
    accepted = [term for term in EVERY_TERM if _may_be(name, term)]
    assert accepted == sorted(TERMS[name])


def test_the_schema_lists_no_term_beyond_those_of_the_standard() -> None:
    listed = words_of_schema(SCHEMAS / "mix.xsd").values
    assert set(listed) == {term for terms in TERMS.values() for term in terms}


def test_no_term_has_blanks_around_it() -> None:
    for name, terms in TERMS.items():
        is_number = name.startswith("yCbCr")
        assert all(_may_be(name, f" {term}\n") is is_number for term in terms[:1]), name


# ------------------------------------------------------------------------------------------ single faults

Edit = Callable[[Element], None]


def text(name: str, value: str) -> Edit:
    """Gives the first element of a name another text."""
    return lambda root: setattr(first(root, name), "text", value)


def named(name: str, other: str) -> Edit:
    """Gives the first element of a name another name."""
    return lambda root: setattr(first(root, name), "tag", _full_name(other))


def twice(name: str) -> Edit:
    """Repeats the first element of a name."""
    return lambda root: _double(first(root, name))


def without(name: str) -> Edit:
    """Removes the first element of a name."""
    return lambda root: _remove(first(root, name))


def after(name: str, later: str) -> Edit:
    """Moves the first element of a name behind another's."""
    return lambda root: first(root, later).addnext(first(root, name))


def within(name: str, parent: str) -> Edit:
    """Moves the first element of a name to the end of another's content."""
    return lambda root: first(root, parent).append(first(root, name))


def given(name: str, attribute: str) -> Edit:
    """Gives the first element of a name an attribute."""
    return lambda root: first(root, name).set(attribute, "x")


def emptied(name: str) -> Edit:
    """Takes everything out of the first element of a name."""
    return lambda root: first(root, name).clear()


FAULTS: dict[str, tuple[Edit, str]] = {
    "the size of the file is negative": (text("fileSize", "-1"), "fileSize"),
    "the size of the file has a unit": (text("fileSize", "224 MB"), "fileSize"),
    "the file has two sizes": (twice("fileSize"), "fileSize"),
    "the size comes before the identifier": (after("ObjectIdentifier", "fileSize"), "ObjectIdentifier"),
    "the identifier's value comes first": (
        after("objectIdentifierType", "objectIdentifierValue"),
        "objectIdentifierType",
    ),
    "two types in one identifier": (twice("objectIdentifierType"), "objectIdentifierType"),
    "the format has two designations": (twice("FormatDesignation"), "FormatDesignation"),
    "the format's name has no designation around it": (
        within("formatName", "BasicDigitalObjectInformation"),
        "formatName",
    ),
    "the registry comes before the designation": (
        after("FormatDesignation", "FormatRegistry"),
        "FormatDesignation",
    ),
    "the byte order is that of a TIFF header": (text("byteOrder", "II"), "byteOrder"),
    "the byte order is spelled as in version 1": (text("byteOrder", "big_endian"), "byteOrder"),
    "the ratio is one number": (text("compressionRatio", "1.9"), "compressionRatio"),
    "the ratio's denominator comes first": (after("numerator", "denominator"), "numerator"),
    "the ratio's numerator has a fraction": (text("numerator", "1.9"), "numerator"),
    "the numerator has a use": (given("numerator", "use"), "numerator"),
    "a container has a use": (given("Compression", "use"), "Compression"),
    "the record has a use": (given("mix", "use"), "mix"),
    "the checksum's algorithm has no hyphen": (text("messageDigestAlgorithm", "SHA512"), "Algorithm"),
    "the checksum comes before its algorithm": (
        after("messageDigestAlgorithm", "messageDigest"),
        "messageDigestAlgorithm",
    ),
    "the checksum has the attribute of another standard": (given("messageDigest", "type"), "messageDigest"),
    "the image is zero pixels wide": (text("imageWidth", "0"), "imageWidth"),
    "the width has a fraction": (text("imageWidth", "5412.0"), "imageWidth"),
    "the height comes before the width": (after("imageWidth", "imageHeight"), "imageWidth"),
    "the colour space is spelled the British way": (named("colorSpace", "colourSpace"), "colourSpace"),
    "the profile has two names": (twice("iccProfileName"), "iccProfileName"),
    "the profile's name is outside the profile": (within("iccProfileName", "ColorProfile"), "iccProfileName"),
    "the profile has capitals": (named("IccProfile", "ICCProfile"), "ICCProfile"),
    "the house's profile has a URI": (named("localProfileURL", "localProfileURI"), "localProfileURI"),
    "the embedded profile is not base64": (text("embeddedProfile", "<icc>"), "embeddedProfile"),
    "chroma is thinned by three": (text("yCbCrSubsampleHoriz", "3"), "yCbCrSubsampleHoriz"),
    "chroma lies at place zero": (text("yCbCrPositioning", "0"), "yCbCrPositioning"),
    "a component has no footroom": (without("footroom"), "headroom"),
    "a component has no headroom": (without("headroom"), "Component"),
    "a component has no name": (without("componentPhotometricInterpretation"), "footroom"),
    "a component has two footrooms": (twice("footroom"), "footroom"),
    "a component is empty": (emptied("Component"), "Component"),
    "a component is called K": (
        text("componentPhotometricInterpretation", "K"),
        "componentPhotometricInterpretation",
    ),
    "the special format is unknown": (named("MrSID", "WebP"), "WebP"),
    "special formats have another order": (after("JPEG2000", "Djvu"), "JPEG2000"),
    "JPEG 2000 has no quality layer": (text("qualityLayers", "0"), "qualityLayers"),
    "tiles come after the layers": (after("Tiles", "qualityLayers"), "Tiles"),
    "DjVu pages are in one file": (text("djvuFormat", "single"), "djvuFormat"),
    "the source is measured in centimetres": (text("sourceXDimensionUnit", "cm"), "sourceXDimensionUnit"),
    "the source is less than nothing wide": (text("sourceXDimensionValue", "-1"), "sourceXDimensionValue"),
    "the depth comes before the height": (after("SourceYDimension", "SourceZDimension"), "SourceYDimension"),
    "the time of capture is as EXIF has it": (
        text("dateTimeCreated", "2026:03:09 10:11:12"),
        "dateTimeCreated",
    ),
    "the image has two times of capture": (twice("dateTimeCreated"), "dateTimeCreated"),
    "the device is only a camera": (text("captureDevice", "camera"), "captureDevice"),
    "the producer comes after the device": (after("imageProducer", "captureDevice"), "imageProducer"),
    "the scanner comes after the camera": (after("ScannerCapture", "DigitalCameraCapture"), "ScannerCapture"),
    "the scanner resolves half a sample": (text("xOpticalResolution", "0.5"), "xOpticalResolution"),
    "the scanner's sensor is spelled as a camera's": (
        text("scannerSensor", "OneChipColorArea"),
        "scannerSensor",
    ),
    "the camera's sensor is spelled as a scanner's": (
        text("cameraSensor", "OneChipColourArea"),
        "cameraSensor",
    ),
    "the exposure is a quotient in text": (text("exposureTime", "1/125"), "exposureTime"),
    "the aperture is an f and a number": (text("fNumber", "f/8"), "fNumber"),
    "the version of EXIF is a later one": (text("exifVersion", "0232"), "exifVersion"),
    "the exposure index is zero": (text("exposureIndex", "0"), "exposureIndex"),
    "the focal length has an exponent": (text("focalLength", "1.2E2"), "focalLength"),
    "the speed is zero": (text("isoSpeedRatings", "0"), "isoSpeedRatings"),
    "the flash is only off": (text("flash", "off"), "flash"),
    "the light comes from a code": (text("lightSource", "23"), "lightSource"),
    "the distance range stands by itself": (within("MinMaxDistance", "ImageData"), "MinMaxDistance"),
    "the latitude is a number": (text("GPSLatitude", "51.5"), "GPSLatitude"),
    "the latitude has a small name": (named("GPSLatitude", "gpsLatitude"), "gpsLatitude"),
    "the latitude has a use": (given("GPSLatitude", "use"), "GPSLatitude"),
    "seconds come before minutes": (after("minutes", "seconds"), "minutes"),
    "the degrees are a number": (text("degrees", "51"), "degrees"),
    "the latitude is east": (text("gpsLatitudeRef", "E"), "gpsLatitudeRef"),
    "the date of the position has colons": (text("gpsDateStamp", "2026:03:09"), "gpsDateStamp"),
    "the position comes before the exposure": (after("ImageData", "GPSData"), "ImageData"),
    "the orientation is a code": (text("orientation", "1"), "orientation"),
    "the orientation has lost its asterisk": (text("orientation", "normal"), "orientation"),
    "the orientation has another sign for degrees": (
        text("orientation", "normal, rotated 180º"),
        "orientation",
    ),
    "methodology comes before orientation": (after("orientation", "methodology"), "orientation"),
    "the resolution is counted in metres": (text("samplingFrequencyUnit", "m"), "samplingFrequencyUnit"),
    "the resolution is one number": (text("xSamplingFrequency", "600"), "xSamplingFrequency"),
    "samples are all in one value": (text("bitsPerSampleValue", "8,8,8"), "bitsPerSampleValue"),
    "the kind of sample comes first": (
        after("bitsPerSampleValue", "bitsPerSampleUnit"),
        "bitsPerSampleValue",
    ),
    "the extra sample is called alpha": (text("extraSamples", "alpha"), "extraSamples"),
    "two colour maps": (twice("Colormap"), "Colormap"),
    "the grey response is below zero": (text("grayResponseCurve", "-5"), "grayResponseCurve"),
    "the grey response is spelled the British way": (named("GrayResponse", "GreyResponse"), "GreyResponse"),
    "a primary comes out of turn": (
        after("primaryChromaticitiesRedX", "primaryChromaticitiesBlueY"),
        "primaryChromaticitiesRedX",
    ),
    "the target is beside the page": (text("targetType", "beside"), "targetType"),
    "the target's address is no address": (text("externalTarget", "%zz"), "externalTarget"),
    "measurements come before their target": (after("externalTarget", "performanceData"), "externalTarget"),
    "the work was done at some time": (text("dateTimeProcessed", "last week"), "dateTimeProcessed"),
    "the software comes after the actions": (
        after("ProcessingSoftware", "processingActions"),
        "ProcessingSoftware",
    ),
    "the work has two reasons": (twice("processingRationale"), "processingRationale"),
    "earlier records come before the work": (
        after("ImageProcessing", "PreviousImageMetadata"),
        "ImageProcessing",
    ),
    "an earlier record is a text": (
        text("PreviousImageMetadata", "see the old disk"),
        "PreviousImageMetadata",
    ),
    "an extension is only a text": (
        lambda root: first(root, "Extension").remove(first(root, ":more")),
        "Extension",
    ),
    "an extension is not at the end": (after("ChangeHistory", "Extension"), "ChangeHistory"),
    "the history comes before the assessment": (
        after("ImageAssessmentMetadata", "ChangeHistory"),
        "ImageAssessmentMetadata",
    ),
    "the capture has no part around it": (within("SourceInformation", "mix"), "SourceInformation"),
    "a record is in a record": (lambda root: root.insert(0, copy.deepcopy(EMPTY)), "mix"),
}


def faulty(fault: str) -> Element:
    """The full record with one fault."""
    changed = copy.deepcopy(FULL)
    FAULTS[fault][0](changed)
    return changed


@pytest.mark.parametrize("fault", FAULTS)
def test_a_record_is_rejected_if(fault: str) -> None:
    assert not is_valid(faulty(fault))
    said = [str(each.message) for each in SCHEMA.error_log]  # type: ignore[attr-defined]  # the stubs lack it
    assert FAULTS[fault][1] in said[0]


# ------------------------------------------------------------------------------ against the publisher's own


def test_the_official_schema_agrees_on_every_sample_and_every_fault() -> None:
    official = official_schema("mix20.xsd")
    for root in SAMPLES.values():
        verdicts = agree(etree.tostring(root), SCHEMA, official)
        assert verdicts.agree, str(verdicts)
        assert verdicts.accepted
    result = tally(((fault, faulty(fault)) for fault in FAULTS), SCHEMA, official)
    assert (result.rejected, result.accepted, result.differences) == (len(FAULTS), 0, []), str(result)


def _typed() -> Iterator[tuple[str, Element]]:
    """Every value with every text of every form."""
    texts = sorted({text for _, right, wrong in FORMS.values() for text in (*right, *wrong)} | {"NaN", "-0"})
    for name in sorted({local(each) for each in _elements(FULL) if not len(each)} - set(TERMS)):
        for value in texts:
            yield f"{name} now {value!r}", excerpt(name, value)


def _worded() -> Iterator[tuple[str, Element]]:
    """Every value that has a vocabulary with every term of all."""
    for name in TERMS:
        for value in EVERY_TERM:
            yield f"{name} now {value!r}", excerpt(name, value)


@pytest.mark.parametrize("samples", [_typed, _worded])
def test_the_official_schema_takes_the_same_values(
    samples: Callable[[], Iterator[tuple[str, Element]]],
) -> None:
    result = tally(samples(), SCHEMA, official_schema("mix20.xsd"))
    assert not result.differences, str(result)
    assert min(result.accepted, result.rejected) > 100


@pytest.mark.parametrize(
    ("name", "count"), [("full", 600), ("scanned", 300), ("empty", 30), *((each, 40) for each in EMITTED)]
)
def test_the_official_schema_judges_mutations_alike(name: str, count: int) -> None:
    root = SAMPLES[name]
    words = words_of_schema(SCHEMAS / "mix.xsd")
    result = tally(mutations(root, seed=20, count=count, words=words), SCHEMA, official_schema("mix20.xsd"))
    assert not result.differences, str(result)
    assert result.accepted
    assert result.rejected
