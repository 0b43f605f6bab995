"""A quality report to look at: a codex of 46 leaves in two sessions, with faults that are known.

``python -m tests.report.sample FOLDER`` writes quality.json and quality.html into FOLDER.
"""

from __future__ import annotations

import io
import math
import random
import sys
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

from PIL import Image, ImageDraw, ImageFilter

from pipeline import jsondoc, specification
from pipeline.check import with_siblings
from pipeline.check.measured import values_for
from pipeline.measurements import (
    RANGE_OF_LUMINANCE,
    SPREAD_IN_PATCH,
    SPREAD_OF_LIGHTNESS,
    Curve,
    Formula,
    FrameMeasures,
    Grid,
    Mark,
    Measurement,
    PatchValues,
    Quantity,
)
from pipeline.model import Frame, FrameKind, UnreadableMaster
from pipeline.report.page import quality_page
from pipeline.report.quality import Document, quality_document
from tests.check.world import NOW, SESSION, World, frame

SPECIFICATION = "fadgi-2016-bound-rare-3-star"
Lab = tuple[float, float, float]

REFERENCE: tuple[tuple[str, Lab], ...] = (
    ("dark skin", (37.5, 14.4, 14.9)), ("light skin", (64.7, 19.3, 17.5)),
    ("blue sky", (49.3, -3.8, -22.5)), ("foliage", (43.5, -12.7, 22.7)),
    ("blue flower", (54.9, 9.6, -24.8)), ("bluish green", (70.5, -32.3, -0.4)),
    ("orange", (62.7, 35.8, 56.5)), ("purplish blue", (39.4, 10.8, -45.2)),
    ("moderate red", (50.6, 48.6, 16.7)), ("purple", (30.1, 22.5, -20.9)),
    ("yellow green", (71.8, -24.1, 58.2)), ("orange yellow", (71.5, 18.2, 67.4)),
    ("blue", (28.4, 15.4, -49.8)), ("green", (54.4, -39.7, 32.3)),
    ("red", (42.4, 51.1, 28.6)), ("yellow", (81.8, 2.7, 80.4)),
    ("magenta", (50.6, 51.3, -14.1)), ("cyan", (49.6, -29.7, -28.3)),
    ("white", (95.2, -1.0, 2.9)), ("neutral 8", (81.3, -0.6, 0.4)),
    ("neutral 6.5", (66.9, -0.7, -0.1)), ("neutral 5", (50.8, -0.1, 0.1)),
    ("neutral 3.5", (35.7, -0.5, -0.5)), ("black", (20.6, 0.1, -0.5)),
)  # fmt: skip
SOFT, SKEWED, CLIPPED, UNREADABLE = "f. 12r", "f. 31v", "f. 7r", "f. 40v"
"""Frames with faults, by their labels."""
BAD_TARGET = "target, end of session 2"
UNEVEN_FLAT = "flat, session 2"


# ------------------------------------------------------------------------------------------- the frames


def frames() -> tuple[Frame, ...]:
    """Two sessions with their targets and flats, covers, 46 leaves; one verso was not photographed."""
    sides = [f"f. {leaf}{side}" for leaf in range(1, 47) for side in "rv"]
    rows: list[tuple[str, FrameKind, str]] = [
        ("target, start of session 1", FrameKind.TARGET, "s1"), ("flat, session 1", FrameKind.FLAT, "s1"),
        ("front cover", FrameKind.COVER, "s1"), *((label, FrameKind.PAGE, "s1") for label in sides[:46]),
        ("target, start of session 2", FrameKind.TARGET, "s2"), (UNEVEN_FLAT, FrameKind.FLAT, "s2"),
        *((label, FrameKind.PAGE, "s2") for label in sides[46:]), ("back cover", FrameKind.COVER, "s2"),
        (BAD_TARGET, FrameKind.TARGET, "s2"),
    ]  # fmt: skip
    made = []
    for number, (label, kind, session) in enumerate(rows, start=1):
        each = frame(number, label, kind, session=session)
        made.append(replace(each, file=None) if label == "f. 45v" else each)
    return tuple(made)


# ---------------------------------------------------------------------------------------- what is measured


def number(quantity: Quantity, value: float | None, **changes: Any) -> Measurement:
    """A measurement."""
    return Measurement(quantity=quantity, value=value, **changes)


def target(*, shift: float, seed: int) -> FrameMeasures:
    """A target frame whose colours are off by about `shift`."""
    chance = random.Random(seed)
    patches = tuple(_patch(name, lab, shift, chance) for name, lab in REFERENCE)
    neutral = [each for each in patches if each.is_neutral]
    tone = [(each.reference[0], each.lab[0] - each.reference[0]) for each in neutral]
    balance = [math.dist(each.lab[1:], each.reference[1:]) for each in neutral]
    measurements = [
        *_statistics(Quantity.COLOUR, [p.difference for p in patches], Formula.CIEDE2000, patches),
        *_statistics(Quantity.WHITE_BALANCE, balance, Formula.CIEDE2000_CHROMA, neutral),
        *_statistics(Quantity.TONE, [abs(step) for _, step in tone], Formula.LIGHTNESS, neutral),
        *_statistics(Quantity.NOISE, [p.noise or 0.0 for p in patches], SPREAD_IN_PATCH, patches),
        number(Quantity.GAIN_HIGHLIGHTS, 0.97, place="white to neutral 8", method="24-patch target"),
        *_edges(chance),
        number(Quantity.TRUE_PPI, 596.4, uncertainty=0.3, method="centres of the target's patches"),
        number(Quantity.SCALE, -0.6, method="centres of the target's patches"),
    ]
    return FrameMeasures(
        measurements=tuple(measurements),
        patches=patches,
        reference="24-patch colour target, made since November 2014 (published averages)",
        curves=(_tone_curve(tone), *(_response(place, sigma) for place, sigma in EDGES)),
        marks=(
            Mark(kind="target", points=((0.3, 0.36), (0.7, 0.35), (0.71, 0.64), (0.31, 0.65))),
            *(Mark(kind="edge", points=_box(x, y, 0.06)) for x, y in ((0.12, 0.1), (0.5, 0.82), (0.88, 0.9))),
        ),
        remarks=(
            "judged against averages, not against a measurement of this target: "
            "that alone can cost a ΔE of 1",
        ),
    )


def _patch(name: str, lab: Lab, shift: float, chance: random.Random) -> PatchValues:
    light, a, b = lab
    measured = (
        light + chance.gauss(-0.25 * shift, 0.3 * shift),
        a + chance.gauss(0.2 * shift, 0.35 * shift),
        b + chance.gauss(0.75 * shift, 0.4 * shift),
    )
    return PatchValues(
        name=name,
        lab=measured,
        reference=lab,
        difference=0.8 * math.dist(measured, lab),
        noise=chance.uniform(0.4, 0.9),
        is_neutral=name.startswith(("white", "neutral", "black")),
    )


def _statistics(
    quantity: Quantity,
    values: list[float],
    formula: str,
    patches: list[PatchValues] | tuple[PatchValues, ...],
) -> Iterator[Measurement]:
    method = "24-patch target, L*a*b* D50 through the frame's own profile"
    ordered = sorted(values)
    worst = patches[values.index(ordered[-1])].name
    said = (
        ("mean", sum(values) / len(values), ""),
        ("90th percentile", ordered[-3], ""),
        ("maximum", ordered[-1], worst),
    )
    for statistic, value, place in said:
        yield number(quantity, value, statistic=statistic, formula=formula, place=place, method=method)


EDGES = (
    ("upper left, across", 0.62), ("upper right, across", 0.64), ("centre, across", 0.58),
    ("centre, down", 0.60), ("lower left, down", 0.63), ("lower right, down", 0.71),
)  # fmt: skip


def _edges(chance: random.Random) -> Iterator[Measurement]:
    method = "slanted edge, ISO 12233:2023"
    for place, sigma in EDGES:
        tenth = 100 * 0.341541 / sigma / 0.5
        yield number(Quantity.EFFICIENCY, min(100.0, tenth), place=place, method=method)
        yield number(
            Quantity.RESPONSE_HALF, math.exp(-((math.pi * sigma) ** 2) / 2), place=place, method=method
        )
        yield number(
            Quantity.SFR50, 100 * 0.187391 / sigma / 0.5, place=place, method=method, uncertainty=0.9
        )
        yield number(Quantity.SFR10, tenth, place=place, method=method, uncertainty=1.2)
        yield number(
            Quantity.SHARPENING, 1 + chance.uniform(0, 0.04), place=place, method=method, uncertainty=0.01
        )
        yield number(
            Quantity.MISREGISTRATION, chance.uniform(0.05, 0.2), place=place, method=method, uncertainty=0.02
        )


def _response(place: str, sigma: float) -> Curve:
    points = [(f / 100, math.exp(-2 * (math.pi * sigma * f / 100) ** 2)) for f in range(0, 101, 2)]
    return Curve(name=f"SFR, {place}", x_label="cycles per pixel", y_label="response", points=tuple(points))


def _tone_curve(steps: list[tuple[float, float]]) -> Curve:
    return Curve(
        name="tone response",
        x_label="L* of the reference",
        y_label="measured minus reference, ΔL*",
        points=tuple(sorted(steps)),
    )


def _box(x: float, y: float, size: float) -> tuple[tuple[float, float], ...]:
    return ((x - size, y - size), (x + size, y - size), (x + size, y + size), (x - size, y + size))


def flat(*, fall: float) -> FrameMeasures:
    """A flat frame whose light falls by so many per cent to the lower right."""
    rows = [[_light(x / 19, y / 14, fall) for x in range(20)] for y in range(15)]
    every = [value for row in rows for value in row]
    spread, mean = max(every) - min(every), sum(every) / len(every)
    drift = tuple(tuple(round((x / 19 - 0.5) * fall / 12, 3) for x in range(20)) for _ in range(15))
    return FrameMeasures(
        measurements=(
            number(Quantity.EVENNESS, spread * 2.7, formula=RANGE_OF_LUMINANCE, method="means of blocks"),
            number(Quantity.EVENNESS, spread / 3.6, formula=SPREAD_OF_LIGHTNESS, method="means of blocks"),
            number(Quantity.LIGHTNESS_RANGE, spread, method="means of blocks"),
            number(Quantity.CAST, fall / 12, method="means of blocks"),
            number(Quantity.DUST, 2.0, method="means of blocks"),
        ),
        grids=(
            Grid(
                name="lightness minus its mean",
                unit="ΔL*",
                rows=tuple(tuple(round(value - mean, 3) for value in row) for row in rows),
            ),
            Grid(name="a* minus its mean", unit="Δa*", rows=drift),
            Grid(name="b* minus its mean", unit="Δb*", rows=drift[::-1]),
        ),
        marks=(Mark(kind="dust", points=((0.31, 0.22),)), Mark(kind="dust", points=((0.66, 0.71),))),
    )


def _light(x: float, y: float, fall: float) -> float:
    return 94.0 - 0.37 * fall * ((x - 0.3) ** 2 + (y - 0.35) ** 2)


def page(label: str, at: int) -> FrameMeasures:
    """A page; some have a fault."""
    chance = random.Random(at)
    skew = 2.4 if label == SKEWED else chance.gauss(0, 0.3)
    blur = 2.1 if label == SOFT else chance.gauss(0.85, 0.04)
    clipped = 0.84 if label == CLIPPED else 0.0
    lean = math.radians(skew)
    corners = tuple(_turned(x, y, lean) for x, y in ((0.08, 0.06), (0.92, 0.06), (0.92, 0.94), (0.08, 0.94)))
    lines = (
        []
        if at % 23 == 0
        else [number(Quantity.TEXT_SKEW, skew + 0.1, uncertainty=0.05, method="lines of text")]
    )
    why = "there is no line of text or drawing on the page"
    missing = [number(Quantity.TEXT_SKEW, None, reason=why), number(Quantity.CURVATURE, None, reason=why)]
    heights = (0.2, 0.5, 0.8) if lines else ()
    written = [(_turned(0.16, y, lean), _turned(0.84, y, lean)) for y in heights]
    soft = tuple(_box(x, y, 0.12) for x, y in ((0.7, 0.75),)) if label == SOFT else ()
    hot = (_box(0.34, 0.3, 0.05), _box(0.62, 0.5, 0.03)) if label == CLIPPED else ()
    return FrameMeasures(
        measurements=(
            number(Quantity.SKEW, skew, uncertainty=0.02, method="edges of the sheet against its ground"),
            number(
                Quantity.KEYSTONE, chance.gauss(0, 0.08), place="left and right edge", method="edges of sheet"
            ),
            *(lines or missing),
            number(Quantity.BLUR, blur, method="edges of ink"),
            number(Quantity.CLIPPED_LIGHT, clipped),
            number(Quantity.CLIPPED_DARK, 0.01),
            number(Quantity.PAGE_TONE, 84.2 + chance.gauss(0, 1.2)),
        ),
        grids=(_blur_grid(blur, label == SOFT),),
        marks=(
            Mark(kind="page outline", points=corners),
            *(Mark(kind="line of text", points=each, is_closed=False) for each in written),
            *(Mark(kind="soft region", points=box) for box in soft),
            *(Mark(kind="clipped", points=box) for box in hot),
        ),
        remarks=("the sheet itself is 1.2° off a rectangle",) if at % 17 == 0 else (),
        picture_hash=f"{chance.getrandbits(64):016x}",
    )


def _blur_grid(blur: float, is_soft: bool) -> Grid:
    rows = tuple(
        tuple(
            None
            if (x, y) == (0, 7)
            else round(blur - (0.9 * math.hypot(x - 4, y - 6) / 7 if is_soft else 0), 2)
            for x in range(6)
        )
        for y in range(8)
    )
    return Grid(name="blur of the sharpest edges, σ", unit="px", rows=rows)


def _turned(x: float, y: float, angle: float) -> tuple[float, float]:
    """Turned about the middle of a frame of 3 to 4."""
    right, down = (x - 0.5) * 3, (y - 0.5) * 4
    turned = (
        right * math.cos(angle) - down * math.sin(angle),
        right * math.sin(angle) + down * math.cos(angle),
    )
    return round(turned[0] / 3 + 0.5, 4), round(turned[1] / 4 + 0.5, 4)


def measures(of: Frame, at: int) -> FrameMeasures:
    """What is measured on a frame of the sample."""
    match of.kind:
        case FrameKind.TARGET:
            return target(shift=9.0 if of.label == BAD_TARGET else 1.6, seed=at)
        case FrameKind.FLAT:
            return flat(fall=13.0 if of.label == UNEVEN_FLAT else 1.6)
        case _:
            return page(of.label, at)


# ------------------------------------------------------------------------------------------ the pictures


def picture(of: Frame, at: int) -> bytes:
    """A small picture as a pass over a master leaves it: JPEG, long side 480 px."""
    image = Image.new("RGB", (360, 480), (46, 45, 43))
    draw = ImageDraw.Draw(image)
    match of.kind:
        case FrameKind.TARGET:
            _draw_target(draw)
        case FrameKind.FLAT:
            image = Image.new("RGB", (360, 480), (232, 230, 226))
        case _:
            _draw_page(draw, of, at)
    angle = 2.4 if of.label == SKEWED else 0.0
    image = image.rotate(-angle, resample=Image.Resampling.BICUBIC, fillcolor=(46, 45, 43))
    image = image.filter(ImageFilter.GaussianBlur(2.5)) if of.label == SOFT else image
    data = io.BytesIO()
    image.save(data, "JPEG", quality=80, subsampling=0)
    return data.getvalue()


def _draw_target(draw: ImageDraw.ImageDraw) -> None:
    draw.rectangle((105, 165, 255, 315), fill=(20, 20, 20))
    for number_, (_, (light, a, b)) in enumerate(REFERENCE):
        x, y = 110 + number_ % 6 * 24, 175 + number_ // 6 * 34
        grey = int(light * 2.5)
        draw.rectangle((x, y, x + 19, y + 28), fill=(grey + int(1.6 * a), grey - int(a), grey - int(1.6 * b)))


def _draw_page(draw: ImageDraw.ImageDraw, of: Frame, at: int) -> None:
    chance = random.Random(at)
    leather = of.kind is FrameKind.COVER
    draw.rectangle((29, 29, 331, 451), fill=(96, 62, 40) if leather else (226, 212 + at % 5, 182 + at % 9))
    if leather:
        draw.rectangle((50, 52, 310, 428), outline=(150, 116, 60), width=3)
        return
    for line in range(26):
        x = 58.0
        while x < 298 and at % 23:
            width = chance.uniform(4, 17)
            draw.line((x, 80 + line * 13, min(x + width, 300), 80 + line * 13), fill=(70, 50, 38), width=3)
            x += width + 4
    if at % 11 == 7:
        draw.rectangle((58, 76, 118, 140), fill=(160, 44, 36))
        draw.ellipse((74, 90, 102, 126), fill=(212, 178, 70))


def thumbnails(of: tuple[Frame, ...]) -> dict[str, bytes]:
    """The pictures of all frames that could be read."""
    return {
        each.identifier: picture(each, at)
        for at, each in enumerate(of)
        if each.file and each.label != UNREADABLE
    }


# ------------------------------------------------------------------------------------------ the judgement


def document() -> Document:
    """The quality document of the sample."""
    world = World().with_frames(frames(), sessions=(SESSION, replace(SESSION, identifier="s2")))
    world.specification = specification.load(SPECIFICATION)
    for at, each in enumerate(world.frames):
        if each.file is not None:
            world.change_record(at, measures=measures(each, at))
    broken = next(at for at, each in enumerate(world.frames) if each.label == UNREADABLE)
    del world.records[world.frames[broken].identifier]
    world.unreadable = (unreadable(world.frames[broken]),)
    world.records = with_siblings(world.frames, world.records)
    return quality_document(
        world.item,
        world.frames,
        world.records,
        world.unreadable,
        world.judge(),
        world.specification,
        values_for=values_for,
        now=NOW,
        software_version="0.1.0",
    )


def unreadable(of: Frame) -> UnreadableMaster:
    """Why a master of the sample could not be read."""
    assert of.file is not None
    return UnreadableMaster(
        frame=of.identifier, file=of.file, reason="ends 3 MB early, in row 3,121 of 4,000"
    )


def main(folder: Path) -> None:
    """Write the sample's document and page."""
    folder.mkdir(parents=True, exist_ok=True)
    made = document()
    (folder / "quality.json").write_bytes(jsondoc.to_bytes(made))
    (folder / "quality.html").write_bytes(quality_page(made, thumbnails=thumbnails(frames())))


if __name__ == "__main__":
    main(Path(sys.argv[1]))
