"""Every rule has a passing and a failing case; what is found is compared as an exact set of codes."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction
from pathlib import PurePosixPath
from typing import Any

import numpy as np
import pytest

from pipeline import check
from pipeline.findings import Level, Rule
from pipeline.measure.likeness import Signature
from pipeline.measurements import FrameMeasures, Mark
from pipeline.model import (
    CaptureFacts,
    Care,
    Frame,
    FrameKind,
    IccFacts,
    ItemKind,
    Jpeg2000Facts,
    Light,
    LightKind,
    MasterFormat,
    Rational,
    ResolutionUnit,
    UnreadableMaster,
    ViewingDirection,
)
from pipeline.specification import load
from tests.check.world import PROFILE, SESSION, World, closing, frame, good_frames, item, record

TARGET, FLAT, COVER, F1R, F1V, F2R = range(6)
TARGET_END, FLAT_END = 10, 11
RAKING = PurePosixPath("b14_0002_raking.tif")
RAKED = LightKind.RAKING
TWO_LEAVES = ("f. 1r", "f. 1v", "f. 2r", "f. 2v")
Change = Callable[[World], World]

RULES: dict[str, Rule[Any]] = {code: rule for reg in check.registers() for code, rule in reg.rules.items()}


def unreadable(world: World) -> World:
    del world.records[world.frames[F1R].identifier]
    broken = UnreadableMaster(
        frame=world.frames[F1R].identifier, file=PurePosixPath("b14_0004.tif"), reason="ends early"
    )
    world.unreadable = (broken,)
    return world


def pages(*labels: str, kind: FrameKind = FrameKind.PAGE, **changes: Any) -> Change:
    """The same target and flat, then these labels."""
    shown = tuple(frame(number, label, kind) for number, label in enumerate(labels, start=3))
    return lambda world: world.with_frames((*good_frames()[:2], *shown, *closing(50)), **changes)


def with_more(*more: Frame) -> tuple[Frame, ...]:
    """The good frames and some after them, before the closing target and flat."""
    return (*good_frames()[:-2], *more, *closing(50))


def per_cm(numerator: int, denominator: int = 1) -> dict[str, Any]:
    number = Rational(numerator=numerator, denominator=denominator)
    return {"resolution_unit": ResolutionUnit.CENTIMETRE, "x_resolution": number, "y_resolution": number}


def per_inch(across: int, down: int | None = None) -> dict[str, Any]:
    return {
        "x_resolution": Rational(numerator=across),
        "y_resolution": Rational(numerator=across if down is None else down),
    }


def session_ppi(ppi: float, **stated: Any) -> Change:
    return lambda w: w.change_all_facts(**stated).change_item(sessions=(replace(SESSION, ppi=ppi),))


def specified(name: str, change: Change) -> Change:
    def changed(world: World) -> World:
        world.specification = load(name)
        return change(world)

    return changed


def jp2(*, is_reversible: bool) -> Change:
    coding = Jpeg2000Facts(
        is_reversible=is_reversible,
        tile_width_px=1024,
        tile_height_px=1024,
        quality_layers=1,
        decomposition_levels=5,
    )

    def changed(world: World) -> World:
        world.change_all_facts(format=MasterFormat.JP2, compression="JPEG 2000", jpeg2000=coding)
        for at, each in enumerate(world.frames):
            if each.file is not None:
                world.change_frame(at, file=each.file.with_suffix(".jp2"))
        return world

    return changed


def waived(world: World) -> World:
    world.waiver = "photographed where it lies"
    return world.change_item(care=Care(cleared=False, largest_opening_deg=90))


def doubled(world: World) -> World:
    first = world.records[world.frames[F1R].identifier]
    return world.change_record(
        F2R, master=replace(first.master, path=PurePosixPath("x")), pixel_digest=first.pixel_digest
    )


def named(*names: str) -> Change:
    def changed(world: World) -> World:
        for at, name in enumerate(names, start=F1R):
            world.change_frame(at, file=PurePosixPath(name))
        return world

    return changed


def backwards(world: World) -> World:
    for at, each in enumerate(world.frames):
        if each.file is not None:
            world.change_capture(at, captured_at=f"2026-03-09T08:{59 - at}:00", changed_at="")
    return world


def alike(*at: int) -> Change:
    """Frames whose pictures show the same page."""
    ink = np.random.default_rng(5).normal(0, 1, (102, 78)).astype(np.float32)
    measures = FrameMeasures(signature=Signature(ink).written())

    def changed(world: World) -> World:
        for each in at:
            world.change_record(each, measures=measures)
        return world

    return changed


def sized(at: int, width: int, height: int) -> Change:
    """A frame of another size than its siblings."""
    return lambda w: w.change_facts(at, width_px=width, height_px=height)


def eight_leaves(*swapped: str) -> World:
    """Rectos lie left of the middle, versos right of it, all a little astray; `swapped` the other way."""
    sides = [f"f. {leaf}{side}" for leaf in range(1, 9) for side in "rv"]
    world = pages(*sides)(World())
    for at, label in enumerate(sides, start=2):
        middle = (0.45 if (label[-1] == "r") is not (label in swapped) else 0.55) + 0.002 * (at % 3)
        outline = tuple((middle + dx, y) for dx, y in ((-0.4, 0.1), (0.4, 0.1), (0.4, 0.9), (-0.4, 0.9)))
        world.change_record(at, measures=FrameMeasures(marks=(Mark(kind="page outline", points=outline),)))
    return world


def shuffled(world: World) -> World:
    """Rows of targets and flats stand together at the end; their clock says when they were captured."""
    target, flat, *others = world.frames
    records = world.records
    again = world.with_frames((*others, target, flat))
    again.records = records
    return again


def profile(description: str) -> IccFacts:
    return replace(PROFILE, description=description)


def printed(world: World) -> World:
    return world.change_facts(F1R, icc=replace(PROFILE, description="Coated paper", device_class="prtr"))


def in_light(kind: LightKind) -> Change:
    """Frames of the first leaf in another light, grey and at 8 bits, after the page in normal light."""

    def changed(world: World) -> World:
        lit = tuple(
            replace(frame(20 + n, label), light=Light(kind=kind))
            for n, label in enumerate(("f. 1r", "f. 1v"))
        )
        other = world.with_frames(with_more(*lit))
        grey = replace(PROFILE, description="Grey, sRGB curve", colour_space="GRAY")
        for at in (len(other.frames) - 4, len(other.frames) - 3):
            other.change_facts(at, icc=grey, bits_per_sample=(8,))
        return other

    return changed


FAILING: dict[str, list[tuple[str, Change, set[str]]]] = {
    "F001": [("cut off", unreadable, {"F001"})],
    "F002": [
        ("JPEG", lambda w: named("a.jpg")(w).change_facts(F1R, format=MasterFormat.JPEG, compression="JPEG"),
         {"F002", "S014"}),
        ("PNG", lambda w: named("a.png")(w).change_facts(F1R, format=MasterFormat.PNG, compression="Deflate"),
         {"F002", "S014"}),
    ],
    "F003": [
        ("JPEG inside TIFF", lambda w: w.change_facts(F1R, compression="JPEG"), {"F003", "S014"}),
        ("irreversible JPEG 2000", jp2(is_reversible=False), {"F003"}),
    ],
    "F004": [
        ("8 bit at 4 star",
         specified("fadgi-2016-bound-rare-4-star", lambda w: w.change_all_facts(bits_per_sample=(8, 8, 8))),
         {"F004"}),
    ],
    "F005": [("untagged", lambda w: w.change_facts(F1R, icc=None), {"F005", "S013"})],
    "F006": [
        ("assumed",
         lambda w: w.change_facts(F1R, icc=None).change_record(F1R, assumed_profile="eciRGB v2"),
         {"F006", "S013"}),
    ],
    "F007": [("a printer's", printed, {"F007", "S013"})],
    "F008": [
        ("sRGB", lambda w: w.change_all_facts(icc=replace(PROFILE, description="sRGB IEC61966-2.1")),
         {"F008"}),
        ("declared by the format", lambda w: w.change_all_facts(icc=None, declared_space="sRGB"), {"F008"}),
        ("without a name", lambda w: w.change_all_facts(icc=replace(PROFILE, description="")), {"F008"}),
        ("grey in raking light", in_light(LightKind.RAKING), {"F008"}),
    ],
    "F009": [
        ("no tags", lambda w: w.change_facts(F1R, x_resolution=None, y_resolution=None), {"F009"}),
        ("no unit", lambda w: w.change_facts(F1R, resolution_unit=ResolutionUnit.NONE), {"F009"}),
        ("denominator 0", lambda w: w.change_facts(F1R, x_resolution=Rational(numerator=1, denominator=0)),
         {"F009"}),
    ],
    "F010": [("not square", lambda w: w.change_facts(F1R, **per_inch(600, 601)), {"F010", "F030"})],
    "F011": [
        ("72 per inch", lambda w: w.change_facts(F1R, **per_inch(72)), {"F011"}),
        ("72 as centimetres", lambda w: w.change_facts(F1R, **per_cm(2835, 100)), {"F011"}),
        ("96 per inch", lambda w: w.change_facts(F1R, **per_inch(96)), {"F011"}),
        ("1 per inch", lambda w: w.change_facts(F1R, **per_inch(1)), {"F011"}),
    ],
    "F012": [
        ("299 ppi", session_ppi(299, **per_inch(299)), {"F012"}),
        ("150 ppi, another session's number", lambda w: w.change_facts(F1R, **per_inch(150)),
         {"F012", "F030"}),
    ],
    "F013": [("turned", lambda w: w.change_facts(F1R, orientation=3), {"F013"})],
    "F014": [
        ("edited", lambda w: w.change_capture(F1R, changed_at="2026-03-09T18:00:00"), {"F014"}),
        ("edited, one zone known", lambda w: w.change_capture(F1R, changed_at="2026-03-09T18:00:00+01:00"),
         {"F014"}),
    ],
    "F015": [("located", lambda w: w.change_capture(F1R, has_location=True), {"F015"})],
    "F016": [
        ("a blank", named("b14 0004.tif"), {"F016"}),
        ("two full stops", named("b14.0004.tif"), {"F016"}),
        ("a letter beyond ASCII", named("b14_ü0004.tif"), {"F016"}),
        ("a device name", named("aux.tif"), {"F016", "S024"}),
    ],
    "F017": [("33 characters", named("b14_0004_" + "a" * 20 + ".tif"), {"F017"})],
    "F018": [
        ("another extension", named("b14_0004.jpg"), {"F018"}),
        ("no extension", named("b14_0004"), {"F018"}),
    ],
    "F030": [
        ("400 for 600", lambda w: w.change_facts(F1R, **per_inch(400)), {"F030"}),
        ("601 for 600", lambda w: w.change_facts(F1R, **per_inch(601)), {"F030"}),
        ("two off per centimetre", session_ppi(400, **per_cm(158)), {"F030"}),
        ("not whole per centimetre", session_ppi(400, **per_cm(1571, 10)), {"F030"}),
    ],
    "F031": [
        ("another day",
         lambda w: w.change_capture(F1R, captured_at="2026-03-10T08:05:00", changed_at=""),
         {"F031", "S015", "S018", "S019"}),
    ],
    "F032": [
        ("another model", lambda w: w.change_capture(F1R, model="Repro 50"), {"F032"}),
        ("another maker of the same model name",
         lambda w: camera_without_model(w).change_capture(F1R, make="Otherworks"), {"F032"}),
    ],
    "F033": [("another lens", lambda w: w.change_capture(F1R, lens_model="Macro 80"), {"F033", "S030"})],
    "S020": [("the same bytes", doubled, {"S020"})],
    "S021": [
        ("the same pixels",
         lambda w: w.change_record(F2R, pixel_digest=w.records[w.frames[F1R].identifier].pixel_digest),
         {"S021"}),
    ],
    "S026": [
        ("the next recto", alike(F1R, F2R), {"S026"}),
        ("seven frames on",
         lambda w: alike(2, 9)(
             pages("f. 1r", "f. 1v", "f. 2r", "f. 2v", "f. 3r", "f. 3v", "f. 4r", "f. 4v")(w)),
         {"S026"}),
        ("an opening",
         lambda w: alike(F1R, F2R)(w.change_frame(F1R, label="ff. 1v–2r", kind=FrameKind.OPENING)
                                   .change_frame(F2R, label="ff. 2v–3r", kind=FrameKind.OPENING)
                                   .change_item(follows_foliation=False)), {"S026"}),
    ],
    "S022": [("no leading zeros", named("b14_9.tif", "b14_10.tif"), {"S022"})],
    "S023": [("capitals", named("B14_0004.tif"), {"S023"})],
    "S024": [
        ("a reserved character", named("b14_0004:2.tif"), {"S024", "F016"}),
        ("only case apart", named("b14_0005.TIF"), {"S024", "S023"}),
        ("only accents apart", named("b14_\u00e4.tif", "b14_a\u0308.tif"), {"S024", "F016"}),
        ("too long with its bundle", named(f"{'long/' * 44}b14_0004.tif"), {"S024"}),
    ],
    "S025": [("per cent", named("b14_100%.tif"), {"S025", "F016"})],
    "S010": [
        ("none",
         lambda w: w.change_frame(TARGET, kind=FrameKind.FLAT)
         .change_frame(TARGET_END, kind=FrameKind.FLAT), {"S010"}),
    ],
    "S011": [
        ("none",
         lambda w: w.change_frame(FLAT, kind=FrameKind.TARGET)
         .change_frame(FLAT_END, kind=FrameKind.TARGET), {"S011"}),
    ],
    "S012": [("one at 8 bits", lambda w: w.change_facts(F1R, bits_per_sample=(8, 8, 8)), {"S012"})],
    "S013": [
        ("one in another space", lambda w: w.change_facts(F1R, icc=profile("ProPhoto RGB")),
         {"S013"}),
    ],
    "S014": [("one compressed", lambda w: w.change_facts(F1R, compression="LZW"), {"S014"})],
    "S016": [
        ("one on its side", sized(F1R, 4000, 3000), {"S016"}),
        ("one turned by its tag", lambda w: w.change_facts(F1R, orientation=6), {"S016", "F013"}),
    ],
    "S017": [
        ("one cropped", sized(F1R, 3000, 3500), {"S017"}),
        ("one that is square", sized(F1R, 3000, 3050), {"S017"}),
        ("an opening for a page", sized(F1R, 3800, 4000), {"S017"}),
    ],
    "S018": [
        ("none at the end", lambda w: w.change_frame(TARGET_END, kind=FrameKind.FLAT), {"S018"}),
        ("none at the start", lambda w: w.change_frame(TARGET, kind=FrameKind.FLAT), {"S018"}),
        ("one page after it, by the clock",
         lambda w: w.change_capture(F2R, captured_at="2026-03-09T15:00:00", changed_at=""),
         {"S018", "S019", "S015"}),
        ("one page after it, by the rows",
         lambda w: w.with_frames((*good_frames(), frame(20, "f. 4r"), frame(21, "f. 4v")))
         .change_capture(COVER, captured_at="", changed_at=""), {"S018", "S019"}),
    ],
    "S019": [("none at the end", lambda w: w.change_frame(FLAT_END, kind=FrameKind.TARGET), {"S019"})],
    "S030": [
        ("another aperture", lambda w: w.change_capture(F1R, f_number=Fraction(11)), {"S030"}),
        ("another exposure from a page on",
         lambda w: w.change_capture(F1R, exposure_time_s=Fraction(1, 60))
         .change_capture(F1V, exposure_time_s=Fraction(1, 60)), {"S030"}),
    ],
    "S031": [("one leaf", lambda _: eight_leaves("f. 3r", "f. 3v"), {"S031"})],
    "S015": [
        ("photographed again",
         lambda w: w.change_capture(F1R, captured_at="2026-03-09T08:07:30", changed_at=""), {"S015"}),
    ],
    "S001": [
        ("recto after verso", pages("f. 3v", "f. 3r"), {"S001"}),
        ("a leaf too late", pages("f. 1r", "f. 1v", "f. 3r", "f. 3v", "f. 2r", "f. 2v"), {"S001"}),
        ("pages", pages("p. 1", "p. 2", "p. 5", "p. 4", "p. 3", "p. 6"), {"S001"}),
        ("openings", pages("ff. 2v–3r", "ff. 1v–2r", kind=FrameKind.OPENING), {"S001"}),
    ],
    "S002": [
        ("a verso", pages("f. 1r", "f. 2r", "f. 2v"), {"S002"}),
        ("the first recto", pages("f. 1v", "f. 2r", "f. 2v"), {"S002"}),
        ("the last verso", pages("f. 1r", "f. 1v", "f. 2r"), {"S002"}),
        ("the last verso before a board", pages("f. 1r", "f. 1v", "f. 2r", "back pastedown"), {"S002"}),
        ("a page", pages("p. 1", "p. 2", "p. 3"), {"S002"}),
        ("an opening",
         pages("front pastedown–f. 1r", "ff. 1v–2r", "ff. 3v–4r", "f. 4v–back pastedown",
               kind=FrameKind.OPENING), {"S002"}),
        ("a half leaf and a whole one", pages("f. 1r", "f. 1v", "f. 3v"), {"S002", "S003"}),
    ],
    "S003": [
        ("a leaf", pages("f. 1r", "f. 1v", "f. 3r", "f. 3v"), {"S003"}),
        ("two pages", pages("p. 1", "p. 2", "p. 5", "p. 6"), {"S003"}),
    ],
    "S004": [("recto first", pages("ff. 2r–1v", kind=FrameKind.OPENING), {"S004", "S002"})],
    "S006": [
        ("a leaf too few", lambda w: w.change_item(extent="ff. ii + 46 + ii"), {"S006"}),
        ("a leaf too many", lambda w: w.change_item(extent="2 leaves"), {"S006"}),
    ],
    "S005": [("no pages", pages("a painting across both pages", kind=FrameKind.OPENING), {"S005"})],
    "C001": [
        ("not cleared", lambda w: w.change_item(care=Care(cleared=False, largest_opening_deg=90)), {"C001"}),
        ("waived", waived, {"C001"}),
    ],
    "C002": [
        ("assessed later",
         lambda w: w.change_item(
             care=Care(cleared=True, assessed_on=dt.date(2026, 3, 20), largest_opening_deg=90)), {"C002"}),
    ],
    "C003": [("a codex without it", lambda w: w.change_item(care=Care(cleared=True)), {"C003"})],
}  # fmt: skip

PASSING: dict[str, list[tuple[str, Change]]] = {
    "F002": [("JPEG 2000", jp2(is_reversible=True))],
    "F004": [("8 bit at 3 star", lambda w: w.change_all_facts(bits_per_sample=(8, 8, 8)))],
    "F006": [("declared by the format", lambda w: w.change_all_facts(icc=None, declared_space="eciRGB v2"))],
    "F007": [("an input profile", lambda w: w.change_all_facts(icc=replace(PROFILE, device_class="scnr")))],
    "F008": [
        (
            "a name with its maker",
            lambda w: w.change_all_facts(icc=profile("Compatible with Adobe RGB (1998)")),
        ),
        ("grey in infrared", in_light(LightKind.INFRARED)),
        ("grey in ultraviolet", in_light(LightKind.ULTRAVIOLET)),
    ],
    # the fact sheet's own figures: what rounding to whole numbers per centimetre costs
    "F012": [
        ("118 per cm is 299.72 ppi", session_ppi(300, **per_cm(118))),
        (
            "157 per cm is 398.78 ppi",
            specified("fadgi-2016-manuscripts-4-star", session_ppi(400, **per_cm(157))),
        ),
    ],
    "F030": [
        ("157.48 per cm is 399.9992 ppi", session_ppi(400, **per_cm(15748, 100))),
        ("236 per cm is 599.44 ppi", session_ppi(600, **per_cm(236))),
        ("less than 0.1 % off", session_ppi(599.5, **per_inch(600))),
        ("no ppi for the session", lambda w: w.change_item(sessions=(replace(SESSION, ppi=None),))),
    ],
    "F032": [
        ("a silent file", lambda w: w.change_capture(F1R, make="", model="")),
        ("a longer name", lambda w: w.change_capture(F1R, model="KESTRELWORKS REPRO 150 Mk II")),
        (
            "no entry in the register",
            lambda w: w.change_item(sessions=(replace(SESSION, camera="borrowed"),)),
        ),
    ],
    "F031": [("a silent file", lambda w: w.change_capture(F1R, captured_at="", changed_at=""))],
    "S012": [("targets apart", lambda w: w.change_facts(TARGET, bits_per_sample=(8, 8, 8)))],
    "S015": [
        (
            "from back to front",
            backwards,
        ),
        (
            "two passes in two lights",
            lambda w: w.with_frames(
                with_more(frame(2, "f. 1r", identifier="r", file=RAKING, light=Light(kind=RAKED)))
            ),
        ),
    ],
    "S006": [
        ("as many", lambda w: w.change_item(extent="ff. 3")),
        ("a range", lambda w: w.change_item(extent="ff. 1–46")),
        ("pages", lambda w: pages("p. 1", "p. 2", extent="ff. 3")(w)),
    ],
    "S016": [
        ("a cover", sized(COVER, 4000, 3000)),
        ("too few to say", lambda w: sized(2, 4000, 3000)(pages("f. 1r", "f. 1v")(w))),
    ],
    "S017": [("within a tenth", sized(F1R, 3200, 3700)), ("a cover", sized(COVER, 3000, 3000))],
    "S018": [
        ("without any times", lambda w: w.change_all_facts(capture=CaptureFacts())),
        ("targets in the rows' middle, but first and last by the clock", shuffled),
    ],
    "S030": [
        ("a silent file", lambda w: w.change_capture(F1R, f_number=None, lens_model="")),
        (
            "the set-up of the closing target",
            lambda w: w.change_capture(F1R, f_number=Fraction(11)).change_capture(
                TARGET_END, f_number=Fraction(11)
            ),
        ),
        (
            "a light without a target",
            lambda w: w.with_frames(
                with_more(frame(20, "f. 1r", identifier="r", file=RAKING, light=Light(kind=RAKED)))
            ).change_capture(10, exposure_time_s=Fraction(1, 4)),
        ),
    ],
    "S031": [
        ("one side alone, as after the stand was moved", lambda _: eight_leaves("f. 3r")),
        ("none", lambda _: eight_leaves()),
        (
            "all in one place",
            lambda _: eight_leaves(*(f"f. {leaf}r" for leaf in range(1, 9))),
        ),
    ],
    "S026": [
        ("no signature, as of a blank page", lambda w: w.change_record(F1R, measures=FrameMeasures())),
        (
            "one page in two lights",
            lambda w: alike(F1R, 10)(
                w.with_frames(
                    with_more(frame(2, "f. 1r", identifier="r", file=RAKING, light=Light(kind=RAKED)))
                )
            ),
        ),
    ],
    "S001": [
        ("the boards first", lambda w: pages("front cover", "back cover", "f. 1r", "f. 1v")(w)),
        (
            "openings beside pages",
            lambda w: w.with_frames(with_more(frame(30, "ff. 1v–2r", FrameKind.OPENING))),
        ),
        (
            "a foldout",
            lambda w: w.with_frames(with_more(frame(30, "f. 2r (open)", FrameKind.FOLDOUT))),
        ),
        ("flyleaves", pages("f. i r", "f. i v", "f. 1r", "f. 1v", "f. ii r", "f. ii v")),
        (
            "leaves in another order than their numbers",
            pages("f. 3r", "f. 3v", "f. 1r", "f. 1v", follows_foliation=False),
        ),
        ("faces", pages("obverse", "reverse", "left edge", kind=FrameKind.FACE)),
        ("labels that name no place", pages("recto", "verso")),
    ],
    "S002": [
        (
            "a foldout without its folded state",
            lambda w: w.with_frames(
                (
                    *good_frames()[:2],
                    frame(3, "f. 1r"),
                    frame(4, "f. 1v (open)", FrameKind.FOLDOUT),
                    frame(5, "f. 2r"),
                    frame(6, "f. 2v"),
                    *closing(7),
                )
            ),
        ),
        (
            "a few openings beside all pages",
            lambda w: w.with_frames(
                (
                    *good_frames()[:2],
                    *(frame(n, label) for n, label in enumerate(TWO_LEAVES, start=3)),
                    frame(30, "ff. 1v–2r", FrameKind.OPENING),
                    *closing(50),
                )
            ),
        ),
        ("leaves added later", pages("f. 1r", "f. 1v", "f. 1bis r", "f. 1bis v", "f. 2r", "f. 2v")),
        (
            "a whole volume by openings",
            pages(
                "front pastedown–f. 1r", "ff. 1v–2r", "f. 2v–back pastedown", kind=FrameKind.OPENING
            ),
        ),
    ],
    "S004": [
        (
            "right to left, by the eye",
            pages(
                "f. 1r–front pastedown", "ff. 2r–1v", "ff. 3r–2v", "back pastedown–f. 3v",
                kind=FrameKind.OPENING, reading=ViewingDirection.RIGHT_TO_LEFT,
            ),
        ),
        (
            "right to left, by the foliation",
            pages(
                "front pastedown–f. 1r", "ff. 1v–2r", "f. 2v–back pastedown",
                kind=FrameKind.OPENING, reading=ViewingDirection.RIGHT_TO_LEFT,
            ),
        ),
    ],
    "C003": [("a sheet", lambda w: w.change_item(kind=ItemKind.SHEET, care=Care(cleared=True)))],
}  # fmt: skip


def camera_without_model(world: World) -> World:
    camera, *others = world.settings.equipment
    world.settings = replace(world.settings, equipment=(replace(camera, model=""), *others))
    return world


def cases(table: dict[str, list[Any]]) -> list[Any]:
    return [pytest.param(code, *case[1:], id=f"{code}: {case[0]}") for code in table for case in table[code]]


@pytest.mark.parametrize(("code", "change", "expected"), cases(FAILING))
def test_a_rule_finds_what_it_is_for_and_nothing_else_is_said(
    code: str, change: Change, expected: set[str]
) -> None:
    report = change(World()).judge()

    assert report.codes == expected
    for finding in report.findings:
        assert finding.place
        assert finding.value
        assert finding.limit
        assert finding.source
        assert finding.advice


@pytest.mark.parametrize(("code", "change"), cases(PASSING))
def test_what_is_allowed_is_not_found(code: str, change: Change) -> None:
    assert change(World()).judge().codes == frozenset()


@pytest.mark.parametrize(
    "code", sorted(code for code in RULES if code[0] != "Q")
)  # test_measured.py has these
def test_every_rule_has_a_failing_case_and_passes_in_a_world_in_order(code: str) -> None:
    assert any(code in expected for _, _, expected in FAILING[code])
    assert World().judge().codes == frozenset()
    assert not World().judge().skipped


@pytest.mark.parametrize("rule", RULES.values(), ids=RULES)
def test_every_rule_says_what_it_asks_for_where_that_comes_from_and_what_to_do(rule: Rule[Any]) -> None:
    assert rule.explanation.endswith(".")
    assert rule.source
    assert rule.advice.endswith(".")
    assert not rule.title.endswith(".")


def test_codes_are_unique_over_all_registers() -> None:
    codes = [code for register in check.registers() for code in register.rules]
    assert len(codes) == len(set(codes))


def test_codes_that_stop_a_build_are_errors() -> None:
    assert {RULES[code].level for code in check.STOPPING} == {Level.ERROR}


def test_what_stops_a_build_before_anything_is_read_is_found_without_records() -> None:
    world = named("b14_0004:2.tif")(World().change_item(care=Care(cleared=False, largest_opening_deg=90)))
    assert world.item is not None
    assert check.judge_before_reading(world.item).codes == {"C001", "S024"}
    assert check.judge_before_reading(world.item).codes <= world.judge().codes
    assert check.judge_before_reading(item(good_frames())).findings == ()


def test_a_waiver_makes_a_warning_of_a_missing_clearance_and_keeps_its_reason() -> None:
    (finding,) = waived(World()).judge().findings
    assert finding.level is Level.WARNING
    assert "photographed where it lies" in finding.value


def test_frames_that_are_all_alike_give_one_note_and_no_alarm() -> None:
    labels = [f"f. {leaf}{side}" for leaf in (1, 2, 3) for side in "rv"]
    (finding,) = alike(2, 3, 5, 6, 7)(pages(*labels)(World())).judge().findings
    assert (finding.code, finding.level) == ("S026", Level.NOTE)
    assert finding.value.startswith("5 frames, b14_0003.tif (f. 1r) to b14_0008.tif (f. 3v), are each like")


def test_one_unreadable_master_gives_one_finding_and_says_what_was_not_judged() -> None:
    report = unreadable(World()).judge()
    assert [finding.code for finding in report.findings] == ["F001"]
    assert report.findings[0].place == "pages.csv, row 5: b14_0004.tif"
    assert {each.place for each in report.skipped} == {"pages.csv, row 5: b14_0004.tif"}
    assert all(each.title and "F001" in each.reason for each in report.skipped)


def test_a_master_that_nobody_read_is_said_not_to_be_judged() -> None:
    world = World()
    del world.records[world.frames[F1R].identifier]
    report = world.judge()
    assert not report.findings
    assert {each.reason for each in report.skipped} == {"the master was not read"}


def test_a_limit_of_the_specification_is_cited_with_its_publication() -> None:
    (finding,) = session_ppi(299, **per_inch(299))(World()).judge().at(Level.ERROR)[:1]
    assert finding.source == (
        "FADGI, Technical Guidelines for Digitizing Cultural Heritage Materials, September 2016, "
        "table for documents (manuscripts, other rare and special), resolution"
    )
    assert (finding.value, finding.limit) == ("299.00 ppi", "≥ 300 ppi")


def test_a_bare_folder_is_judged_by_its_files_alone() -> None:
    world = World(item=None, frames=tuple(replace(each, row=0, label="") for each in good_frames()[:8]))
    world.change_facts(F1R, icc=None)
    doubled(world)
    report = world.judge()
    assert report.codes == {"F005", "S020"}
    assert {each.place for each in report.findings} == {"b14_0004.tif", "b14_0006.tif"}
    left_out = {code for code in RULES if code.startswith("C")} | {"F030", "S010", "S001"}
    assert left_out <= {each.code for each in report.skipped}


def test_leaves_in_another_order_than_their_numbers_are_said_not_to_be_judged() -> None:
    report = pages("f. 3r", "f. 3v", "f. 1r", "f. 1v", follows_foliation=False)(World()).judge()
    assert {each.code for each in report.skipped} == {"S001", "S002", "S003", "S004", "S005", "S006"}
    assert {each.reason for each in report.skipped} == {"item.toml says follows_foliation = false"}


def test_a_gap_names_the_labels_that_are_missing_and_the_row_that_follows() -> None:
    (finding,) = pages("f. 1r", "f. 1v", "f. 4r", "f. 4v")(World()).judge().findings
    assert finding.value == "missing between f. 1v and f. 4r: f. 2r to f. 3v, 4 pages"
    assert finding.place == "pages.csv, row 6: b14_0005.tif"


def test_triplets_give_one_finding_for_each_further_file() -> None:
    world = doubled(World())
    first = world.records[world.frames[F1R].identifier]
    world.change_record(F1V, master=first.master, pixel_digest=first.pixel_digest)
    assert [finding.code for finding in world.judge().findings] == ["S020", "S020"]


def test_several_thousand_frames_are_judged_in_seconds() -> None:
    labels = [f"f. {leaf}{side}" for leaf in range(1, 1501) for side in "rv"]
    frames = tuple(frame(number, label) for number, label in enumerate(labels, start=1))
    records = {each.identifier: record(each) for each in frames}
    world = World(item=item(frames), frames=frames, records=records)
    start = dt.datetime.now(tz=dt.UTC)
    codes = world.judge().codes
    assert codes == {"S010", "S011", "F031"}  # three thousand minutes are more than a day
    assert (dt.datetime.now(tz=dt.UTC) - start).total_seconds() < 10
