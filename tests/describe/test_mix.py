from __future__ import annotations

import dataclasses
import datetime as dt
from collections.abc import Iterator
from fractions import Fraction
from pathlib import Path, PurePosixPath
from typing import Any

import pytest
import tifffile
from hypothesis import given
from hypothesis import strategies as st

from pipeline import xmldoc
from pipeline.describe.mix import Recorder, split_version, valid_time
from pipeline.headers import read_header
from pipeline.model import (
    CaptureFacts,
    EquipmentKind,
    Frame,
    FrameKind,
    FrameRecord,
    IccFacts,
    Item,
    Jpeg2000Facts,
    Light,
    LightKind,
    MasterFormat,
    Rational,
    ResolutionUnit,
    Settings,
    StoredFile,
)
from pipeline.specs import mix
from pipeline.xmldoc import Element
from tests import make
from tests.describe import make_records as the
from tests.describe.official import assert_valid

Leaves = list[tuple[str, str]]


def made(
    frame: Frame = the.RECTO,
    record: FrameRecord | None = None,
    item: Item = the.ITEM,
    settings: Settings = the.SETTINGS,
    **facts: Any,
) -> Element:
    """The record of a frame, after a round through its bytes."""
    document = Recorder(item, settings).document(frame, record or the.record(frame, **facts))
    return xmldoc.parse(xmldoc.to_bytes(document))


def with_exif(**fields: Any) -> Element:
    """The record of the worked example with other EXIF."""
    return made(capture=the.exif(**fields))


def leaves(root: Element) -> Leaves:
    """Every element with a text, in the order of the document."""
    return [(local(each), each.text or "") for each in root.iter() if len(each) == 0]


def local(element: Element) -> str:
    """The name without its namespace."""
    return str(element.tag).partition("}")[2]


def all_of(root: Element, name: str) -> list[str]:
    """The texts of all elements of a name."""
    return [text for each, text in leaves(root) if each == name]


def one(root: Element, name: str) -> str | None:
    """The text of the one element of a name, or None if there is none."""
    texts = all_of(root, name)
    assert len(texts) < 2
    return texts[0] if texts else None


def fraction(root: Element, name: str) -> tuple[int, int] | None:
    """Numerator and denominator of a rational, or None if there is none."""
    found = root.find(f".//{{{mix.NAMESPACE}}}{name}")
    if found is None:
        return None
    numerator, denominator = (int(each.text or "") for each in found)
    return numerator, denominator


# ------------------------------------------------------------------------------- the worked example

# Z39.87 by MIX 2.0: an RGB master of 16 bits per sample, uncompressed, 600 per inch, from a camera.
WORKED_EXAMPLE = [
    ("objectIdentifierType", "local"),
    ("objectIdentifierValue", "B14_0005"),
    ("fileSize", "234319870"),
    ("formatName", "image/tiff"),
    ("formatVersion", "6.0"),
    ("formatRegistryName", "PRONOM"),
    ("formatRegistryKey", "fmt/353"),
    ("byteOrder", "little endian"),
    ("compressionScheme", "Uncompressed"),
    ("numerator", "1"),
    ("denominator", "1"),
    ("messageDigestAlgorithm", "SHA-512"),
    ("messageDigest", the.SHA512),
    ("messageDigestAlgorithm", "SHA-256"),
    ("messageDigest", the.SHA256),
    ("imageWidth", "5412"),
    ("imageHeight", "7216"),
    ("colorSpace", "RGB"),
    ("iccProfileName", "Wide RGB for manuscripts"),
    ("iccProfileVersion", "2.4.0"),
    ("sourceType", "codex, parchment"),
    ("sourceIDType", "shelfmark"),
    ("sourceIDValue", "MS B 14, f. 1r"),
    ("sourceIDType", "local"),
    ("sourceIDValue", "msb-014"),
    ("sourceXDimensionValue", "152"),
    ("sourceXDimensionUnit", "mm"),
    ("sourceYDimensionValue", "214"),
    ("sourceYDimensionUnit", "mm"),
    ("dateTimeCreated", "2026-03-09T10:11:12+01:00"),
    ("imageProducer", "Imaging unit"),
    ("imageProducer", "R. Vance"),
    ("captureDevice", "digital still camera"),
    ("digitalCameraManufacturer", "Kestrelworks"),
    ("digitalCameraModelName", "Merlin 150"),
    ("digitalCameraModelSerialNo", "KW-20417"),
    ("cameraSensor", "OneChipColorArea"),
    ("fNumber", "8"),
    ("exposureTime", "0.008"),
    ("exposureProgram", "Manual"),
    ("isoSpeedRatings", "50"),
    ("exifVersion", "0230"),
    ("meteringMode", "Spot"),
    ("lightSource", "Flash"),
    ("flash", "Flash fired"),
    ("focalLength", "120"),
    ("orientation", "normal*"),
    (
        "methodology",
        "session s1 of 2026-03-09; camera Kestrelworks Merlin 150 (camera-2); lens Osprey Macro 120 "
        "(lens-120); normal light; light Lumen 500 (flash-1); support book cradle (cradle-1)",
    ),
    ("samplingFrequencyPlane", "object plane"),
    ("samplingFrequencyUnit", "in."),
    ("numerator", "600"),
    ("denominator", "1"),
    ("numerator", "600"),
    ("denominator", "1"),
    ("bitsPerSampleValue", "16"),
    ("bitsPerSampleValue", "16"),
    ("bitsPerSampleValue", "16"),
    ("bitsPerSampleUnit", "integer"),
    ("samplesPerPixel", "3"),
    ("targetType", "external"),
    ("targetManufacturer", "Hueworks"),
    ("targetName", "24-patch colour target"),
    ("targetNo", "T-0093"),
    ("targetMedia", "matt paint"),
    ("externalTarget", "targets/B14_T001.tif"),
    ("performanceData", "metadata/quality.json"),
]


def test_worked_example_comes_out_leaf_by_leaf() -> None:
    assert leaves(made()) == WORKED_EXAMPLE


# --------------------------------------------------------------------------------- order of children

# The order of all elements that are written, from the schema of MIX 2.0: content is a sequence everywhere.
NAMES = """
    mix BasicDigitalObjectInformation ObjectIdentifier objectIdentifierType objectIdentifierValue fileSize
    FormatDesignation formatName formatVersion FormatRegistry formatRegistryName formatRegistryKey byteOrder
    Compression compressionScheme compressionRatio Fixity messageDigestAlgorithm messageDigest
    BasicImageInformation BasicImageCharacteristics imageWidth imageHeight PhotometricInterpretation
    colorSpace ColorProfile IccProfile iccProfileName iccProfileVersion LocalProfile localProfileName YCbCr
    YCbCrSubSampling yCbCrSubsampleHoriz yCbCrSubsampleVert yCbCrPositioning SpecialFormatCharacteristics
    JPEG2000 EncodingOptions Tiles tileWidth tileHeight qualityLayers resolutionLevels ImageCaptureMetadata
    SourceInformation sourceType SourceID sourceIDType sourceIDValue SourceSize SourceXDimension
    sourceXDimensionValue sourceXDimensionUnit SourceYDimension sourceYDimensionValue sourceYDimensionUnit
    SourceZDimension sourceZDimensionValue sourceZDimensionUnit GeneralCaptureInformation dateTimeCreated
    imageProducer captureDevice ScannerCapture scannerManufacturer ScannerModel scannerModelName
    scannerModelSerialNo scannerSensor ScanningSystemSoftware scanningSoftwareName scanningSoftwareVersionNo
    DigitalCameraCapture digitalCameraManufacturer DigitalCameraModel digitalCameraModelName
    digitalCameraModelSerialNo cameraSensor CameraCaptureSettings ImageData fNumber exposureTime
    exposureProgram spectralSensitivity isoSpeedRatings exifVersion exposureBiasValue meteringMode lightSource
    flash focalLength sensingMethod orientation methodology ImageAssessmentMetadata SpatialMetrics
    samplingFrequencyPlane samplingFrequencyUnit xSamplingFrequency ySamplingFrequency ImageColorEncoding
    BitsPerSample bitsPerSampleValue bitsPerSampleUnit samplesPerPixel TargetData targetType TargetID
    targetManufacturer targetName targetNo targetMedia externalTarget performanceData ChangeHistory
    ImageProcessing dateTimeProcessed processingAgency ProcessingSoftware processingSoftwareName
    processingSoftwareVersion processingOperatingSystemName numerator denominator
"""
ORDER = NAMES.split()
INFRARED = dataclasses.replace(
    the.RECTO, light=Light(kind=LightKind.INFRARED, qualifier="940 nm"), file=PurePosixPath("é #1.tif")
)


def everything() -> Iterator[Element]:
    """Records of very different frames."""
    yield made()
    yield made(the.TARGET_FRAME)
    yield made(the.FLAT_FRAME)
    yield made(INFRARED, bits_per_sample=(16,), photometric="BlackIsZero", icc=None)
    yield made(
        item=the.item(sessions=(the.session(camera="scanner-1", lens="", note="glass cleaned"),)),
        capture=CaptureFacts(software="Flatbed Suite 4.1", changed_at="2026-03-09T10:00:00"),
    )
    yield made(
        format=MasterFormat.JPEG,
        media_type="image/jpeg",
        compression="JPEG",
        byte_order="",
        bits_per_sample=(8, 8, 8),
        photometric="YCbCr",
        ycbcr_subsampling=(2, 1),
        ycbcr_positioning=1,
        capture=the.exif(software="Exporter 3.1", host_computer="workstation", sensing_method=2),
    )
    yield made(
        format=MasterFormat.JP2,
        media_type="image/jp2",
        compression="JPEG 2000",
        icc=None,
        declared_space="sRGB",
        jpeg2000=Jpeg2000Facts(
            is_reversible=True,
            tile_width_px=1024,
            tile_height_px=1024,
            quality_layers=1,
            decomposition_levels=5,
        ),
        item=the.item(size_mm=(72, 51, 22)),
        capture=the.exif(exposure_bias=Rational(numerator=-1, denominator=3)),
    )
    yield made(item=the.item(sessions=(), size_mm=(), material=""), capture=CaptureFacts())


def test_children_stand_in_the_order_of_the_schema() -> None:
    for root in everything():
        for parent in root.iter():
            places = [ORDER.index(local(child)) for child in parent]
            assert places == sorted(places)


def test_nothing_is_empty_and_every_element_is_mix() -> None:
    for root in everything():
        for each in root.iter():
            assert str(each.tag).startswith(f"{{{mix.NAMESPACE}}}")
            assert len(each) or (each.text and each.text.strip())
            assert not each.attrib


def test_records_are_valid_by_the_official_schema() -> None:
    for root in everything():
        assert_valid(xmldoc.to_bytes(root))


# ------------------------------------------------------------------------------------- codes and terms


@pytest.mark.parametrize(
    ("field", "name", "terms"),
    [
        ("exposure_program", "exposureProgram", mix.EXPOSURE_PROGRAMS),
        ("metering_mode", "meteringMode", mix.METERING_MODES),
        ("light_source", "lightSource", mix.LIGHT_SOURCES),
        ("flash", "flash", mix.FLASHES),
        ("sensing_method", "sensingMethod", mix.SENSING_METHODS),
    ],
)
def test_codes_become_terms_and_unknown_codes_nothing(field: str, name: str, terms: dict[int, str]) -> None:
    dark = the.item(sessions=(the.session(lights=()),))
    for code in (*range(-1, 100), 255):
        assert one(made(item=dark, capture=the.exif(**{field: code})), name) == terms.get(code)


@pytest.mark.parametrize("version", ["", "0210", "0231", "0232", "0300", "v2.3"])
def test_exif_versions_that_mix_does_not_know_are_left_out(version: str) -> None:
    assert one(with_exif(exif_version=version), "exifVersion") is None


@pytest.mark.parametrize("version", ["0220", "0221", "0230"])
def test_exif_versions_that_mix_knows_are_kept(version: str) -> None:
    assert one(with_exif(exif_version=version), "exifVersion") == version


@pytest.mark.parametrize(
    ("code", "term"),
    [
        (1, "normal*"),
        (2, "normal, image flipped"),
        (3, "normal, rotated 180°"),
        (4, "normal, image flipped, rotated 180°"),
        (5, "normal, image flipped, rotated cw 90°"),
        (6, "normal, rotated ccw 90°"),
        (7, "normal, image flipped, rotated ccw 90°"),
        (8, "normal, rotated cw 90°"),
        (0, "unknown"),
        (9, "unknown"),
    ],
)
def test_orientation_has_a_term_for_every_code(code: int, term: str) -> None:
    assert one(made(orientation=code), "orientation") == term


@pytest.mark.parametrize(
    ("exposure", "text"),
    [(Fraction(1, 125), "0.008"), (Fraction(1, 60), "0.0166667"), (Fraction(30), "30"), (Fraction(0), "0")],
)
def test_exposure_time_is_a_decimal_number_of_seconds(exposure: Fraction, text: str) -> None:
    assert one(with_exif(exposure_time_s=exposure), "exposureTime") == text


def test_focal_length_has_no_exponent() -> None:
    silent = the.item(sessions=(the.session(lens=""),))
    long = made(item=silent, capture=the.exif(focal_length_mm=Fraction(12_345_678)))
    assert one(long, "focalLength") == "12345678"


def test_speed_of_zero_is_left_out() -> None:
    assert one(with_exif(iso_speed=0), "isoSpeedRatings") is None


def test_exposure_bias_is_kept_as_the_file_has_it() -> None:
    bias = with_exif(exposure_bias=Rational(numerator=-10, denominator=30))
    assert fraction(bias, "exposureBiasValue") == (-10, 30)
    assert (
        fraction(with_exif(exposure_bias=Rational(numerator=0, denominator=0)), "exposureBiasValue") is None
    )


# ------------------------------------------------------------------------- the register and the file


def test_register_speaks_where_the_file_is_silent() -> None:
    root = made(capture=CaptureFacts())
    assert one(root, "captureDevice") == "digital still camera"
    assert one(root, "digitalCameraManufacturer") == "Kestrelworks"
    assert one(root, "digitalCameraModelName") == "Merlin 150"
    assert one(root, "digitalCameraModelSerialNo") == "KW-20417"
    assert one(root, "focalLength") == "120"
    assert one(root, "lightSource") == "Flash"
    assert one(root, "dateTimeCreated") == "2026-03-09"


def test_file_wins_for_the_camera_that_it_names() -> None:
    root = with_exif(make="KESTRELWORKS", model="Kestrelworks Merlin 150", body_serial="KW-9")
    assert one(root, "digitalCameraManufacturer") == "KESTRELWORKS"
    assert one(root, "digitalCameraModelName") == "Kestrelworks Merlin 150"
    assert one(root, "digitalCameraModelSerialNo") == "KW-9"


def test_serial_number_of_the_register_is_not_given_to_another_camera() -> None:
    root = with_exif(make="Harrier Optical", model="H-1", body_serial="")
    assert one(root, "digitalCameraModelName") == "H-1"
    assert one(root, "digitalCameraModelSerialNo") is None


@pytest.mark.parametrize("told", [None, Fraction(0), Fraction(50)])
def test_register_wins_for_the_focal_length_of_a_manual_lens(told: Fraction | None) -> None:
    assert one(with_exif(focal_length_mm=told), "focalLength") == "120"


@pytest.mark.parametrize(("code", "term"), [(None, "Flash"), (0, "Flash"), (4, "Flash"), (23, "D50")])
def test_lights_of_the_session_stand_in_for_an_unknown_light_source(code: int | None, term: str) -> None:
    assert one(with_exif(light_source=code), "lightSource") == term


def test_lights_that_differ_give_no_term() -> None:
    tungsten = dataclasses.replace(
        the.FLASH, identifier="hot-1", light_source="Tungsten (incandescent light)"
    )
    both = the.item(sessions=(the.session(lights=("flash-1", "hot-1")),))
    unit = the.settings(equipment=(*the.SETTINGS.equipment, tungsten))
    assert one(made(item=both, settings=unit, capture=CaptureFacts()), "lightSource") is None


def test_a_sensor_that_is_no_term_is_left_out() -> None:
    unit = the.settings(equipment=(dataclasses.replace(the.CAMERA, sensor="backside-illuminated"),))
    assert one(made(settings=unit), "cameraSensor") is None


def test_a_scanner_has_its_own_part_of_the_record() -> None:
    scanned = the.item(sessions=(the.session(camera="scanner-1", lens=""),))
    root = made(item=scanned, capture=CaptureFacts(software="Flatbed Suite v4.1"))
    assert one(root, "captureDevice") == "reflection print scanner"
    assert one(root, "scannerManufacturer") == "Flatfield"
    assert one(root, "scannerModelName") == "A2 Plus"
    assert one(root, "scannerModelSerialNo") == "FF-7"
    assert one(root, "scannerSensor") == "ColorTriLinear"
    assert one(root, "scanningSoftwareName") == "Flatbed Suite"
    assert one(root, "scanningSoftwareVersionNo") == "4.1"
    assert "DigitalCameraCapture" not in map(local, root.iter())
    assert "ChangeHistory" not in map(local, root.iter())


def test_a_scanner_with_light_from_behind_is_a_transmission_scanner() -> None:
    through = dataclasses.replace(the.RECTO, light=Light(kind=LightKind.TRANSMITTED))
    root = made(through, item=the.item(sessions=(the.session(camera="scanner-1"),)))
    assert one(root, "captureDevice") == "transmission scanner"


def test_area_sensor_of_a_scanner_is_spelled_as_the_schema_spells_it() -> None:
    scanner = dataclasses.replace(the.SCANNER, sensor="OneChipColorArea")
    scanned = the.item(sessions=(the.session(camera="scanner-1"),))
    root = made(item=scanned, settings=the.settings(equipment=(scanner,)))
    assert one(root, "scannerSensor") == "OneChipColourArea"


def test_without_register_and_exposure_the_device_is_not_guessed() -> None:
    root = made(item=the.item(sessions=()), capture=CaptureFacts(make="Kestrelworks", model="Merlin 150"))
    assert one(root, "captureDevice") is None
    assert one(root, "methodology") == "made with Kestrelworks Merlin 150; normal light"


def test_methodology_names_what_the_session_names_though_the_register_does_not_know_it() -> None:
    foreign = the.item(
        sessions=(
            the.session(
                camera="hired-1", lens="hired-2", lights=("hired-3",), support="hired-4", note="damp"
            ),
        )
    )
    assert one(made(item=foreign, capture=CaptureFacts()), "methodology") == (
        "session s1 of 2026-03-09; camera hired-1; lens hired-2; normal light; light hired-3; "
        "support hired-4; damp"
    )


def test_lens_in_the_file_is_named_if_the_session_names_none() -> None:
    lensless = the.item(sessions=(the.session(lens=""),))
    root = made(item=lensless, capture=the.exif(lens_make="Osprey", lens_model="Macro 90"))
    assert "lens Osprey Macro 90" in (one(root, "methodology") or "")


# ------------------------------------------------------------------------------------------ resolution


def test_resolution_per_centimetre_stays_per_centimetre() -> None:
    fine = Rational(numerator=23622, denominator=100)
    root = made(resolution_unit=ResolutionUnit.CENTIMETRE, x_resolution=fine, y_resolution=fine)
    assert one(root, "samplingFrequencyUnit") == "cm"
    assert fraction(root, "xSamplingFrequency") == (23622, 100)


def test_resolution_of_the_session_stands_in_for_a_file_without() -> None:
    root = made(
        item=the.item(sessions=(the.session(ppi=472.5),)),
        resolution_unit=ResolutionUnit.NONE,
        x_resolution=None,
        y_resolution=None,
    )
    assert one(root, "samplingFrequencyUnit") == "in."
    assert one(root, "samplingFrequencyPlane") == "object plane"
    assert fraction(root, "ySamplingFrequency") == (945, 2)


@pytest.mark.parametrize("placeholder", [1, 72, 96])
def test_a_placeholder_gives_way_to_the_sessions_resolution(placeholder: int) -> None:
    stated = Rational(numerator=placeholder)
    root = made(x_resolution=stated, y_resolution=stated)
    assert fraction(root, "xSamplingFrequency") == (600, 1)


def test_a_placeholder_that_nobody_corrects_is_not_the_objects_resolution() -> None:
    stated = Rational(numerator=72)
    root = made(item=the.item(sessions=(the.session(ppi=None),)), x_resolution=stated, y_resolution=stated)
    assert fraction(root, "xSamplingFrequency") == (72, 1)
    assert one(root, "samplingFrequencyPlane") is None


def test_resolution_without_a_unit_is_not_the_objects() -> None:
    root = made(
        item=the.item(sessions=()), resolution_unit=ResolutionUnit.NONE, x_resolution=Rational(numerator=1)
    )
    assert one(root, "samplingFrequencyUnit") == "no absolute unit of measurement"
    assert one(root, "samplingFrequencyPlane") is None


def test_resolution_over_zero_is_left_out() -> None:
    root = made(
        item=the.item(sessions=()), x_resolution=Rational(numerator=600, denominator=0), y_resolution=None
    )
    assert "SpatialMetrics" not in map(local, root.iter())


# ------------------------------------------------------------------------------- other kinds of master


def test_a_grey_master_in_infrared() -> None:
    root = made(INFRARED, bits_per_sample=(16,), photometric="BlackIsZero", icc=None)
    assert one(root, "colorSpace") == "BlackIsZero"
    assert all_of(root, "bitsPerSampleValue") == ["16"]
    assert one(root, "samplesPerPixel") == "1"
    assert one(root, "spectralSensitivity") == "infrared 940 nm"
    assert "ColorProfile" not in map(local, root.iter())


def test_compression_ratio_is_that_of_samples_to_file() -> None:
    root = made(
        compression="Deflate", width_px=1000, height_px=1000, bits_per_sample=(8, 8, 8), size_bytes=1_578_947
    )
    assert one(root, "compressionScheme") == "Deflate"
    assert fraction(root, "compressionRatio") == (19, 10)


def test_next_to_no_samples_have_no_ratio() -> None:
    tiny = made(compression="LZW", width_px=1, height_px=1, bits_per_sample=(8,), size_bytes=900)
    assert fraction(tiny, "compressionRatio") is None


def test_subsampling_that_mix_cannot_hold_is_left_out() -> None:
    root = made(photometric="YCbCr", ycbcr_subsampling=(3, 1), ycbcr_positioning=7)
    assert "YCbCr" not in map(local, root.iter())


def test_subsampling_of_a_jpeg() -> None:
    root = made(photometric="YCbCr", ycbcr_subsampling=(2, 1), ycbcr_positioning=2)
    assert one(root, "yCbCrSubsampleHoriz") == "2"
    assert one(root, "yCbCrSubsampleVert") == "1"
    assert one(root, "yCbCrPositioning") == "2"


def test_coding_of_a_jpeg_2000() -> None:
    coded = Jpeg2000Facts(
        is_reversible=True, tile_width_px=512, tile_height_px=256, quality_layers=3, decomposition_levels=0
    )
    root = made(format=MasterFormat.JP2, jpeg2000=coded)
    assert one(root, "formatRegistryKey") == "x-fmt/392"
    assert one(root, "tileWidth") == "512"
    assert one(root, "tileHeight") == "256"
    assert one(root, "qualityLayers") == "3"
    assert one(root, "resolutionLevels") == "1"


@pytest.mark.parametrize("declared", [True, False])
def test_a_space_that_is_not_embedded_is_a_local_profile(declared: bool) -> None:
    record = the.record(icc=None, declared_space="sRGB" if declared else "")
    assumed = record if declared else dataclasses.replace(record, assumed_profile="sRGB")
    assert one(made(record=assumed), "localProfileName") == "sRGB"


def test_format_without_a_sure_key_has_none() -> None:
    root = made(format=MasterFormat.PNG, media_type="image/png", byte_order="")
    assert one(root, "formatName") == "image/png"
    assert one(root, "formatRegistryKey") is None
    assert one(root, "byteOrder") is None


# ----------------------------------------------------------------------------------------- targets


def test_a_target_frame_holds_its_target_and_shows_nothing_of_the_item() -> None:
    root = made(the.TARGET_FRAME)
    assert one(root, "targetType") == "internal"
    assert one(root, "targetNo") == "T-0093"
    assert one(root, "externalTarget") is None
    assert one(root, "sourceType") == "test target"
    assert "SourceID" not in map(local, root.iter())


def test_targets_of_another_session_are_not_taken() -> None:
    foreign = dataclasses.replace(the.TARGET_FRAME, session="s2")
    assert one(made(item=the.item(frames=(the.RECTO, foreign))), "externalTarget") is None


def test_place_of_a_target_frame_is_percent_encoded() -> None:
    odd = dataclasses.replace(the.TARGET_FRAME, file=PurePosixPath("Farbkärtchen #1.tif"))
    root = made(item=the.item(frames=(the.RECTO, odd)))
    assert one(root, "externalTarget") == "targets/Farbk%C3%A4rtchen%20%231.tif"


# ------------------------------------------------------------------------------------ software, dates


def test_software_that_wrote_the_file_is_its_history() -> None:
    root = with_exif(
        software="Lumen Convert 4.1.2", host_computer="Workbench", changed_at="2026-03-10T08:00:00"
    )
    assert one(root, "dateTimeProcessed") == "2026-03-10T08:00:00"
    assert one(root, "processingAgency") == "Imaging unit"
    assert one(root, "processingSoftwareName") == "Lumen Convert"
    assert one(root, "processingSoftwareVersion") == "4.1.2"
    assert one(root, "processingOperatingSystemName") == "Workbench"


@pytest.mark.parametrize(
    ("software", "parts"),
    [
        ("Exporter 3.1", ("Exporter", "3.1")),
        ("Exporter v3.1-beta", ("Exporter", "3.1-beta")),
        ("Exporter", ("Exporter", "")),
        ("3.1", ("3.1", "")),
        ("Studio 12 Pro", ("Studio 12 Pro", "")),
        ("", ("", "")),
    ],
)
def test_version_is_the_last_word_if_it_begins_with_a_digit(software: str, parts: tuple[str, str]) -> None:
    assert split_version(software) == parts


@pytest.mark.parametrize(
    ("text", "valid"),
    [
        ("2026-03-09T10:11:12+01:00", "2026-03-09T10:11:12+01:00"),
        ("2026-03-09T10:11:12", "2026-03-09T10:11:12"),
        ("2026-03-09", "2026-03-09"),
        ("2026:03:09 10:11:12", None),
        ("2026-02-30", None),
        ("0000-00-00T00:00:00", None),
        ("2026-03-09T10:11:12+23:00", "2026-03-09T10:11:12"),
        ("2026-03-09T10:11:12Z", "2026-03-09T10:11:12+00:00"),
        ("2026-03-09T10:11:12.5", "2026-03-09T10:11:12.500000"),
        ("2026-03-09T10:11:12+01:00:30", None),
        ("2026-02-30T10:11:12", None),
        ("20260309", None),
        ("2026-W10", None),
        ("٢٠٢٦-03-09", None),
        ("", None),
    ],
)
def test_times_are_valid_or_left_out(text: str, valid: str | None) -> None:
    assert valid_time(text) == valid


# ------------------------------------------------------------------------------- an independent reader


SPACES = {"RGB": "RGB", "MINISBLACK": "BlackIsZero", "MINISWHITE": "WhiteIsZero", "YCBCR": "YCbCr"}


@pytest.mark.parametrize("kind", make.TIFF_KINDS, ids=lambda kind: kind.name)
def test_values_are_those_that_tifffile_reads(kind: make.TiffKind, tmp_path: Path) -> None:
    path = make.tiff(tmp_path / "B14_0005.tif", kind)
    header = read_header(path)
    stored = StoredFile(
        path=PurePosixPath(path.name),
        size_bytes=path.stat().st_size,
        fixity=(),
        media_type=header.facts.media_type,
    )
    record = FrameRecord(
        frame="B14_0005", master=stored, facts=header.facts, pixel_digest="", read_at=the.NOW
    )
    root = made(record=record)
    with tifffile.TiffFile(path) as reader:
        page = reader.pages.first
        assert one(root, "imageWidth") == str(page.imagewidth)
        assert one(root, "imageHeight") == str(page.imagelength)
        assert all_of(root, "bitsPerSampleValue") == [str(page.bitspersample)] * page.samplesperpixel
        assert one(root, "samplesPerPixel") == str(page.samplesperpixel)
        assert one(root, "byteOrder") == {"<": "little endian", ">": "big endian"}[reader.byteorder]
        assert one(root, "fileSize") == str(path.stat().st_size)
        assert one(root, "samplingFrequencyUnit") is not None
        if kind.unit != "NONE":
            assert fraction(root, "xSamplingFrequency") == page.tags["XResolution"].value
        assert one(root, "formatVersion") == (None if reader.is_bigtiff else "6.0")
        assert one(root, "colorSpace") == SPACES[page.photometric.name]


# ------------------------------------------------------------------------------------ any text, any order

texts = st.text(st.characters(exclude_categories=["Cs"]), max_size=40)


@given(label=texts, note=texts, maker=texts, name=texts, material=texts)
def test_any_text_gives_a_record_that_reads_back(
    label: str, note: str, maker: str, name: str, material: str
) -> None:
    frame = dataclasses.replace(the.RECTO, label=label)
    unit = the.settings(equipment=(dataclasses.replace(the.TARGET, name=name, maker=maker, medium=material),))
    item = the.item(material=material, sessions=(the.session(note=note, operator=maker),))
    root = made(frame, item=item, settings=unit, icc=_profile(name))
    assert all((each.text or "").strip() for each in root.iter() if len(each) == 0)
    if shown := xmldoc.clean_text(name).replace("\r", "\n").strip():
        assert (one(root, "iccProfileName") or "").replace("\r", "\n") == shown


def _profile(description: str) -> IccFacts:
    return dataclasses.replace(the.ICC, description=description)


frames = st.sampled_from((the.RECTO, the.VERSO, the.TARGET_FRAME, the.FLAT_FRAME, INFRARED))
changes: list[dict[str, Any]] = [
    {},
    {"width_px": 100},
    {"icc": None},
    {"bits_per_sample": (8, 8, 8)},
    {"x_resolution": Rational(numerator=300)},
    {"capture": the.exif(captured_at="2026-03-09T11:00:00+01:00")},
    {"capture": the.exif(f_number=Fraction(11))},
    {"capture": CaptureFacts()},
    {"orientation": 6},
    {"size_bytes": 7},
]


@given(st.lists(st.tuples(frames, st.sampled_from(changes)), max_size=8))
def test_records_do_not_depend_on_those_made_before(made_of: list[tuple[Frame, dict[str, Any]]]) -> None:
    recorder = Recorder(the.ITEM, the.SETTINGS)
    for frame, facts in made_of:
        record = the.record(frame, **facts)
        alone = Recorder(the.ITEM, the.SETTINGS).document(frame, record)
        assert xmldoc.to_bytes(recorder.document(frame, record)) == xmldoc.to_bytes(alone)


def test_a_session_of_two_days_ago_is_dated_by_its_record_if_the_file_has_no_time() -> None:
    item = the.item(sessions=(the.session(date=dt.date(2024, 2, 29)),))
    assert one(made(item=item, capture=CaptureFacts()), "dateTimeCreated") == "2024-02-29"


def test_equipment_of_the_wrong_kind_is_no_scanner() -> None:
    camera = dataclasses.replace(the.SCANNER, identifier="camera-2", kind=EquipmentKind.CAMERA)
    root = made(settings=the.settings(equipment=(camera,)), capture=CaptureFacts())
    assert one(root, "digitalCameraModelName") == "A2 Plus"


def test_flat_frames_have_the_targets_of_their_session() -> None:
    flat = dataclasses.replace(the.FLAT_FRAME, kind=FrameKind.FLAT)
    assert one(made(flat), "externalTarget") == "targets/B14_T001.tif"
