"""Rules over single properties of a Presentation 3.0 document: context, ids, dates, rights, behavior."""

from __future__ import annotations

import re
from collections.abc import Iterator

from pipeline import jsondoc
from pipeline.findings import Level, Register, Remark
from pipeline.specs import iiif, presentation, rights
from pipeline.verify.presentation.facts import PresentationFacts, Topic
from pipeline.verify.presentation.resources import Path, Resource, extent, list_of, number_of, text_of
from pipeline.verify.remarks import short, together
from pipeline.verify.sources import PRESENTATION_3

MANIFEST = Register[PresentationFacts]("manifests and collections of the Presentation API 3.0")


@MANIFEST.rule(
    "P003",
    Level.ERROR,
    "@context is wrong",
    source=PRESENTATION_3 + "section 4.6",
    advice="Write the context of Presentation 3 with http, as the only one or as the last, on the outermost "
    "object alone. Clients decide by it how they read the document.",
)
def context_is_right(facts: PresentationFacts) -> Iterator[Remark]:
    """The outermost object, and no other, has the context of version 3, behind those of extensions."""
    yield from together(facts.broken(Topic.CONTEXT))


@MANIFEST.rule(
    "P004",
    Level.WARNING,
    "@context is not the first key",
    source=PRESENTATION_3 + "section 4.6",
    advice="Put @context first: some readers look no further.",
    requires={"P003"},
)
def context_is_first(facts: PresentationFacts) -> Iterator[Remark]:
    """The context is the first key of the document."""
    first = next(iter(facts.value), "")
    if first != "@context":
        yield Remark(place=facts.document.path, value=f"{short(first)} is first", limit="@context")


@MANIFEST.rule(
    "P005",
    Level.ERROR,
    "The document is not as the Presentation API wants it",
    source=PRESENTATION_3 + "sections 3 and 5",
    advice="Put right what is named; the rest of the document may stay.",
)
def document_is_valid(facts: PresentationFacts) -> Iterator[Remark]:
    """Required properties are there, none stands where it is not allowed, all have the right shape."""
    yield from together(facts.broken(Topic.OTHER))
    if sum(map(len, facts.violations.values())) >= jsondoc.MOST_VIOLATIONS:
        value = f"{jsondoc.MOST_VIOLATIONS:,} places or more break the schema"
        yield Remark(place=facts.document.path, value=value, limit="none; only the first are told of")


# ------------------------------------------------------------------------------------------------- ids


@MANIFEST.rule(
    "P006",
    Level.ERROR,
    "An id is missing or no web address",
    source=PRESENTATION_3 + "section 3.2, id, and section 5.3",
    advice="Give every resource an absolute address that begins with https:// or http://; that of a canvas "
    "has no #.",
)
def ids_are_addresses(facts: PresentationFacts) -> Iterator[Remark]:
    """Every resource has an id that is an absolute web address; a canvas has one without a fragment."""
    yield from together(facts.broken(Topic.ID))


@MANIFEST.rule(
    "P007",
    Level.ERROR,
    "Two resources have the same id",
    source=PRESENTATION_3 + "section 3.2, id",
    advice="Give each an address of its own: clients, ranges and annotations would mean the one and get the "
    "other.",
)
def ids_are_unique(facts: PresentationFacts) -> Iterator[Remark]:
    """No two canvases, ranges, annotation pages or annotations have the same id."""
    yield from together(_repeated(facts), what="resources")


def _repeated(facts: PresentationFacts) -> Iterator[Remark]:
    seen: dict[str, Resource] = {}
    told: set[Path] = set()
    for resource in facts.resources:
        is_within = bool(told) and any(resource.path[:end] in told for end in range(len(resource.path)))
        if not resource.is_own or not resource.identifier or is_within:
            continue  # what lies in a copy has the same ids as in the original
        first = seen.setdefault(resource.identifier, resource)
        if first is not resource:
            told.add(resource.path)
            value = f"{short(resource.identifier)}, as the {first.type} at {facts.at(first.path)}"
            yield Remark(place=facts.at(resource.path), value=value, limit="an id of its own")


@MANIFEST.rule(
    "P008",
    Level.ERROR,
    "What is painted is an image service, not an image",
    source=PRESENTATION_3 + "section 5.7",
    advice="Give the address of an image, such as …/full/max/0/default.jpg, and name the service under "
    "service.",
)
def bodies_are_images(facts: PresentationFacts) -> Iterator[Remark]:
    """The id of an image is the address of an image, never that of its service or of info.json."""
    yield from together(_services_as_images(facts))


def _services_as_images(facts: PresentationFacts) -> Iterator[Remark]:
    for image in facts.by_type.get("Image", ()):
        if facts.is_service(image.identifier):
            place = facts.at(image.path)
            yield Remark(place=place, value=short(image.identifier), limit="the address of an image")


@MANIFEST.rule(
    "P009",
    Level.WARNING,
    "A published id has a query or a fragment",
    source=PRESENTATION_3 + "section 3.2, id",
    advice="Use plain paths: servers, caches and those who cite the item drop the rest.",
)
def ids_are_plain(facts: PresentationFacts) -> Iterator[Remark]:
    """The id of a manifest, a collection or a canvas is a plain address."""
    for resource in facts.resources:
        if not resource.is_own or resource.type not in ("Manifest", "Collection", "Canvas"):
            continue
        said = resource.identifier
        if "?" in said or ("#" in said and resource.type != "Canvas"):  # of canvases P006 tells
            yield Remark(place=facts.at(resource.path), value=short(said), limit="neither ? nor #")


# --------------------------------------------------------------------------------------- single values


@MANIFEST.rule(
    "P018",
    Level.ERROR,
    "rights is no rights URI",
    source=PRESENTATION_3 + "section 3.1, rights",
    advice="Write the URI as Creative Commons or RightsStatements.org publish it: http, a slash at the end, "
    "no deed and no page. Other terms belong into requiredStatement or metadata.",
)
def rights_is_a_rights_uri(facts: PresentationFacts) -> Iterator[Remark]:
    """The URI is of Creative Commons or RightsStatements.org, in its machine-readable form."""
    yield from together(facts.broken(Topic.RIGHTS))


@MANIFEST.rule(
    "P019",
    Level.WARNING,
    "rights names a statement that is not known",
    source="creativecommons.org/licenses and /publicdomain; rightsstatements.org, vocabulary 1.0",
    advice="Look up the URI at its publisher: readers who follow it find nothing.",
    requires={"P018"},
)
def rights_are_known(facts: PresentationFacts) -> Iterator[Remark]:
    """The licence or statement is one that there is."""
    for resource in facts.resources:
        said = text_of(resource.value.get("rights"))
        if said and iiif.rights_uri(said) == said and rights.statement_of(said) is None:
            yield Remark(place=facts.at(resource.path), value=short(said), limit="a published statement")


@MANIFEST.rule(
    "P020",
    Level.ERROR,
    "navDate is no date and time",
    source=PRESENTATION_3 + "section 3.1, navDate",
    advice="Write a date and time with its zone, such as 1475-01-01T00:00:00Z, on a collection, manifest, "
    "canvas or range. What people read belongs into metadata.",
)
def dates_are_dates(facts: PresentationFacts) -> Iterator[Remark]:
    """The date has year, month, day, time and zone, and is one of the calendar."""
    yield from together(facts.broken(Topic.DATE))
    for resource in facts.resources:
        said = text_of(resource.value.get("navDate"))
        match = _DATE.match(said)
        if match and not _is_in_calendar(int(match[1][-8:]), int(match[2]), int(match[3])):
            yield Remark(
                place=facts.at((*resource.path, "navDate")), value=said, limit="a day of the calendar"
            )


_DATE = re.compile(r"(-?[0-9]{4,20})-(0[1-9]|1[0-2])-(0[1-9]|[12][0-9]|3[01])T")


def _is_in_calendar(year: int, month: int, day: int) -> bool:
    if month == 2:
        return day <= (29 if year % 4 == 0 and (year % 100 != 0 or year % 400 == 0) else 28)
    return day <= (30 if month in (4, 6, 9, 11) else 31)


@MANIFEST.rule(
    "P021",
    Level.ERROR,
    "viewingDirection is wrong or misplaced",
    source=PRESENTATION_3 + "section 3.2, viewingDirection",
    advice="Write left-to-right, right-to-left, top-to-bottom or bottom-to-top, on a collection, manifest "
    "or range.",
)
def directions_are_directions(facts: PresentationFacts) -> Iterator[Remark]:
    """The direction is one of four, and stands where views are in an order."""
    yield from together(facts.broken(Topic.DIRECTION))


@MANIFEST.rule(
    "P022",
    Level.ERROR,
    "behavior is wrong, misplaced or contradicts itself",
    source=PRESENTATION_3 + "section 3.2, behavior",
    advice="Take out what this type of resource may not have, and all but one of those that shut each other "
    "out.",
)
def behaviors_are_allowed(facts: PresentationFacts) -> Iterator[Remark]:
    """Each resource has only behaviors of its type, and at most one of each set."""
    yield from together(facts.broken(Topic.BEHAVIOR))


@MANIFEST.rule(
    "P023",
    Level.WARNING,
    "behavior has no effect",
    source=PRESENTATION_3 + "section 3.2, behavior",
    advice="Take it out, or give the resource what the behavior needs: facing-pages and non-paged mean "
    "something in a paged manifest, pages need height and width, repeat and auto-advance a duration.",
    requires={"P022"},
)
def behaviors_mean_something(facts: PresentationFacts) -> Iterator[Remark]:
    """What a behavior needs to be of any effect is there."""
    yield from together(_idle_behaviors(facts))


def _idle_behaviors(facts: PresentationFacts) -> Iterator[Remark]:
    if not facts.is_manifest:
        return
    root = facts.resources[0]
    layouts = _behaviors(root) | {b for each in facts.by_type.get("Range", ()) for b in _behaviors(each)}
    timed = any(number_of(each.value.get("duration")) for each in facts.canvases)
    flat = [each for each in facts.canvases if extent(each.value) is None and "duration" in each.value]
    if _behaviors(root) & {"paged", "continuous"} and flat:
        value = f"{len(flat):,} of {len(facts.canvases):,} canvases have no height and width"
        yield Remark(place=facts.at(flat[0].path), value=value, limit="canvases with height and width")
    for canvas in facts.canvases:
        if (said := _behaviors(canvas) & presentation.SIDES) and "paged" not in layouts:
            place = facts.at(canvas.path)
            yield Remark(place=place, value=", ".join(sorted(said)), limit="a manifest that is paged")
    for resource in (root, *facts.canvases):
        if (said := _behaviors(resource) & presentation.TIMED) and not timed:
            place = facts.at(resource.path)
            yield Remark(place=place, value=", ".join(sorted(said)), limit="canvases with a duration")


def _behaviors(resource: Resource) -> set[str]:
    return {each for each in list_of(resource.value.get("behavior")) if isinstance(each, str)}


@MANIFEST.rule(
    "P024",
    Level.ERROR,
    "Height, width or duration is missing or no size",
    source=PRESENTATION_3 + "section 3.2, height, width and duration, and section 5.3",
    advice="Give a canvas height and width together, as whole numbers above 0, or a duration in seconds.",
)
def extents_are_sizes(facts: PresentationFacts) -> Iterator[Remark]:
    """A canvas has height and width, or a duration; they are numbers above 0."""
    yield from together(facts.broken(Topic.EXTENT))


@MANIFEST.rule(
    "P012",
    Level.NOTE,
    "What readers look for first is missing",
    source=PRESENTATION_3 + "section 3.1 and appendix A",
    advice="Add what there is to say: lists and searches show it.",
)
def recommended_properties_are_there(facts: PresentationFacts) -> Iterator[Remark]:
    """A manifest or collection has metadata, a summary, a provider and a thumbnail."""
    wanted = presentation.RECOMMENDED["Manifest" if facts.is_manifest else "Collection"]
    missing = [key for key in wanted if not facts.value.get(key)]
    if missing:
        place = facts.document.path
        yield Remark(place=place, value=f"without {', '.join(missing)}", limit=", ".join(wanted))
