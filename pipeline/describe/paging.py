"""The views of a bound volume as openings: rectos on odd places, versos on even ones.

Places are counted over the views that are turned to, the pages:

- covers, spine, edges, details, foldouts and loose faces are non-paged: they stand where they were listed
  and are not counted. The front board is counted if the first page is its pastedown, a verso;
- a view of an opening stands by itself (facing-pages), for a verso and a recto;
- half a leaf that has no row, between two pages whose labels say so, gets an empty place; so does the
  recto that the first verso needs. A leaf that is missing whole shifts nothing and is not supplied;
- where a page of unknown side (a bookplate, a loose insert) would shift what follows, it is not counted.

Where rectos cannot be kept on odd places by these means, the volume had better not be shown as openings:
`Paging.doubt` says why.

Source: IIIF Presentation API 3.0, section 3.4 (paged, facing-pages, non-paged).
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace

from pipeline import foliation
from pipeline.describe import wording
from pipeline.files import slug
from pipeline.foliation import Place, Side, Zone
from pipeline.model import Frame, FrameKind, LanguageMap, View
from pipeline.specs.iiif import Behavior


@dataclass(frozen=True, slots=True, kw_only=True)
class Placement:
    """One place in the order of reading, which becomes one canvas."""

    identifier: str
    label: LanguageMap
    kind: FrameKind
    frames: tuple[Frame, ...] = ()
    view: str = ""
    """Identifier of the view that stands there; empty for a page that only the foliation tells of."""
    behavior: Behavior | None = None
    """For a place in a paged volume: non-paged, facing-pages or, for a page, none."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Paging:
    """The places of a bound volume."""

    places: tuple[Placement, ...]
    doubt: str = ""
    """Where and why rectos do not stay rectos, and what to do; empty if they do."""


def placement_of(view: View, behavior: Behavior | None = None) -> Placement:
    """Return the place of a view; its label says so if the view was not captured."""
    label = wording.view_label(view.label)
    return Placement(
        identifier=view.identifier,
        label=label if view.is_captured else wording.not_captured(label),
        kind=view.kind,
        frames=view.frames,
        view=view.identifier,
        behavior=behavior,
    )


def turn_pages(views: Iterable[View], *, supplies: bool) -> Paging:
    """Return the places of a bound volume, in the order of `views`.

    With `supplies`, half leaves that the foliation misses get a place; without, the foliation is not
    trusted so far (a misbound volume), and only rows of pages.csv are shown.
    """
    views = tuple(views)
    walk = _Walk(known=_Known.among(views), supplies=supplies)
    for view in views:
        walk.take(view)
    return Paging(places=tuple(walk.places), doubt=walk.doubt)


# ----------------------------------------------------------------------------------------------- the walk


@dataclass(slots=True, kw_only=True)
class _Walk:
    """Goes through a volume view by view and knows which side comes next."""

    known: _Known
    supplies: bool
    places: list[Placement] = field(default_factory=list)
    doubt: str = ""
    expected: Side = Side.RECTO
    is_at_start: bool = True
    """No page yet."""
    previous: str = ""
    """Label of the page or opening just before."""
    loose: list[int] = field(default_factory=list)
    """Pages of unknown side since the last page of a known one, by their index in `places`."""

    def take(self, view: View) -> None:
        """Put a view in its place, and before it whatever has to stand between it and the one before."""
        match view.kind:
            case FrameKind.PAGE:
                self._take_page(view)
            case FrameKind.OPENING:
                self._take_opening(view)
            case _:
                self.places.append(placement_of(view, Behavior.NON_PAGED))

    def _take_page(self, view: View) -> None:
        self._supply_between(self.previous, view.label)
        side = foliation.side(view.label)
        if side is None:
            self.loose.append(len(self.places))
        else:
            self._make_room(view.label, side)
            self.loose.clear()
        self._count(placement_of(view))
        self.previous = view.label

    def _take_opening(self, view: View) -> None:
        self._supply_between(self.previous, view.label)
        self.places.append(placement_of(view, Behavior.FACING_PAGES))
        self.expected, self.is_at_start, self.previous = Side.VERSO, False, view.label
        self.loose.clear()

    def _count(self, place: Placement) -> None:
        self.places.append(place)
        self._turn()
        self.is_at_start = False

    def _turn(self) -> None:
        self.expected = Side.VERSO if self.expected is Side.RECTO else Side.RECTO

    # --------------------------------------------------------------------- where a side is not expected

    def _make_room(self, label: str, side: Side) -> None:
        """See to it that `side` comes next, by the gentlest of the means that the module's head names."""
        if side is self.expected:
            return
        if side is Side.VERSO:
            made = self._supply_half(label) or self._count_the_board(label) or self._set_a_loose_page_aside()
        else:
            made = self._set_a_loose_page_aside() or self._supply_half(self.previous)
        if not made and not self.doubt:
            self.doubt = (
                f"{label!r} is a {side} and would stand where a {self.expected} stands, so the views are "
                "shown one by one; if the page before it was not captured, give that a row without a file"
            )

    def _count_the_board(self, label: str) -> bool:
        """Let the front board be turned to before its pastedown; an empty one, if it was not captured."""
        place = foliation.parse(label)
        if not self.is_at_start or place is None or place.zone is not Zone.FRONT_PASTEDOWN:
            return False
        covers = [index for index, each in enumerate(self.places) if each.kind is FrameKind.COVER]
        if covers:
            self.places[covers[-1]] = replace(self.places[covers[-1]], behavior=None)
            self._turn()
        else:
            name = wording.not_captured(wording.FRONT_BOARD)
            self._count(self._empty(Zone.FRONT_COVER.value, name, FrameKind.COVER))
        return True

    def _set_a_loose_page_aside(self) -> bool:
        if not self.loose:
            return False
        index = self.loose.pop()
        self.places[index] = replace(self.places[index], behavior=Behavior.NON_PAGED)
        self._turn()
        return True

    # ----------------------------------------------------------------------- half leaves without a row

    def _supply_between(self, earlier: str, later: str) -> None:
        """Supply the back of the leaf before and the front of the leaf to come, if they have no row."""
        missing = foliation.missing_between(earlier, later) if self.supplies else ()
        if missing and foliation.side(missing[0]) is Side.VERSO:
            self._supply(missing[0])
        if missing and foliation.side(missing[-1]) is Side.RECTO:
            self._supply(missing[-1])

    def _supply_half(self, label: str) -> bool:
        """Supply the other side of the leaf of `label`."""
        half = foliation.other_side(label) if self.supplies else ""
        return bool(half) and self._supply(half)

    def _supply(self, label: str) -> bool:
        """Give a page an empty place; False if it has a row somewhere, or would itself be out of place."""
        place = foliation.parse(label)
        if place is None or place in self.known.pages or place.side is not self.expected:
            return False
        name = wording.folded_not_captured if place in self.known.foldouts else wording.not_captured
        self._count(self._empty(label, name(LanguageMap.of(label)), FrameKind.PAGE))
        self.known.pages.add(place)
        return True

    def _empty(self, name: str, label: LanguageMap, kind: FrameKind) -> Placement:
        identifier = slug(name)
        while identifier in self.known.identifiers:
            identifier += "-not-captured"
        self.known.identifiers.add(identifier)
        return Placement(identifier=identifier, label=label, kind=kind)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Known:
    """What there is in a volume, so that nothing is supplied twice."""

    pages: set[Place]
    foldouts: set[Place]
    identifiers: set[str]

    @classmethod
    def among(cls, views: Sequence[View]) -> _Known:
        """What is among `views`."""
        openings = [foliation.parse_opening(view.label) for view in views if view.kind is FrameKind.OPENING]
        halves = {place for opening in openings if opening for place in opening}
        return cls(
            pages=halves | _places(views, FrameKind.PAGE),
            foldouts=_places(views, FrameKind.FOLDOUT),
            identifiers={view.identifier for view in views},
        )


def _places(views: Iterable[View], kind: FrameKind) -> set[Place]:
    named = (foliation.parse(view.label) for view in views if view.kind is kind)
    return {place for place in named if place}
