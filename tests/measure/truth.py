"""Frames of which the answer is known, over grids of blur, angle, noise, depth and size; and photographs that
are made worse by known amounts.

The tables of docs/measures.md are counted from `trials`, its ranks from `degraded`
(`tests.measure.make_figures`). Both go through the functions that a check runs. Bounds are held by the tests
of each measure.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
from PIL import Image, ImageFilter

from pipeline import icc
from pipeline.measure.edge import EdgeMeasure, Misregistration, Response, measure_edge
from pipeline.measure.geometry import Keystone, keystone_of_points
from pipeline.measure.of_flat import measure_flat
from pipeline.measure.of_page import measure_page
from pipeline.measure.of_target import TargetContext, measure_target_frame
from pipeline.measure.pixels import ArrayPixels, NotMeasured
from pipeline.measure.profile import lightness, profile_of_space
from pipeline.measure.references import load
from pipeline.measure.sharpness import focus_standings
from pipeline.measure.siblings import WARN_BEYOND, Standing
from pipeline.measurements import RANGE_OF_LUMINANCE, Formula, FrameMeasures, Measurement, Quantity
from pipeline.model import FrameKind
from tests.measure import test_edge as edges
from tests.measure import test_evenness as flats
from tests.measure.blurs import shapes_page
from tests.measure.scenes import TargetScene
from tests.measure.sheets import Sheet

Numbers = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Trial:
    """One frame: what is true of it, and what was measured."""

    quantity: Quantity
    true: float
    found: float | None
    """None if it was not measured."""
    conditions: Mapping[str, str] = field(default_factory=dict)
    """What was varied, and how: ``noise``: ``0.01``."""


def trials(*, only_every: int = 1) -> Iterator[Trial]:
    """Yield all trials; with `only_every`, one of so many of each grid."""
    for grid in (_edge_trials, _sharpened, _target_trials, _flat_trials, _sheet_trials, _blur_trials):
        yield from grid(only_every)


def _grid(only_every: int, **axes: Sequence[Any]) -> Iterator[dict[str, Any]]:
    combined = itertools.product(*axes.values())
    for values in itertools.islice(combined, 0, None, only_every):
        yield dict(zip(axes, values, strict=True))


def _said(conditions: Mapping[str, Any], **units: str) -> dict[str, str]:
    return {key: f"{value:g}{units.get(key, '')}" for key, value in conditions.items()}


# ------------------------------------------------------------------------------------------- resolution


def _edge_trials(only_every: int) -> Iterator[Trial]:
    axes = {
        "blur": (0.5, 0.6, 0.8, 1.0, 1.5), "angle": (3.0, 5.0, 7.0, 10.0), "bits": (8, 16),
        "noise": (0.0, 0.005, 0.02), "rows": (100, 200),
    }  # fmt: skip
    for chosen in _grid(only_every, **axes):
        sigma = chosen["blur"]
        codes = edges.drawn(
            edges.gaussian(sigma),
            angle_deg=chosen["angle"],
            bits=chosen["bits"],
            noise=chosen["noise"],
            rows=chosen["rows"],
            columns=100,
        )
        found = measure_edge(codes, edges.LINEAR)
        said = _said(chosen, blur=" px", angle="°")
        for quantity, true, value in _of_edge(sigma, found):
            yield Trial(quantity=quantity, true=true, found=value, conditions=said)
    for chosen in _grid(only_every, shift=(0.1, 0.33, 0.8), angle=(3.0, 5.0, 10.0), noise=(0.0, 0.01)):
        codes = edges.shifted(chosen["shift"], 0.0, angle_deg=chosen["angle"], noise=chosen["noise"])
        found = measure_edge(codes, edges.LINEAR)
        between = found.misregistration if isinstance(found, EdgeMeasure) else None
        yield Trial(
            quantity=Quantity.MISREGISTRATION,
            true=chosen["shift"],
            found=between.worst_px if isinstance(between, Misregistration) else None,
            conditions=_said(chosen, shift=" px", angle="°"),
        )


def _sharpened(only_every: int) -> Iterator[Trial]:
    """Unsharp masks, the maximum of whose response has a closed form; a mask of amount k and width s."""
    for chosen in _grid(only_every, blur=(0.5, 0.6, 0.8), amount=(0.5, 1.0, 1.5), noise=(0.0, 0.01)):
        sigma, amount = chosen["blur"], chosen["amount"]
        plain, mask = edges.gaussian(sigma), edges.gaussian(math.hypot(sigma, 1.0))

        def spread(x: Numbers, plain: Any = plain, mask: Any = mask, amount: float = amount) -> Numbers:
            return np.asarray((1 + amount) * plain(x) - amount * mask(x))

        found = measure_edge(
            edges.drawn(spread, columns=100, noise=chosen["noise"], dark=0.2, light=0.6), edges.LINEAR
        )
        yield Trial(
            quantity=Quantity.SHARPENING,
            true=_highest(sigma, amount),
            found=found.luminance.maximum if isinstance(found, EdgeMeasure) else None,
            conditions=_said(chosen, blur=" px"),
        )


def _highest(sigma: float, amount: float) -> float:
    """Of exp(-αf²)·(1 + k - k·exp(-βf²)) with α = 2π²σ², β = 2π²s², s = 1 px: where its derivative is 0."""
    if sigma**2 >= amount:
        return 1.0
    alpha, beta = sigma**2, 1.0
    r = alpha * (1 + amount) / (amount * (alpha + beta))
    return float(r ** (alpha / beta) * (1 + amount) * beta / (alpha + beta))


def _of_edge(
    sigma: float, found: EdgeMeasure | NotMeasured
) -> Iterator[tuple[Quantity, float, float | None]]:
    share = 100 / 0.5
    tenth = share * edges.SFR10 / sigma
    true = {
        Quantity.SFR50: share * edges.SFR50 / sigma,
        Quantity.SFR10: tenth,
        Quantity.EFFICIENCY: min(100.0, tenth),
        Quantity.RESPONSE_HALF: math.exp(-((math.pi * sigma) ** 2) / 2),
        Quantity.SHARPENING: 1.0,
    }
    if tenth > MOST_TENTH:
        del true[Quantity.SFR10]
    values = _values(found.luminance) if isinstance(found, EdgeMeasure) else {}
    yield from ((quantity, each, values.get(quantity)) for quantity, each in true.items())


MOST_TENTH = 120.0
"""Per cent of half sampling, beyond which no limit looks at SFR10."""


def _values(response: Response) -> dict[Quantity, float | None]:
    return {
        Quantity.SFR50: _share_of_half(response.sfr50_cy_px),
        Quantity.SFR10: _share_of_half(response.sfr10_cy_px),
        Quantity.EFFICIENCY: 100 * response.sampling_efficiency,
        Quantity.RESPONSE_HALF: response.half_sampling_response,
        Quantity.SHARPENING: response.maximum,
    }


def _share_of_half(found: float | NotMeasured) -> float | None:
    return 100 / 0.5 * found if isinstance(found, float) else None


# ------------------------------------------------------------------------------------- colour and scale

SHIFT = (-2.0, 1.5, -2.0)
"""By which all patches of the drawn targets differ from their reference, in L*, a*, b*."""
PITCH_MM = 8.0


def _target_trials(only_every: int) -> Iterator[Trial]:
    labs = tuple((light + SHIFT[0], a + SHIFT[1], b + SHIFT[2]) for light, a, b in load().labs)
    axes = {
        "pitch": (24.0, 48.0, 90.0),
        "turn": (0.0, 12.0, -150.0),
        "bits": (8, 16),
        "noise": (0.0, 0.003, 0.01),
    }
    for chosen in _grid(only_every, **axes):
        scene = TargetScene(
            width=900, height=700, pitch=chosen["pitch"], turn_deg=chosen["turn"], bits=chosen["bits"],
            noise=chosen["noise"], labs=labs, seed=round(100 * chosen["noise"]) + 1,
        )  # fmt: skip
        context = TargetContext(references=(load(),), pitch_mm=(PITCH_MM, PITCH_MM))
        found = measure_target_frame(scene.pixels(), profile_of_space(scene.space), context)
        said = _said(chosen, pitch=" px", turn="°")
        for quantity, true, statistic, formula in (
            (Quantity.COLOUR, math.hypot(*SHIFT), "mean", Formula.CIE76),
            (Quantity.WHITE_BALANCE, math.hypot(*SHIFT[1:]), "maximum", Formula.CIE76_CHROMA),
            (Quantity.TONE, -SHIFT[0], "maximum", Formula.LIGHTNESS),
        ):
            yield Trial(
                quantity=quantity, true=true, found=found.value(quantity, statistic, formula), conditions=said
            )
        true_ppi = 25.4 * chosen["pitch"] / PITCH_MM
        yield Trial(
            quantity=Quantity.TRUE_PPI, true=true_ppi, found=found.value(Quantity.TRUE_PPI), conditions=said
        )


# ---------------------------------------------------------------------------------------------- light


def _flat_trials(only_every: int) -> Iterator[Trial]:
    across = 30  # blocks of a frame of 3 to 2
    for chosen in _grid(
        only_every, ramp=(0.01, 0.03, 0.1, 0.3), bits=(8, 16), noise=(0.0, 0.004, 0.01), width=(900, 1800)
    ):
        width, height = chosen["width"], chosen["width"] * 2 // 3
        x, _ = flats.grid(width, height)
        light = np.broadcast_to(flats.LEVEL * (1 + chosen["ramp"] * x), (height, width))
        found = measure_flat(flats.of_light(light, bits=chosen["bits"], noise=chosen["noise"]), flats.GREY)
        yield Trial(
            quantity=Quantity.EVENNESS,
            true=100 * chosen["ramp"] * (across - 1) / across,
            found=found.value(Quantity.EVENNESS, formula=RANGE_OF_LUMINANCE),
            conditions=_said(chosen, width=" px"),
        )
    for chosen in _grid(only_every, drift=(0.5, 2.0, 5.0), bits=(8, 16), noise=(0.0, 0.004, 0.01)):
        x, _ = flats.grid(900, 600)
        plane = np.zeros((600, 900))
        pixels = flats.of_lab(
            plane + flats.CARD, plane + chosen["drift"] * x, plane, bits=chosen["bits"], noise=chosen["noise"]
        )
        found = measure_flat(pixels, flats.COLOUR)
        yield Trial(
            quantity=Quantity.CAST,
            true=chosen["drift"] * (across - 1) / across,
            found=found.value(Quantity.CAST),
            conditions=_said(chosen),
        )


# ------------------------------------------------------------------------------------------- the sheet


def _sheet_trials(only_every: int) -> Iterator[Trial]:
    for chosen in _grid(
        only_every, turn=(-5.0, -1.0, -0.3, 0.0, 0.3, 1.0, 2.4), noise=(0.0, 0.01, 0.02), bits=(8, 16)
    ):
        sheet = Sheet(turn_deg=chosen["turn"], noise=chosen["noise"], bits=chosen["bits"])
        found = _page(sheet.pixels())
        for quantity in (Quantity.SKEW, Quantity.TEXT_SKEW):
            yield Trial(
                quantity=quantity,
                true=chosen["turn"],
                found=found.value(quantity),
                conditions=_said(chosen, turn="°"),
            )
    for chosen in _grid(only_every, tilt=(-3.0, -1.0, 1.0, 3.0), turn=(-4.0, 0.0, 0.5), noise=(0.004, 0.02)):
        sheet = Sheet(tilt_deg=chosen["tilt"], turn_deg=chosen["turn"], noise=chosen["noise"])
        corners = keystone_of_points(sheet.corners())
        assert isinstance(corners, Keystone)
        yield Trial(
            quantity=Quantity.KEYSTONE,
            true=corners.sides_deg,
            found=_page(sheet.pixels()).value(Quantity.KEYSTONE),
            conditions=_said(chosen, tilt="°", turn="°"),
        )
    for chosen in _grid(only_every, tone=(0.5, 0.7, 0.85), noise=(0.0, 0.01, 0.02), bits=(8, 16)):
        sheet = Sheet(paper=chosen["tone"], ink=0.2, noise=chosen["noise"], bits=chosen["bits"])
        true = float(lightness(icc.SRGB.curve.linear(chosen["tone"])))
        yield Trial(
            quantity=Quantity.PAGE_TONE,
            true=true,
            found=_page(sheet.pixels()).value(Quantity.PAGE_TONE),
            conditions=_said(chosen),
        )


def _page(pixels: ArrayPixels) -> FrameMeasures:
    return measure_page(pixels, profile_of_space(icc.SRGB), FrameKind.PAGE)


# ---------------------------------------------------------------------------------------------- focus


def _blur_trials(only_every: int) -> Iterator[Trial]:
    for chosen in _grid(
        only_every,
        blur=(0.5, 0.7, 1.0, 1.5, 2.5),
        ink=(0.05, 0.2, 0.7),
        noise=(0.0, 0.003, 0.012),
        bits=(8, 16),
    ):
        pixels = shapes_page(chosen["blur"], ink=chosen["ink"], noise=chosen["noise"], bits=chosen["bits"])
        found = measure_page(pixels, NotMeasured(reason="in codes"), FrameKind.PAGE)
        yield Trial(
            quantity=Quantity.BLUR,
            true=2.5631 * math.sqrt(chosen["blur"] ** 2 + 1 / 12),
            found=found.value(Quantity.BLUR),
            conditions=_said(chosen, blur=" px"),
        )


# ---------------------------------------------------------------------------------------- real pages


@dataclass(frozen=True, slots=True, kw_only=True)
class Way:
    """One way to make a photograph worse, and the figure that should follow."""

    name: str
    quantity: Quantity
    amounts: tuple[float, ...]
    unit: str
    worsen: Callable[[Image.Image, float], Image.Image]
    shrink: int = 2
    """By how much the photograph is reduced first; what is about sharpness is done on all pixels."""
    is_falling: bool = False
    """The figure falls as the amount grows."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Followed:
    """How a figure followed the degradation of one page."""

    way: str
    page: str
    found: tuple[float | None, ...]
    """For each amount; None where it was not measured."""
    uncertain: tuple[float, ...] = ()
    """Standard deviations of these, as measured."""

    @property
    def rank_correlation(self) -> float | None:
        """Spearman's, of amounts in order against what was found; None of fewer than three numbers."""
        known = [(at, value) for at, value in enumerate(self.found) if value is not None]
        return spearman([at for at, _ in known], [value for _, value in known]) if len(known) > 2 else None


def _blur(image: Image.Image, sigma: float) -> Image.Image:
    return image.filter(ImageFilter.GaussianBlur(sigma)) if sigma else image


def _turn(image: Image.Image, angle_deg: float) -> Image.Image:
    return image.rotate(-angle_deg, Image.Resampling.BICUBIC, fillcolor=_ground(image))


def _darken(image: Image.Image, share: float) -> Image.Image:
    return image.point([round(code * (1 - share)) for code in range(256)] * 3)


def _brighten(image: Image.Image, share: float) -> Image.Image:
    return image.point([min(255, round(code * (1 + share))) for code in range(256)] * 3)


def _tip(image: Image.Image, share: float) -> Image.Image:
    """As if the upper edge lay further away: it is narrower by a share of the width."""
    width, height = image.size
    inset = width * share / 2
    corners = (-inset, 0, 0, height, width, height, width + inset, 0)
    return image.transform(
        image.size, Image.Transform.QUAD, corners, Image.Resampling.BICUBIC, fillcolor=_ground(image)
    )


def _bend(image: Image.Image, share: float) -> Image.Image:
    """The middle of the frame hangs lower than its sides, by a share of the width."""
    codes = np.asarray(image)
    height, width, _ = codes.shape
    x = (np.arange(width) + 0.5) / width * 2 - 1
    source = np.arange(height)[:, None] - share * width * (1 - x**2)[None, :]
    upper = np.clip(np.floor(source).astype(int), 0, height - 2)
    part = np.clip(source - upper, 0, 1)[..., None]
    columns = np.arange(width)[None, :]
    bent = codes[upper, columns] * (1 - part) + codes[upper + 1, columns] * part
    return Image.fromarray(np.rint(bent).astype(np.uint8))


def _ground(image: Image.Image) -> tuple[int, ...]:
    """The colour of what the page lies on."""
    return tuple(int(each) for each in np.asarray(image)[5:15, -15:-5].mean(axis=(0, 1)))


TURNS = (-3, -2, -1, -0.5, 0, 0.5, 1, 2, 3)
OF_CODE, OF_WIDTH = " of the code", " of the width"
WAYS = (
    Way(name="blurred by a Gaussian of", quantity=Quantity.BLUR, amounts=(0, 0.5, 0.8, 1.2, 1.7, 2.5),
        unit=" px", worsen=_blur, shrink=1),
    Way(name="turned by", quantity=Quantity.SKEW, amounts=TURNS, unit="°", worsen=_turn),
    Way(name="turned by", quantity=Quantity.TEXT_SKEW, amounts=TURNS, unit="°", worsen=_turn),
    Way(name="tipped, upper edge narrower by", quantity=Quantity.KEYSTONE,
        amounts=(0, 0.005, 0.01, 0.02, 0.04), unit=OF_WIDTH, worsen=_tip),
    Way(name="bent, middle lower by", quantity=Quantity.CURVATURE, amounts=(0, 0.0025, 0.005, 0.01, 0.02),
        unit=OF_WIDTH, worsen=_bend),
    Way(name="darkened by", quantity=Quantity.PAGE_TONE, amounts=(0, 0.02, 0.05, 0.1, 0.2, 0.4),
        unit=OF_CODE, worsen=_darken, is_falling=True),
    Way(name="brightened by", quantity=Quantity.CLIPPED_LIGHT, amounts=(0, 0.05, 0.1, 0.2, 0.4),
        unit=OF_CODE, worsen=_brighten),
)  # fmt: skip


def degraded(pages: Sequence[Path], ways: Sequence[Way] = WAYS) -> Iterator[Followed]:
    """Make photographs worse in every way, and yield what was measured."""
    for path in pages:
        with Image.open(path) as opened:
            image: Image.Image = opened.convert("RGB")
        seen: dict[tuple[str, float], FrameMeasures] = {}
        for way in ways:
            small = image.reduce(way.shrink)
            for amount in way.amounts:
                if (way.name, amount) not in seen:
                    worse = way.worsen(small, amount)
                    seen[way.name, amount] = _page(ArrayPixels(np.asarray(worse)))
            told = [_told(seen[way.name, amount], way.quantity) for amount in way.amounts]
            yield Followed(
                way=way.quantity.value,
                page=path.stem,
                found=tuple(each.value for each in told),
                uncertain=tuple(each.uncertainty for each in told),
            )


def _told(measures: FrameMeasures, quantity: Quantity) -> Measurement:
    known = [each for each in measures.measurements if each.quantity is quantity]
    return next((each for each in known if each.value is not None), known[0])


def standing_out(blurs: Sequence[Followed], at: int) -> int:
    """How many pages stand out among the others as they were, if each alone is blurred by one amount."""
    found = 0
    for each in blurs:
        others = [other for other in blurs if other is not each]
        values = [_or_missing(value) for value in (each.found[at], *(other.found[0] for other in others))]
        first = focus_standings(values, [each.uncertain[at], *(other.uncertain[0] for other in others)])[0]
        found += isinstance(first, Standing) and first.deviation_sd > WARN_BEYOND
    return found


def _or_missing(value: float | None) -> float | NotMeasured:
    return NotMeasured(reason="") if value is None else value


def spearman(one: Sequence[float], other: Sequence[float]) -> float:
    """Return the correlation of ranks, ties sharing theirs."""
    ranks = [_ranks(one), _ranks(other)]
    spread = [float(np.std(each)) for each in ranks]
    if not min(spread):
        return 0.0
    return float(
        np.mean((ranks[0] - ranks[0].mean()) * (ranks[1] - ranks[1].mean())) / (spread[0] * spread[1])
    )


def _ranks(values: Sequence[float]) -> Numbers:
    array = np.asarray(values, np.float64)
    return np.array([(array < each).sum() + (array == each).sum() / 2 for each in array], np.float64)
