"""An item as the rules see it: facts without files. Everything is in order; a test breaks one thing."""

from __future__ import annotations

import datetime as dt
import hashlib
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from pathlib import PurePosixPath
from typing import Any

from pipeline import check, specification
from pipeline.findings import Report
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
    Item,
    ItemKind,
    LanguageMap,
    MasterFacts,
    MasterFormat,
    Rational,
    ResolutionUnit,
    Session,
    Settings,
    StoredFile,
    UnreadableMaster,
)

NOW = dt.datetime(2026, 3, 10, 9, 0, tzinfo=dt.UTC)
SESSION = Session(
    identifier="s1",
    date=dt.date(2026, 3, 9),
    operator="imaging unit",
    camera="camera-2",
    lens="lens-120",
    lights=("flash-1", "flash-2"),
    support="cradle-1",
    ppi=600,
)
PROFILE = IccFacts(
    description="eciRGB v2",
    version="2.4.0",
    device_class="mntr",
    colour_space="RGB",
    connection_space="XYZ",
    size_bytes=560,
    sha256="0" * 64,
)
SETTINGS = Settings(
    holder=Holder(name=LanguageMap.of("Aldermoor Library", "en")),
    equipment=(
        Equipment(identifier="camera-2", kind=EquipmentKind.CAMERA, maker="Kestrelworks", model="Repro 150"),
        Equipment(identifier="lens-120", kind=EquipmentKind.LENS, maker="Tern Optical", model="Macro 120"),
    ),
)


def frame(number: int, label: str, kind: FrameKind = FrameKind.PAGE, **changes: Any) -> Frame:
    """A frame of session s1 in row `number` + 1."""
    name = f"b14_{number:04}"
    given = Frame(
        identifier=name,
        file=PurePosixPath(f"{name}.tif"),
        label=label,
        kind=kind,
        session="s1",
        row=number + 1,
    )
    return replace(given, **changes)


def sha512(text: str) -> Fixity:
    """The digest that a file with this content would have."""
    return Fixity(Algorithm.SHA512, hashlib.sha512(text.encode()).hexdigest())


def facts(number: int = 1) -> MasterFacts:
    """What a good master's header says; captured one minute after the one before."""
    taken = (dt.datetime(2026, 3, 9, 8, 0) + dt.timedelta(minutes=number)).isoformat()
    return MasterFacts(
        format=MasterFormat.TIFF,
        media_type="image/tiff",
        size_bytes=72_000_000,
        width_px=3000,
        height_px=4000,
        bits_per_sample=(16, 16, 16),
        photometric="RGB",
        compression="Uncompressed",
        byte_order="little endian",
        resolution_unit=ResolutionUnit.INCH,
        x_resolution=Rational(numerator=600),
        y_resolution=Rational(numerator=600),
        icc=PROFILE,
        capture=CaptureFacts(
            make="Kestrelworks",
            model="Kestrelworks Repro 150",
            lens_model="Macro 120",
            exposure_time_s=Fraction(1, 125),
            f_number=Fraction(8),
            iso_speed=100,
            captured_at=taken,
            changed_at=taken,
        ),
    )


def record(of: Frame, **changes: Any) -> FrameRecord:
    """The record of a good master of this frame."""
    assert of.file is not None
    stored = StoredFile(
        path=of.file, size_bytes=72_000_000, fixity=(sha512(str(of.file)),), media_type="image/tiff"
    )
    given = FrameRecord(
        frame=of.identifier,
        master=stored,
        facts=facts(of.row),
        pixel_digest=hashlib.sha256(str(of.file).encode()).hexdigest(),
        read_at=NOW,
    )
    return replace(given, **changes)


def item(frames: Sequence[Frame], **changes: Any) -> Item:
    """A cleared codex with these frames."""
    given = Item(
        identifier="msb-014",
        shelfmark="MS B 14",
        kind=ItemKind.CODEX,
        title=LanguageMap.of("Herbal and calendar", "en"),
        care=Care(cleared=True, assessed_on=dt.date(2026, 3, 2), largest_opening_deg=100),
        frames=tuple(frames),
        views=(),
        sessions=(SESSION,),
    )
    return replace(given, **changes)


def good_frames() -> tuple[Frame, ...]:
    """Target and flat at both ends, covers, two leaves and one page that was not captured."""
    pages = ["f. 1r", "f. 1v", "f. 2r", "f. 2v", "f. 3r"]
    return (
        frame(1, "target", FrameKind.TARGET),
        frame(2, "flat", FrameKind.FLAT),
        frame(3, "front cover", FrameKind.COVER),
        *(frame(number, label) for number, label in enumerate(pages, start=4)),
        frame(9, "f. 3v", file=None),
        frame(10, "back cover", FrameKind.COVER),
        *closing(),
    )


def closing(number: int = 11) -> tuple[Frame, Frame]:
    """The target and the flat that a session ends with; captured after whatever has a smaller number."""
    return frame(number, "target, end", FrameKind.TARGET), frame(number + 1, "flat, end", FrameKind.FLAT)


@dataclass(slots=True, kw_only=True)
class World:
    """All that is judged together; a test changes one thing and judges."""

    item: Item | None = field(default_factory=lambda: item(good_frames()))
    frames: tuple[Frame, ...] = field(default_factory=good_frames)
    records: dict[str, FrameRecord] = field(default_factory=dict)
    unreadable: tuple[UnreadableMaster, ...] = ()
    settings: Settings = SETTINGS
    specification: specification.Specification = field(default_factory=specification.load)
    waiver: str = ""

    def __post_init__(self) -> None:
        """Give every captured frame a good record."""
        if not self.records:
            self.records = {f.identifier: record(f) for f in self.frames if f.file is not None}

    def with_frames(self, frames: Sequence[Frame], **item_changes: Any) -> World:
        """Another world with these frames."""
        return World(item=item(frames, **item_changes), frames=tuple(frames), settings=self.settings)

    def change_item(self, **changes: Any) -> World:
        """Change the item's record."""
        assert self.item is not None
        self.item = replace(self.item, **changes)
        return self

    def change_record(self, at: int, **changes: Any) -> World:
        """Change the record of the frame at this place."""
        name = self.frames[at].identifier
        self.records[name] = replace(self.records[name], **changes)
        return self

    def change_facts(self, at: int, **changes: Any) -> World:
        """Change the technical facts of the frame at this place."""
        return self.change_record(at, facts=replace(self.facts(at), **changes))

    def change_capture(self, at: int, **changes: Any) -> World:
        """Change what the file at this place says of its capture."""
        return self.change_facts(at, capture=replace(self.facts(at).capture, **changes))

    def change_all_facts(self, **changes: Any) -> World:
        """Change the technical facts of all frames."""
        for at, each in enumerate(self.frames):
            if each.file is not None:
                self.change_facts(at, **changes)
        return self

    def facts(self, at: int) -> MasterFacts:
        """The technical facts of the frame at this place."""
        return self.records[self.frames[at].identifier].facts

    def change_frame(self, at: int, **changes: Any) -> World:
        """Change the row at this place; its record stays."""
        changed = replace(self.frames[at], **changes)
        self.frames = (*self.frames[:at], changed, *self.frames[at + 1 :])
        return self.change_item(frames=self.frames)

    def judge(self) -> Report:
        """Judge."""
        return check.judge(
            self.item,
            self.frames,
            self.records,
            self.unreadable,
            self.settings,
            self.specification,
            waiver=self.waiver,
        )
