"""From places in the order of reading to canvases: which frames share one, and how large each is.

Frames of one view in different light are offered as a choice on one canvas if they show the same extent;
that can be told from their proportions alone. A frame of other proportions would be distorted there, so
it gets a canvas of its own beside the first.

All canvases of an item have one scale: where captures differ in resolution, canvas sizes are counted in
pixels of the highest resolution, and images are enlarged to them by the client.

Source: IIIF Presentation API 3.0, sections 5.3 and 5.7 (Choice); physical dimensions annex, section 2.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace

from pipeline.describe import wording
from pipeline.describe.arrangement import Arrangement
from pipeline.describe.paging import Placement
from pipeline.model import (
    MM_PER_INCH,
    Derivatives,
    Frame,
    FrameKind,
    FrameRecord,
    Item,
    LanguageMap,
    MasterFacts,
    SizePx,
)
from pipeline.specs import tiff
from pipeline.specs.iiif import Behavior

ASPECT_TOLERANCE = 0.01
"""Two images of one extent differ at most by this part in their proportions: own choice."""

SAME_PPI_TOLERANCE = 0.001
"""Resolutions that differ less are the same one, written as different fractions."""

_UNITS_PER_MM = 20
_SIZE_OF_LAST_RESORT = SizePx(width_px=3000, height_px=4000)


@dataclass(frozen=True, slots=True, kw_only=True)
class Canvas:
    """One canvas, sized."""

    identifier: str
    """The last part of its id; may have several segments."""
    label: LanguageMap
    kind: FrameKind
    size: SizePx
    """In canvas units, which are pixels of the item's highest resolution."""
    frames: tuple[Frame, ...]
    """Several make a choice, the first being the default; none: not captured."""
    view: str
    """Identifier of the view that it shows; empty for a page that only the foliation tells of."""
    behavior: Behavior | None
    mm_per_unit: float | None


def canvases(
    item: Item,
    arrangement: Arrangement,
    derivatives: Mapping[str, Derivatives],
    records: Mapping[str, FrameRecord],
) -> tuple[Canvas, ...]:
    """Return the canvases of an item in reading order.

    Raises KeyError if a captured frame of a view has no derivatives.
    """
    paged = arrangement.behavior is Behavior.PAGED
    drafts = [draft for place in arrangement.places for draft in _drafts(place, derivatives, paged=paged)]
    ppi = _resolutions(item, (draft.frames[0] for draft in drafts if draft.frames), derivatives, records)
    highest_ppi = max(ppi.values(), default=None)
    sized = [_sized(draft, derivatives, ppi, highest_ppi) if draft.frames else None for draft in drafts]
    return tuple(_size_the_empty(item, drafts, sized))


# --------------------------------------------------------------------------------- frames on one canvas


def _drafts(place: Placement, derivatives: Mapping[str, Derivatives], *, paged: bool) -> Iterator[Canvas]:
    """Yield the canvas of a place, and one more for each frame that does not fit on it; sizes are to come."""
    fitting, others = _fitting(place.frames, derivatives)
    yield _draft(place, fitting)
    for frame in others:
        yield replace(
            _draft(place, (frame,)),
            identifier=f"{place.identifier}/light/{frame.identifier}",
            label=wording.in_light(place.label, frame.light),
            behavior=Behavior.NON_PAGED if paged else place.behavior,
        )


def _draft(place: Placement, frames: tuple[Frame, ...]) -> Canvas:
    return Canvas(
        identifier=place.identifier,
        label=place.label,
        kind=place.kind,
        size=_SIZE_OF_LAST_RESORT,
        frames=frames,
        view=place.view,
        behavior=place.behavior,
        mm_per_unit=None,
    )


def _fitting(
    frames: tuple[Frame, ...], derivatives: Mapping[str, Derivatives]
) -> tuple[tuple[Frame, ...], tuple[Frame, ...]]:
    """Part frames into those that have the proportions of the first, and the others."""
    if len(frames) < 2:
        return frames, ()
    first = derivatives[frames[0].identifier].size
    fits = [have_same_proportions(first, derivatives[frame.identifier].size) for frame in frames]
    return (
        tuple(frame for frame, fit in zip(frames, fits, strict=True) if fit),
        tuple(frame for frame, fit in zip(frames, fits, strict=True) if not fit),
    )


def have_same_proportions(a: SizePx, b: SizePx) -> bool:
    """True if two sizes differ in their proportions by no more than `ASPECT_TOLERANCE`."""
    across, down = a.width_px * b.height_px, b.width_px * a.height_px
    return abs(across - down) <= ASPECT_TOLERANCE * max(across, down)


# ------------------------------------------------------------------------------------------------- scale


def _resolutions(
    item: Item,
    frames: Iterable[Frame],
    derivatives: Mapping[str, Derivatives],
    records: Mapping[str, FrameRecord],
) -> dict[str, float]:
    """Return the resolution of the images of `frames` at their full size, as far as it is known, by frame."""
    session_ppi = {session.identifier: session.ppi for session in item.sessions}
    known: dict[str, float] = {}
    for frame in frames:
        record = records.get(frame.identifier)
        ppi = resolution_ppi(record.facts if record else None, session_ppi.get(frame.session))
        if ppi:
            image_px = derivatives[frame.identifier].size.width_px
            master_px = record.facts.displayed_size_px[0] if record else image_px
            known[frame.identifier] = ppi * image_px / master_px
    return known


def resolution_ppi(facts: MasterFacts | None, session_ppi: float | None) -> float | None:
    """Return the resolution at the object's surface: what the file says, else what the session says.

    What a file says is passed over where it is a placeholder or differs across and down.
    """
    across, down = (facts.ppi if facts else None) or (0.0, 0.0)
    if across <= 0 or abs(across - down) > ASPECT_TOLERANCE * across or tiff.is_placeholder(across):
        return session_ppi
    return across


def _sized(
    draft: Canvas, derivatives: Mapping[str, Derivatives], ppi: Mapping[str, float], highest_ppi: float | None
) -> Canvas:
    frame = draft.frames[0].identifier
    image, own_ppi = derivatives[frame].size, ppi.get(frame)
    if own_ppi is None or highest_ppi is None:
        return replace(draft, size=image)
    if highest_ppi / own_ppi - 1 < SAME_PPI_TOLERANCE:
        return replace(draft, size=image, mm_per_unit=MM_PER_INCH / own_ppi)
    return replace(draft, size=_enlarged(image, highest_ppi / own_ppi), mm_per_unit=MM_PER_INCH / highest_ppi)


def _enlarged(size: SizePx, factor: float) -> SizePx:
    return SizePx(width_px=round(size.width_px * factor), height_px=round(size.height_px * factor))


# --------------------------------------------------------------------------------- what was not captured


def _size_the_empty(item: Item, drafts: list[Canvas], sized: list[Canvas | None]) -> Iterator[Canvas]:
    """Give every canvas without an image the size of a neighbour: of its kind if there is one."""
    before = _last_seen(sized)
    after = list(reversed(_last_seen(reversed(sized))))
    for draft, canvas, earlier, later in zip(drafts, sized, before, after, strict=True):
        if canvas is not None:
            yield canvas
            continue
        near = (earlier.get(draft.kind), later.get(draft.kind), earlier.get(None), later.get(None))
        yield replace(draft, size=next((size for size in near if size), _size_from_record(item)))


def _last_seen(sized: Iterable[Canvas | None]) -> list[Mapping[FrameKind | None, SizePx]]:
    """For each place, the last size before it of each kind, and under None of any kind."""
    seen: list[Mapping[FrameKind | None, SizePx]] = []
    last: dict[FrameKind | None, SizePx] = {}
    for canvas in sized:
        seen.append(last)
        if canvas is not None:
            last = {**last, canvas.kind: canvas.size, None: canvas.size}
    return seen


def _size_from_record(item: Item) -> SizePx:
    if len(item.size_mm) < 2 or min(item.size_mm[:2]) <= 0:
        return _SIZE_OF_LAST_RESORT
    height_mm, width_mm = item.size_mm[:2]
    return SizePx(
        width_px=max(1, round(width_mm * _UNITS_PER_MM)), height_px=max(1, round(height_mm * _UNITS_PER_MM))
    )
