"""An item whose sessions, register and masters say all that can be said, and changes to its parts.

The master is that of the worked example of the MIX records: RGB, 16 bits, uncompressed, 600 per inch.
Makers and people are invented.
"""

from __future__ import annotations

import dataclasses
import datetime as dt
from fractions import Fraction
from pathlib import PurePosixPath
from typing import Any

from pipeline.model import (
    Algorithm,
    CaptureFacts,
    Care,
    Equipment,
    EquipmentKind,
    Fixity,
    Frame,
    FrameKind,
    FrameRecord,
    Holder,
    IccFacts,
    Identifier,
    Item,
    ItemKind,
    LanguageMap,
    MasterFacts,
    MasterFormat,
    Person,
    Rational,
    ResolutionUnit,
    Section,
    Session,
    Settings,
    StoredFile,
    View,
)

NOW = dt.datetime(2026, 3, 10, 12, tzinfo=dt.UTC)
SHA512 = "0a" * 64
SHA256 = "0b" * 32

CAMERA = Equipment(
    identifier="camera-2",
    kind=EquipmentKind.CAMERA,
    maker="Kestrelworks",
    model="Merlin 150",
    serial="KW-20417",
    sensor="OneChipColorArea",
)
LENS = Equipment(
    identifier="lens-120", kind=EquipmentKind.LENS, maker="Osprey", model="Macro 120", focal_length_mm=120
)
FLASH = Equipment(identifier="flash-1", kind=EquipmentKind.LIGHT, model="Lumen 500", light_source="Flash")
CRADLE = Equipment(identifier="cradle-1", kind=EquipmentKind.SUPPORT, name="book cradle")
TARGET = Equipment(
    identifier="target-24",
    kind=EquipmentKind.TARGET,
    maker="Hueworks",
    name="24-patch colour target",
    serial="T-0093",
    medium="matt paint",
)
SCANNER = Equipment(
    identifier="scanner-1",
    kind=EquipmentKind.SCANNER,
    maker="Flatfield",
    model="A2 Plus",
    serial="FF-7",
    sensor="ColorTriLinear",
)

SETTINGS = Settings(
    holder=Holder(
        name=LanguageMap((("en", ("Aldermoor Library",)), ("de", ("Bibliothek Aldermoor",)))),
        identifier="https://aldermoor.example.org/id",
        homepage="https://aldermoor.example.org/",
    ),
    unit_name="Imaging unit",
    base_url="https://images.aldermoor.example.org",
    base_url_is_default=False,
    rights="http://creativecommons.org/publicdomain/mark/1.0/",
    credit=LanguageMap.of("Aldermoor Library, imaging unit", "en"),
    equipment=(CAMERA, LENS, FLASH, CRADLE, TARGET, SCANNER),
)
SESSION = Session(
    identifier="s1",
    date=dt.date(2026, 3, 9),
    operator="R. Vance",
    camera="camera-2",
    lens="lens-120",
    lights=("flash-1",),
    support="cradle-1",
    targets=("target-24",),
    ppi=600,
)
EXIF = CaptureFacts(
    make="Kestrelworks",
    model="Merlin 150",
    body_serial="KW-20417",
    exposure_time_s=Fraction(1, 125),
    f_number=Fraction(8),
    iso_speed=50,
    focal_length_mm=Fraction(120),
    exposure_program=1,
    metering_mode=3,
    light_source=4,
    flash=1,
    exif_version="0230",
    captured_at="2026-03-09T10:11:12+01:00",
)
ICC = IccFacts(
    description="Wide RGB for manuscripts",
    version="2.4.0",
    device_class="mntr",
    colour_space="RGB",
    connection_space="XYZ",
    size_bytes=560,
    sha256="0c" * 32,
)
FACTS = MasterFacts(
    format=MasterFormat.TIFF,
    media_type="image/tiff",
    size_bytes=234_319_870,
    width_px=5412,
    height_px=7216,
    bits_per_sample=(16, 16, 16),
    photometric="RGB",
    compression="Uncompressed",
    byte_order="little endian",
    resolution_unit=ResolutionUnit.INCH,
    x_resolution=Rational(numerator=600),
    y_resolution=Rational(numerator=600),
    icc=ICC,
    capture=EXIF,
)


def frame(name: str, label: str, kind: FrameKind = FrameKind.PAGE, **fields: Any) -> Frame:
    """A captured frame of session s1."""
    made = Frame(identifier=name, file=PurePosixPath(f"{name}.tif"), label=label, kind=kind, session="s1")
    return dataclasses.replace(made, **fields)


RECTO = frame("B14_0005", "f. 1r")
VERSO = frame("B14_0006", "f. 1v")
TARGET_FRAME = frame("B14_T001", "", FrameKind.TARGET)
FLAT_FRAME = frame("B14_F001", "", FrameKind.FLAT)


def record(of: Frame = RECTO, **facts: Any) -> FrameRecord:
    """What is found in the master of a frame; `facts` differ from the worked example."""
    found = dataclasses.replace(FACTS, **facts)
    return FrameRecord(
        frame=of.identifier,
        master=StoredFile(
            path=of.file or PurePosixPath("none"),
            size_bytes=found.size_bytes,
            fixity=(Fixity(Algorithm.SHA512, SHA512), Fixity(Algorithm.SHA256, SHA256)),
            media_type=found.media_type,
        ),
        facts=found,
        pixel_digest="0d" * 32,
        read_at=NOW,
    )


def view(of: Frame, order: int) -> View:
    """The view that one frame shows."""
    return View(
        identifier=of.label.replace(". ", "-"), label=of.label, kind=of.kind, frames=(of,), order=order
    )


ITEM = Item(
    identifier="msb-014",
    shelfmark="MS B 14",
    kind=ItemKind.CODEX,
    title=LanguageMap((("en", ("Herbal and calendar",)), ("la", ("Herbarium cum calendario",)))),
    care=Care(cleared=True, assessed_by="conservator", assessed_on=dt.date(2026, 3, 2)),
    frames=(RECTO, VERSO, TARGET_FRAME, FLAT_FRAME),
    views=(view(RECTO, 1), view(VERSO, 2)),
    sections=(
        Section(identifier="calendar", label=LanguageMap.of("Calendar", "en"), views=("f-1r", "f-1v")),
    ),
    sessions=(SESSION,),
    summary=LanguageMap.of("A herbal with a calendar.", "en"),
    date="c. 1380",
    date_range=(1370, 1395),
    place="Aldermoor",
    languages=("la",),
    script="Latn",
    material="parchment",
    extent="ff. ii + 46 + ii",
    size_mm=(214, 152),
    condition="Ink flaking on f. 1r.",
    people=(Person(name="Brother Anselm", role="scribe", role_code="scr"),),
    identifiers=(Identifier(scheme="doi", value="10.5555/alm.14"),),
    collection="Chapter library",
    catalogue_url="https://catalogue.example.org/msb-014",
)


def item(**fields: Any) -> Item:
    """The item with other fields."""
    return dataclasses.replace(ITEM, **fields)


def settings(**fields: Any) -> Settings:
    """The settings with other fields."""
    return dataclasses.replace(SETTINGS, **fields)


def exif(**fields: Any) -> CaptureFacts:
    """The EXIF of the worked example with other fields."""
    return dataclasses.replace(EXIF, **fields)


def session(**fields: Any) -> Session:
    """The session with other fields."""
    return dataclasses.replace(SESSION, **fields)
