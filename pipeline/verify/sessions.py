"""Sessions of a bundle: which frames were made together, in which order, and what their targets show.

Page lists tell of sessions; files themselves of the time at which they were captured.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from pipeline.delivery import TargetKind, TargetTerms
from pipeline.model import FrameKind
from pipeline.verify.evidence import Bundle, Stated
from pipeline.verify.page_lists import Row
from pipeline.verify.roles import frame_name, frame_names, stem_of


@dataclass(frozen=True, slots=True, kw_only=True)
class SessionFrame:
    """One frame that is there."""

    path: str
    is_target: bool
    kinds: frozenset[TargetKind] = frozenset()
    """What a target shows."""
    captured_at: dt.datetime | None = None
    is_listed: bool = True
    """A page list names it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Session:
    """The frames of one session, in the order of the page list."""

    place: str
    """As findings name it."""
    name: str
    """Empty for frames of which no session is told."""
    frames: tuple[SessionFrame, ...]

    @property
    def pages(self) -> int:
        """How many frames show the item."""
        return sum(not each.is_target for each in self.frames)

    def count(self, kind: TargetKind) -> int:
        """How many frames show a target of a kind."""
        return sum(kind in each.kinds for each in self.frames)

    @property
    def in_order(self) -> Sequence[SessionFrame]:
        """The frames in the order of their capture, or of the page list if not all times can be compared."""
        times = [each.captured_at for each in self.frames]
        zoned = {each.tzinfo is not None for each in times if each is not None}
        if None in times or len(zoned) != 1:
            return self.frames
        return sorted(self.frames, key=lambda each: each.captured_at or dt.datetime.min)


def sessions(
    bundle: Bundle,
    terms: TargetTerms,
    *,
    masters: Iterable[str],
    targets: Iterable[str],
    rows: Iterable[Row],
    stated: Stated,
) -> tuple[Session, ...]:
    """Return the sessions, by their names; last frames of which no session is told.

    `masters` and `targets` are the paths of what lies in the folders for them.
    """
    maker = _Maker(bundle, terms, stated)
    kinds = dict.fromkeys(masters, False) | dict.fromkeys(targets, True)
    found = list(maker.frames(kinds, rows))
    named = {session for session, _ in found}
    return tuple(
        Session(
            place=f"{bundle.place}, session {name}" if name else bundle.place,
            name=name,
            frames=tuple(frame for session, frame in found if session == name),
        )
        for name in sorted(named, key=lambda each: (not each, each))
    )


def together(parts: Iterable[Session], place: str) -> Session:
    """Return all sessions as one."""
    return Session(place=place, name="", frames=tuple(frame for each in parts for frame in each.frames))


class _Maker:
    """Makes the frames of a bundle."""

    def __init__(self, bundle: Bundle, terms: TargetTerms, stated: Stated) -> None:
        self._bundle = bundle
        self._terms = terms
        self._said = {frame_name(stem): text for text, stems in stated.targets for stem in stems}

    def frames(
        self, are_targets: Mapping[str, bool], rows: Iterable[Row]
    ) -> Iterator[tuple[str, SessionFrame]]:
        """Yield frames with their sessions: those of page lists, then those that no list names."""
        by_name = {name: path for path in are_targets for name in frame_names(path)}
        left = dict(are_targets)
        for row in rows:
            path = next((by_name[name] for name in reversed(row.names) if name in by_name), "")
            if path in left:
                is_target = left.pop(path) or row.is_proof
                yield row.session, self._frame(path, is_target, row)
        for path, is_target in left.items():
            yield "", self._frame(path, is_target, None)

    def _frame(self, path: str, is_target: bool, row: Row | None) -> SessionFrame:
        return SessionFrame(
            path=path,
            is_target=is_target,
            kinds=self._kinds(path, row) if is_target else frozenset(),
            captured_at=self._captured_at(path),
            is_listed=row is not None,
        )

    def _kinds(self, path: str, row: Row | None) -> frozenset[TargetKind]:
        said = [self._said[name] for name in frame_names(path) if name in self._said]
        listed = [row.label, row.note] if row else []
        flat = {TargetKind.FLAT} if row and row.kind == FrameKind.FLAT else set()
        return self._terms.kinds_of(stem_of(path), *listed, *said) | flat

    def _captured_at(self, path: str) -> dt.datetime | None:
        reading = self._bundle.readings.get(path)
        facts = reading.image.facts if reading and reading.image else None
        try:
            return dt.datetime.fromisoformat(facts.capture.captured_at) if facts else None
        except ValueError:
            return None
