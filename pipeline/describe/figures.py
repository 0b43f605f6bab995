"""The key figures of an item's imaging, in words: what the event of its judgement says of them.

One sentence for each target and flat frame, one for all frames that show the object. Every number, with its
method, is in quality.json.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from pipeline import numerals
from pipeline.measurements import (
    METHOD_VERSION,
    RANGE_OF_LUMINANCE,
    Formula,
    FrameMeasures,
    Quantity,
)
from pipeline.model import Frame, FrameKind, FrameRecord

Figure = tuple[Quantity, str, str]
"""Quantity, statistic and formula of numbers that are given, alone or as a range."""

OF_TARGET: tuple[Figure, ...] = (
    (Quantity.COLOUR, "mean", Formula.CIEDE2000),
    (Quantity.COLOUR, "maximum", Formula.CIEDE2000),
    (Quantity.WHITE_BALANCE, "maximum", Formula.CIE76_CHROMA),
    (Quantity.TONE, "maximum", Formula.LIGHTNESS),
    (Quantity.NOISE, "maximum", ""),
    (Quantity.SFR50, "", ""),
    (Quantity.EFFICIENCY, "", ""),
    (Quantity.SHARPENING, "", ""),
    (Quantity.MISREGISTRATION, "", ""),
    (Quantity.TRUE_PPI, "", ""),
    (Quantity.SCALE, "", ""),
)
OF_FLAT: tuple[Figure, ...] = (
    (Quantity.EVENNESS, "", RANGE_OF_LUMINANCE),
    (Quantity.LIGHTNESS_RANGE, "", ""),
    (Quantity.CAST, "", ""),
    (Quantity.DUST, "", ""),
)
OF_OBJECT: tuple[Figure, ...] = (
    (Quantity.SKEW, "", ""),
    (Quantity.TEXT_SKEW, "", ""),
    (Quantity.BLUR, "", ""),
    (Quantity.CLIPPED_LIGHT, "", ""),
    (Quantity.CLIPPED_DARK, "", ""),
    (Quantity.PAGE_TONE, "", ""),
)


def key_figures(frames: Sequence[Frame], records: Mapping[str, FrameRecord]) -> tuple[str, ...]:
    """Return what was measured on the frames that were read, in their order; nothing if nothing was."""
    measured = [
        (frame, measures)
        for frame in frames
        if frame.identifier in records and (measures := records[frame.identifier].measures) is not None
    ]
    proofs = (
        (f"{frame.kind} {frame.file}", OF_TARGET if frame.kind is FrameKind.TARGET else OF_FLAT, [measures])
        for frame, measures in measured
        if not frame.kind.is_reading_matter
    )
    shown = [measures for frame, measures in measured if frame.kind.is_reading_matter]
    every = (*proofs, (f"{len(shown)} frames of the object", OF_OBJECT, shown))
    return tuple(
        f"{name}, method version {METHOD_VERSION}: {said}"
        for name, wanted, found in every
        if (said := "; ".join(_figures(wanted, found)))
    )


def _figures(wanted: Sequence[Figure], found: Sequence[FrameMeasures]) -> Iterator[str]:
    for quantity, statistic, formula in wanted:
        values = [
            each.value
            for measures in found
            for each in measures.measurements
            if (each.quantity, each.statistic) == (quantity, statistic)
            and each.value is not None
            and (not formula or each.formula == formula)
        ]
        if values:
            label = " ".join(filter(None, [statistic, quantity.label]))
            yield f"{label} {_range(values, quantity.unit)}{f' ({formula})' if formula else ''}"


def _range(values: Sequence[float], unit: str) -> str:
    """``2.4°``, or ``−0.1 to 2.4°``."""
    low, high = numerals.told(min(values)), numerals.told(max(values))
    return numerals.with_unit(low if low == high else f"{low} to {high}", unit)
