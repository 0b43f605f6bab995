"""Rules over how the resources of a Presentation 3.0 document hang together: targets, ranges, sizes."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from typing import Any

from pipeline.findings import Level, Remark
from pipeline.verify.presentation.facts import PresentationFacts
from pipeline.verify.presentation.property_rules import MANIFEST
from pipeline.verify.presentation.resources import Resource, extent, list_of, text_of, whole
from pipeline.verify.remarks import short, shown, together
from pipeline.verify.sources import PRESENTATION_3

PAINTING = "painting"
ROUNDING = 1
"""Units by which a side may differ from the exact ratio."""


# ---------------------------------------------------------------------------------------------- painting


@MANIFEST.rule(
    "P025",
    Level.ERROR,
    "An annotation does not target the canvas that it stands on",
    source=PRESENTATION_3 + "section 5.6",
    advice="Write the id of the canvas as target; a part of it as that id with #xywh=, or as "
    "SpecificResource.",
)
def paintings_target_their_canvas(facts: PresentationFacts) -> Iterator[Remark]:
    """What is painted on a canvas has that canvas, or a part of it, as its target."""
    yield from together(_astray(facts))


def _astray(facts: PresentationFacts) -> Iterator[Remark]:
    for canvas, annotation, targets in _elsewhere(facts):
        if "://" in canvas.identifier:  # of others P006 tells
            target = annotation.value["target"]
            place = facts.at((*annotation.path, "target"))
            value = short(target_id(targets[0])) if targets else "nothing"
            yield Remark(place=place, value=value or shown(target), limit="the id of its canvas")


def _elsewhere(facts: PresentationFacts) -> Iterator[tuple[Resource, Resource, list[Any]]]:
    """Yield each canvas, annotation and its targets that does not target the canvas."""
    for canvas, annotation in facts.painted:
        if "target" not in annotation.value:
            continue  # the schema tells
        target = annotation.value["target"]
        targets = target if isinstance(target, list) else [target]
        if not any(whole(target_id(each)) == whole(canvas.identifier) for each in targets):
            yield canvas, annotation, targets


def target_id(target: Any) -> str:
    """Return the id of what a target means, its fragment included; of a SpecificResource its source."""
    if isinstance(target, dict):
        source = target.get("source")
        if source is not None:
            return target_id(source)
        return text_of(target.get("id"))
    return text_of(target)


@MANIFEST.rule(
    "P026",
    Level.ERROR,
    "Something lies outside of its canvas",
    source=PRESENTATION_3 + "section 5.3",
    advice="Correct x, y, width and height, which are in units of the canvas, not in pixels of the image.",
)
def parts_lie_within(facts: PresentationFacts) -> Iterator[Remark]:
    """A part of a canvas that is named with #xywh= lies within the canvas."""
    yield from together(_outside(facts))


_XYWH = re.compile(r"xywh=(?:pixel:)?([\d.]{1,12}),([\d.]{1,12}),([\d.]{1,12}),([\d.]{1,12})(?:&|$)")


def _outside(facts: PresentationFacts) -> Iterator[Remark]:
    sizes = {each.identifier: extent(each.value) for each in facts.by_type.get("Canvas", ()) if each.is_own}
    for path, address, value in _parts(facts):
        size, match = sizes.get(address), _XYWH.search(value)
        if size is None or match is None:
            continue
        x, y, width, height = (_decimal(text) for text in match.groups())
        if x + width > size[0] + ROUNDING or y + height > size[1] + ROUNDING:
            limit = "within the height and width of the canvas"
            found = f"{match[0].rstrip('&')} on {size[0]:g} × {size[1]:g}"
            yield Remark(place=facts.at(path), value=found, limit=limit)


def _decimal(text: str) -> float:
    try:
        return float(text)
    except ValueError:
        return 0.0


def _parts(facts: PresentationFacts) -> Iterator[tuple[tuple[str | int, ...], str, str]]:
    """Yield every part of a canvas that is named: where, of which canvas, and its fragment."""
    for resource in facts.by_type.get("Annotation", ()):
        for target in _several(resource.value.get("target")):
            if isinstance(target, str) and "#" in target:
                yield (*resource.path, "target"), whole(target), target.partition("#")[2]
    for resource in facts.by_type.get("Canvas", ()):
        if not resource.is_own and "#" in resource.identifier:
            yield resource.path, whole(resource.identifier), resource.identifier.partition("#")[2]
    for resource in facts.by_type.get("SpecificResource", ()):
        for selector in _several(resource.value.get("selector")):
            if isinstance(selector, dict) and selector.get("type") == "FragmentSelector":
                yield resource.path, whole(target_id(resource.value)), text_of(selector.get("value"))


def _several(value: Any) -> list[Any]:
    return value if isinstance(value, list) else [value]


@MANIFEST.rule(
    "P027",
    Level.NOTE,
    "A canvas shows nothing",
    source=PRESENTATION_3 + "section 5.3",
    advice="Right for a page that was not captured; say so in its label. Otherwise its image is missing.",
)
def canvases_show_something(facts: PresentationFacts) -> Iterator[Remark]:
    """Something is painted on every canvas."""
    shown_on = {canvas.path for canvas, _ in facts.painted}
    fetched = {
        page.parent.path
        for page in facts.by_type.get("AnnotationPage", ())
        if page.role == "items" and page.parent is not None and not page.is_own
    }
    empty = [each for each in facts.canvases if each.path not in shown_on | fetched]
    if empty:
        value = f"{len(empty):,} of {len(facts.canvases):,} canvases"
        yield Remark(place=facts.at(empty[0].path), value=value, limit="a painting annotation")


# ------------------------------------------------------------------------------------------------- sizes


@MANIFEST.rule(
    "P028",
    Level.ERROR,
    "An image does not have the shape of its canvas",
    source=PRESENTATION_3 + "section 5.3",
    advice="Give the canvas the proportions of its image; otherwise clients distort it. Often width and "
    "height are exchanged, or another image is painted.",
)
def images_have_the_shape_of_their_canvas(facts: PresentationFacts) -> Iterator[Remark]:
    """An image that fills a canvas has its ratio of width to height, but for one unit of rounding."""
    yield from together(_misshapen(facts))


def _misshapen(facts: PresentationFacts) -> Iterator[Remark]:
    for canvas, annotation, image in facts.images:
        size, found = extent(canvas.value), facts.asked_size(image) or extent(image.value)
        if size is None or found is None or image.role == "source" or has_shape(found, size):
            continue
        if _fills(canvas, annotation):
            value = f"an image of {found[0]:g} × {found[1]:g} on a canvas of {size[0]:g} × {size[1]:g}"
            yield Remark(place=facts.at(image.path), value=value, limit="one shape")


def _fills(canvas: Resource, annotation: Resource) -> bool:
    """True if the target is the canvas without fragment or selector."""
    target = annotation.value.get("target")
    if isinstance(target, dict) and "selector" in target:
        return False
    return target_id(target) == canvas.identifier


def has_shape(part: tuple[float, float], of: tuple[float, float]) -> bool:
    """True if two sizes are of one shape, given that each side was rounded to whole units."""
    return abs(part[0] * of[1] - part[1] * of[0]) <= ROUNDING * max(*part, *of)


# ------------------------------------------------------------------------------------------------ ranges


@MANIFEST.rule(
    "P031",
    Level.ERROR,
    "A range leads to a canvas or range that is not there",
    source=PRESENTATION_3 + "section 5.4",
    advice="Correct the id: it is that of a canvas in items, or of a range in structures of the same "
    "manifest.",
)
def ranges_lead_somewhere(facts: PresentationFacts) -> Iterator[Remark]:
    """Every canvas, part of a canvas and range in a range is one of the manifest."""
    yield from together(_nowhere(facts))


def _nowhere(facts: PresentationFacts) -> Iterator[Remark]:
    canvases = {each.identifier for each in facts.canvases}
    if not canvases:
        return  # a collection, or a manifest of which the schema tells
    # a canvas whose id was changed is told of with what is painted on it
    canvases |= {whole(target_id(each)) for _, _, targets in _elsewhere(facts) for each in targets}
    ranges = {each.identifier for each in facts.by_type.get("Range", ()) if each.is_own}
    ranges |= {each.identifier for each in facts.resources[0].children("structures")}
    for holder in facts.by_type.get("Range", ()):
        for item in holder.children("items"):
            said = whole(target_id(item.value)) if item.type == "SpecificResource" else item.identifier
            kind = "range" if item.type == "Range" else "canvas"
            is_known = said in ranges if kind == "range" else whole(said) in canvases
            if said and not is_known and item.type in ("Range", "Canvas", "SpecificResource"):
                limit = f"a {kind} of this manifest"
                yield Remark(place=facts.at(item.path), value=short(said), limit=limit)


@MANIFEST.rule(
    "P032",
    Level.ERROR,
    "Ranges contain each other",
    source=PRESENTATION_3 + "section 5.4",
    advice="Take the range out of one of those that it contains: a table of contents cannot be drawn from a "
    "ring.",
)
def ranges_form_no_ring(facts: PresentationFacts) -> Iterator[Remark]:
    """No range is inside itself, on whatever way."""
    below: dict[str, list[str]] = {}
    places: dict[str, Resource] = {}
    for each in facts.by_type.get("Range", ()):
        inside = [item.identifier for item in each.children("items") if item.type == "Range"]
        below.setdefault(each.identifier, []).extend(inside)
        if each.is_own:
            places.setdefault(each.identifier, each)
    for identifier in _ring(below):
        place = facts.at(places[identifier].path) if identifier in places else facts.document.path
        yield Remark(place=place, value=f"{short(identifier)} is inside itself", limit="no ring")
        return


def _ring(below: Mapping[str, list[str]]) -> Iterator[str]:
    """Yield a range that is inside itself: what is left when those that contain none are taken away."""
    above: dict[str, list[str]] = {}
    open_ends = dict.fromkeys(below, 0)
    for each, inside in below.items():
        known = [other for other in inside if other in below]
        open_ends[each] = len(known)
        for other in known:
            above.setdefault(other, []).append(each)
    waiting = [each for each, count in open_ends.items() if count == 0]
    while waiting:
        for holder in above.get(waiting.pop(), ()):
            open_ends[holder] -= 1
            if open_ends[holder] == 0:
                waiting.append(holder)
    yield from _on_rings({each for each, count in open_ends.items() if count > 0}, below)


def _on_rings(left: set[str], below: Mapping[str, list[str]]) -> Iterator[str]:
    """Of what contains a ring or is in one: follow the first way down until something comes again."""
    for start in sorted(left):
        seen: set[str] = set()
        at = start
        while at not in seen:
            seen.add(at)
            at = next(other for other in below[at] if other in left)
        yield at
        return


@MANIFEST.rule(
    "P033",
    Level.ERROR,
    "start leads to a canvas that is not there",
    source=PRESENTATION_3 + "section 3.3.2, start",
    advice="Write the id of a canvas of this manifest; of a range, one that the range contains.",
)
def start_is_a_canvas(facts: PresentationFacts) -> Iterator[Remark]:
    """The canvas, or part of a canvas, to begin with is one of the manifest."""
    canvases = {each.identifier for each in facts.canvases}
    for holder in (facts.resources[0], *facts.by_type.get("Range", ())):
        for start in holder.children("start"):
            is_part = start.type == "SpecificResource"
            said = whole(target_id(start.value) if is_part else start.identifier)
            if said and said not in canvases:
                place = facts.at(start.path)
                yield Remark(place=place, value=short(said), limit="a canvas of this manifest")


@MANIFEST.rule(
    "P034",
    Level.WARNING,
    "A range to be shown by thumbnails has parts without any",
    source=PRESENTATION_3 + "section 3.2, behavior, thumbnail-nav",
    advice="Give every range in it a thumbnail, or take the behavior out.",
)
def thumbnail_ranges_have_thumbnails(facts: PresentationFacts) -> Iterator[Remark]:
    """Every range inside one with `thumbnail-nav` has a thumbnail."""
    for holder in facts.by_type.get("Range", ()):
        if "thumbnail-nav" in list_of(holder.value.get("behavior")):
            parts = [each for each in holder.children("items") if each.type == "Range"]
            bare = [each for each in parts if "thumbnail" not in each.value]
            if bare:
                value = f"{len(bare):,} of {len(parts):,} ranges have none"
                yield Remark(place=facts.at(holder.path), value=value, limit="a thumbnail for each")


# ---------------------------------------------------------------------------------------- what is shown


@MANIFEST.rule(
    "P035",
    Level.WARNING,
    "An image does not say what it is",
    source=PRESENTATION_3 + "sections 3.2, 5.6 and 5.7",
    advice="Say format, width and height of the image, and the profile of its service: clients need not ask "
    "first.",
)
def images_say_what_they_are(facts: PresentationFacts) -> Iterator[Remark]:
    """Painted images have format, height and width, and image services a profile."""
    yield from together(_silent(facts))


def _silent(facts: PresentationFacts) -> Iterator[Remark]:
    limit = "format, height, width"
    for _, _, image in facts.images:
        if missing := [key for key in ("format", "height", "width") if key not in image.value]:
            place = facts.at(image.path)
            yield Remark(place=place, value=f"without {', '.join(missing)}", limit=limit)
        for service in image.children("service"):
            if service.type.startswith("ImageService") and not service.value.get("profile"):
                yield Remark(place=facts.at(service.path), value="without profile", limit="a profile")
