"""item.toml and pages.csv: one item, with all that is wrong with both files told at once."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pipeline.errors import InputError, PipelineError, Problem, SettingsError
from pipeline.model import (
    Care,
    Equipment,
    EquipmentKind,
    FrameKind,
    Identifier,
    Item,
    ItemKind,
    Person,
    Session,
    Settings,
    ViewingDirection,
    Volume,
    VolumeSet,
)
from pipeline.record import pages, sections, table
from pipeline.record.masters import Matched, match_masters
from pipeline.record.table import Row, read_table
from pipeline.record.values import (
    as_date,
    date_problems,
    language_map,
    name_problem,
    repeated_ids,
    rights_problem,
)
from pipeline.tomldoc.problems import by_place, listed, near_miss, plain, quoted, shape_problems
from pipeline.tomldoc.source import TomlSource, read_toml

NAME = "item.toml"
DEFAULT_MASTERS = "masters"
FOLIATION, AS_LISTED = "foliation", "as listed"
_START = "start the item with: solander new FOLDER --masters DIR"
_ANEW = "make one in another folder with: solander new FOLDER --masters DIR, and move it here"
_INSIDE = "the folder around this one has it, give that one"


@dataclass(frozen=True, slots=True, kw_only=True)
class ItemFolder:
    """An item and where its files lie."""

    folder: Path
    item: Item
    masters: Path
    """The folder that `Frame.file` is relative to."""
    item_toml: Path
    pages_csv: Path


def load_item(folder: Path, settings: Settings) -> ItemFolder:
    """Return the item that a folder describes.

    The equipment of sessions is held against the register in `settings`, if there is one. A care record
    that is not cleared is no error here.

    Raises SettingsError with all problems of both files; InputError if nothing is wrong but that files
    are not there; ToolError.
    """
    if not folder.is_dir():
        raise InputError(f"{folder}: is not a folder; {_START}")
    is_begun = (folder / NAME).is_file()
    is_inside = (folder.resolve().parent / NAME).is_file()
    source = read_toml(folder / NAME, advice=_INSIDE if is_inside else _START)
    rows, problems = read_table(folder / table.NAME, advice=_ANEW if is_begun else _START)
    if isinstance(source, Problem):
        _, cell_problems = table.shape_problems(rows)
        raise _error(folder, [source, *problems, *cell_problems], [])
    return _Reading(folder, source, rows, problems, settings).result()


class _Reading:
    """Both files of one item, on their way from text to values; `problems` grows as they are judged."""

    def __init__(
        self,
        folder: Path,
        source: TomlSource,
        rows: tuple[Row, ...],
        problems: list[Problem],
        settings: Settings,
    ) -> None:
        self.folder, self.source, self.rows = folder, source, rows
        self.document, shape = shape_problems(source, "item")
        self.unsound, cells = table.shape_problems(rows)
        self.table_is_whole = not problems
        self.problems = [*shape, *_sense_problems(source, self.document, settings), *problems, *cells]
        self.sessions = list(dict.fromkeys(each["id"] for each in self._tables("session") if "id" in each))
        self.masters = folder / self._of_item("masters", DEFAULT_MASTERS)
        self.views = _named_views(rows, self.unsound)

    def _of_item(self, key: str, default: str = "") -> str:
        return str(self.document.get("item", {}).get(key, default))

    def _tables(self, key: str) -> list[dict[str, Any]]:
        return list(self.document.get(key, ()))

    def result(self) -> ItemFolder:
        """Judge what the two files say of each other and of the masters, and return the values."""
        spans = self._judge_labels()
        matched = self._judge_rows()
        if self.problems or matched.missing:
            raise _error(self.folder, self.problems, list(matched.missing))
        return ItemFolder(
            folder=self.folder,
            item=self._item(spans, matched),
            masters=self.masters,
            item_toml=self.folder / NAME,
            pages_csv=self.folder / table.NAME,
        )

    def _judge_labels(self) -> tuple[sections.Span, ...]:
        """Hold the labels that item.toml names against pages.csv, if all of that could be read."""
        if not self.table_is_whole:
            return ()
        labels = sections.Labels(self.views)
        spans, problems = sections.spans(self.source, self._tables("section"), labels)
        self.problems += [*problems, *sections.crossings(self.source, spans, self.views)]
        start = self._of_item("start")
        if start and labels.first(start) is None:
            self.problems.append(sections.unknown_label(self.source, ("item", "start"), start, labels))
        return spans

    def _judge_rows(self) -> Matched:
        if self.table_is_whole and not self.rows:
            self.problems.append(_no_rows())
        if "session" not in self.source.document or self.sessions:
            self.problems += pages.row_problems(self.rows, self.sessions, self.unsound)
        where = self.source.where(("item", "masters"))
        matched = match_masters(self.rows, self.masters, are_all=self.table_is_whole, folder_key=where)
        self.problems += matched.problems
        return matched

    def _item(self, spans: tuple[sections.Span, ...], matched: Matched) -> Item:
        frames = pages.make_frames(self.rows, matched.files, self.sessions)
        views = pages.make_views(frames)
        names = [view.identifier for view in views]
        start = sections.Labels(self.views).first(self._of_item("start"))
        return Item(
            **_described(self.document),
            frames=frames,
            views=views,
            sections=sections.nest(spans, names),
            start=names[start] if start is not None else "",
        )


def _named_views(rows: tuple[Row, ...], unsound: pages.Unsound) -> tuple[sections.Named, ...]:
    """Return label and kind of every view, in the order that `pages.make_views` gives them.

    A row whose kind says nothing we know counts as a page, so that its label is known.
    """
    kinds = (FrameKind.PAGE if "kind" in unsound.get(row.number, ()) else pages.kind_of(row) for row in rows)
    names = zip(map(pages.label_of, rows), kinds, strict=True)
    return tuple(
        sections.Named(label=label, kind=kind)
        for label, kind in dict.fromkeys(names)
        if kind.is_reading_matter
    )


def _no_rows() -> Problem:
    return Problem(
        where=table.NAME,
        found="no rows below the header",
        expected="a row for each frame",
        advice="list the frames, or start anew with: solander new FOLDER --masters DIR",
    )


def _error(folder: Path, problems: list[Problem], missing: list[Problem]) -> PipelineError:
    kind = SettingsError if problems else InputError
    together = sorted(
        dict.fromkeys([*problems, *missing]),
        key=lambda each: (not each.where.startswith(NAME), by_place(each)),
    )
    files = list(dict.fromkeys(each.where.split(",")[0] for each in together))
    what = "one problem" if len(together) == 1 else f"{len(together)} problems"
    return kind(f"{folder}: {what} in {' and '.join(files)}", problems=together)


# ------------------------------------------------------------------------------------------------ sense


def _sense_problems(source: TomlSource, document: dict[str, Any], settings: Settings) -> Iterator[Problem]:
    """What a schema cannot say."""
    item = document.get("item", {})
    for problem in (
        name_problem(source, item.get("id"), ("item", "id")),
        rights_problem(source, item.get("rights"), ("item", "rights")),
    ):
        if problem:
            yield problem
    yield from _range_problems(source, item.get("date_range", ()))
    yield from date_problems(source, document.get("care", {}), ("care",), "assessed_on")
    yield from _session_problems(source, document.get("session", []), settings)
    yield from _volume_problems(source, document)


def _range_problems(source: TomlSource, years: list[int] | tuple[()]) -> Iterator[Problem]:
    if len(years) == 2 and years[0] > years[1]:
        yield Problem(
            where=source.where(("item", "date_range")),
            found=quoted(list(years)),
            expected="the earlier year first",
            advice=f"write [{years[1]}, {years[0]}]",
        )


def _session_problems(
    source: TomlSource, tables: list[dict[str, Any]], settings: Settings
) -> Iterator[Problem]:
    yield from repeated_ids(source, tables, ("session",))
    for number, session in enumerate(tables):
        yield from date_problems(source, session, ("session", number), "date")
        if settings.equipment:
            yield from _equipment_problems(source, session, number, settings)


_USES = {
    "camera": (EquipmentKind.CAMERA, EquipmentKind.SCANNER),
    "lens": (EquipmentKind.LENS,),
    "lights": (EquipmentKind.LIGHT,),
    "support": (EquipmentKind.SUPPORT,),
    "targets": (EquipmentKind.TARGET,),
}


def _equipment_problems(
    source: TomlSource, session: Mapping[str, Any], number: int, settings: Settings
) -> Iterator[Problem]:
    for key, kinds in _USES.items():
        named = session.get(key, [])
        is_list = isinstance(named, list)
        for position, name in enumerate(named if is_list else [named]):
            place = source.where(("session", number, key, position) if is_list else ("session", number, key))
            yield from _register_problems(place, name, kinds, as_date(session.get("date")), settings)


def _register_problems(
    where: str, name: str, kinds: tuple[EquipmentKind, ...], date: dt.date | None, settings: Settings
) -> Iterator[Problem]:
    entry = settings.owned(name)
    fitting = [each.identifier for each in settings.equipment if each.kind in kinds]
    wanted = f"the id of a {' or '.join(kinds)} in the equipment register of solander.toml"
    if entry is None or entry.kind not in kinds:
        known = f": {listed(fitting)}" if fitting else ", which has none"
        is_other = f", which is a {entry.kind} in the register" if entry else ""
        advice = near_miss(name, fitting) or "correct it, or add it to solander.toml as [[equipment]]"
        yield Problem(
            where=where, found=f"{quoted(name)}{is_other}", expected=f"{wanted}{known}", advice=advice
        )
    elif date and not _was_owned(entry, date):
        yield Problem(
            where=where,
            found=f"{quoted(name)}, which the unit owned {_ownership(entry)}; the session was on {date}",
            expected="equipment that was there on the day of the session",
            advice="correct the date of the session, the id, or the dates in solander.toml",
        )


def _was_owned(entry: Equipment, date: dt.date) -> bool:
    return (entry.owned_from or dt.date.min) <= date <= (entry.owned_until or dt.date.max)


def _ownership(entry: Equipment) -> str:
    first = f"from {entry.owned_from}" if entry.owned_from else ""
    last = f"until {entry.owned_until}" if entry.owned_until else ""
    return f"{first} {last}".strip()


def _volume_problems(source: TomlSource, document: dict[str, Any]) -> Iterator[Problem]:
    volumes = document.get("volumes", {})
    if problem := name_problem(source, volumes.get("id"), ("volumes", "id")):
        yield problem
    members = volumes.get("volume", [])
    yield from repeated_ids(source, members, ("volumes", "volume"), "item")
    for number, member in enumerate(members):
        if problem := name_problem(source, member.get("item"), ("volumes", "volume", number, "item")):
            yield problem
    own = document.get("item", {}).get("id")
    names = [member["item"] for member in members if "item" in member]
    if own is not None and names and own not in names:
        yield Problem(
            where=source.where(("volumes", "volume")),
            found=f"{listed(names)}, and not this item, {quoted(own)}",
            expected="all volumes of the set, this one too",
            advice=f"add [[volumes.volume]] with item = {quoted(own)}",
        )


# --------------------------------------------------------------------------------------------- values


def _described(document: dict[str, Any]) -> dict[str, Any]:
    """Return the fields of an Item that item.toml alone decides."""
    item = document["item"]
    as_written = ("date", "place", "script", "material", "extent", "condition", "collection", "catalogue_url")
    years = item.get("date_range")
    return {key: item[key] for key in as_written if key in item} | {
        "identifier": item["id"],
        "shelfmark": plain(item["shelfmark"]),
        "kind": ItemKind(item["kind"]),
        "title": language_map(item["title"]),
        "summary": language_map(item.get("summary")),
        "credit": language_map(item.get("credit")),
        "rights": item.get("rights", ""),
        "date_range": (int(years[0]), int(years[1])) if years else None,
        "languages": tuple(item.get("languages", ())),
        "size_mm": tuple(map(float, item.get("size_mm", ()))),
        "reading": ViewingDirection(item.get("reading", ViewingDirection.LEFT_TO_RIGHT)),
        "follows_foliation": item.get("order", FOLIATION) == FOLIATION,
        "care": _care(document["care"]),
        "sessions": tuple(map(_session, document.get("session", ()))),
        "people": tuple(Person(**each) for each in document.get("person", ())),
        "identifiers": tuple(Identifier(**each) for each in document.get("identifier", ())),
        "metadata": tuple(
            (language_map(each["label"]), language_map(each["value"]))
            for each in document.get("metadata", ())
        ),
        "volume_set": _volume_set(document.get("volumes")),
    }


def _care(care: dict[str, Any]) -> Care:
    angle = care.get("largest_opening_deg")
    return Care(
        cleared=care["cleared"],
        assessed_by=care.get("assessed_by", ""),
        assessed_on=as_date(care.get("assessed_on")),
        largest_opening_deg=None if angle is None else float(angle),
        support=care.get("support", ""),
        handling=care.get("handling", ""),
    )


def _session(session: dict[str, Any]) -> Session:
    date = as_date(session["date"])
    assert date is not None  # judged by _sense_problems
    ppi = session.get("ppi")
    return Session(
        identifier=session["id"],
        date=date,
        operator=session.get("operator", ""),
        camera=session.get("camera", ""),
        lens=session.get("lens", ""),
        lights=tuple(session.get("lights", ())),
        support=session.get("support", ""),
        targets=tuple(session.get("targets", ())),
        ppi=None if ppi is None else float(ppi),
        note=session.get("note", ""),
    )


def _volume_set(volumes: dict[str, Any] | None) -> VolumeSet | None:
    if volumes is None:
        return None
    return VolumeSet(
        identifier=volumes["id"],
        label=language_map(volumes["label"]),
        volumes=tuple(
            Volume(item=each["item"], label=language_map(each["label"])) for each in volumes["volume"]
        ),
    )
