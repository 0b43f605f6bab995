"""Items come onto a site, are replaced and removed; a site is whole at every moment.

A change is written down before anything that is served is touched, and carried out from what was written:
the version is switched, then every document that lists the item is replaced, each by one rename. A run that
was killed is finished by the next one, with the same bytes.
"""

from __future__ import annotations

import contextlib
import datetime as dt
import enum
import hashlib
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path, PurePosixPath
from typing import Any

from pipeline import containers, files, jsondoc, layout, pages, pdf, receipts
from pipeline.containers import Container
from pipeline.errors import InputError, SettingsError
from pipeline.model import LanguageMap
from pipeline.progress import SILENT, Progress
from pipeline.publish import changes, collections, front, manifest, pdf_of_item, placing, sitemaps, volumes
from pipeline.publish.contents import MOST_BYTES, Contents, glanced_at, read
from pipeline.publish.placing import Building
from pipeline.publish.record import Change, Entry, Site, SiteFolder
from pipeline.publish.rewriting import rewritten, rewritten_xml
from pipeline.specs import sitemap
from pipeline.specs.discovery import ActivityType

Clock = Callable[[], dt.datetime]
"""Gives the time; asked when a change is there, for harvesters compare it with that of their last visit."""


class Outcome(enum.StrEnum):
    """What becomes of an item."""

    NEW = "new"
    REPLACED = "replaced"
    UNCHANGED = "unchanged"
    REMOVED = "removed"


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """What publishing one bundle will do."""

    outcome: Outcome
    entry: Entry
    before: Entry | None
    contents: Contents
    manifest: bytes
    page: bytes
    has_pdf: bool
    changed_files: int
    """Of the bundle's payload, against the version that is replaced: new, different and gone."""

    @property
    def files(self) -> int:
        """How many files are served of the item."""
        return len(self.contents.files) + 2 + self.has_pdf


@dataclass(frozen=True, slots=True, kw_only=True)
class Done:
    """What became of one item."""

    item: str
    outcome: Outcome
    plan: Plan | None = None
    """None for an item that was removed."""
    placed: dict[str, int] = field(default_factory=dict)
    """How many files were placed by which way."""


# --------------------------------------------------------------------------------------------- the site


def looked_at(path: Path, base_url: str, title: LanguageMap) -> Publisher:
    """Return a site to plan for; nothing is written. Raises InputError, SettingsError."""
    folder = SiteFolder(path)
    return Publisher(folder=folder, site=_site(folder, base_url, title))


@contextlib.contextmanager
def opened(path: Path, base_url: str, title: LanguageMap, clock: Clock) -> Iterator[Publisher]:
    """Give a site to publish on, after what an interrupted run left is finished.

    `base_url` may be empty for a site that has one. Raises InputError, SettingsError; ToolError if another
    run is at work on the site.
    """
    folder = SiteFolder(path)
    _site(folder, base_url, title)
    with files.locked(folder.own, what="site"):
        files.remove_tree(folder.building)
        placing.check_links(folder)
        if begun := folder.begun():
            carry_out(folder, begun, clock)
        site = _site(folder, base_url, title)
        folder.keep_site(site)
        yield Publisher(folder=folder, site=site, clock=clock, taken_up=begun.entry.item if begun else "")
        files.remove_tree(folder.building)


def _site(folder: SiteFolder, base_url: str, title: LanguageMap) -> Site:
    site = folder.site()
    if site is None:
        _refuse_others_folder(folder.path)
        site = Site(base_url=base_url, title=title or _TITLE)
    if not site.slots:  # nothing was published yet, and whoever tried may have mistyped
        site = replace(site, base_url=base_url or site.base_url)
    if not site.base_url:
        raise SettingsError(
            f"{folder.path}: is a new site, and its base URL is not known; give it as --base-url, or as "
            "base_url in the table [publication] of solander.toml"
        )
    if base_url and base_url != site.base_url:
        raise SettingsError(
            f"{folder.path}: is published under {site.base_url}, found {base_url}. Every id would change, "
            f"and links of others would break. Give --base-url {site.base_url}; or, if the site moves, "
            "publish all bundles into a new folder under the new one, and let the old addresses lead there"
        )
    return replace(site, title=title) if title else site


_TITLE = LanguageMap(
    (("en", ("Digitised items",)), ("de", ("Digitalisate",)), ("fr", ("Documents numérisés",)))
)


def _refuse_others_folder(path: Path) -> None:
    """Refuse to write into a folder that holds other things: they could be replaced."""
    try:
        others = sorted(each.name for each in path.iterdir() if not each.name.startswith("."))
    except FileNotFoundError:
        return
    except OSError as error:
        raise InputError(f"{path}: cannot be read ({error.strerror or error})") from error
    if others:
        raise InputError(
            f"{path}: holds {others[0]} and is no site of solander; expected a site, an empty folder, or a "
            "name that is not there yet"
        )


@dataclass(slots=True, kw_only=True)
class Publisher:
    """A site that items are put on."""

    folder: SiteFolder
    site: Site
    clock: Clock | None = None
    """None where nothing is to be changed."""
    taken_up: str = ""
    """The item of an interrupted run that was finished when the site was opened."""

    def knows(self, container: Container) -> bool:
        """Return whether an item is online with this bundle's payload. Raises InputError, as `plan`."""
        item, payload = glanced_at(container)
        before = self.folder.entry(item)
        return before is not None and before.payload == payload

    def plan(self, container: Container, *, has_pdf: bool | None = None) -> Plan:
        """Return what publishing a bundle would do; without `has_pdf`, its item has a PDF if it had one.

        Raises InputError if it is no publication bundle.
        """
        contents = read(container)
        before = self.folder.entry(contents.item)
        if has_pdf is None:
            has_pdf = before is not None and self._has_pdf(before)
        _refuse_clash(self.folder, contents)
        document = manifest.site_manifest(contents, self.site, has_pdf=has_pdf)
        page = pages.item_page(
            pages.ItemPage(
                manifest=document,
                base_url=self.site.base_url,
                site_title=collections.language_map(self.site.title),
                pdf=PurePosixPath(manifest.pdf_path(contents.item)).name if has_pdf else None,
            )
        )
        entry = _entry(contents, document, page, self.site, before)
        return Plan(
            outcome=_outcome(before, entry),
            entry=entry,
            before=before,
            contents=contents,
            manifest=jsondoc.to_bytes(document),
            page=page,
            has_pdf=has_pdf,
            changed_files=self._changed_files(contents, before),
        )

    def _has_pdf(self, entry: Entry) -> bool:
        return (self.folder.home(entry.item) / entry.version / manifest.pdf_path(entry.item)).is_file()

    def publish(self, bundle: Path, container: Container, plan: Plan, progress: Progress = SILENT) -> Done:
        """Carry out a plan; does nothing if the item is online already as it is. Raises ToolError."""
        if plan.outcome is Outcome.UNCHANGED:
            return Done(item=plan.entry.item, outcome=Outcome.UNCHANGED, plan=plan)
        placed = self._build(bundle, container, plan, progress)
        self._shared()
        self._change(plan.entry, plan.before)
        return Done(item=plan.entry.item, outcome=plan.outcome, plan=plan, placed=placed)

    def removal(self, item: str) -> Entry:
        """Return the entry of an item that can be removed. Raises InputError if the site has none."""
        entry = self.folder.entry(item)
        if entry is None:
            raise InputError(f"{item}: is not on the site {self.folder.path}; see its folder items/")
        return entry

    def remove(self, item: str) -> Done:
        """Leave nothing of an item but a page that says that it was here. Raises InputError, ToolError."""
        before = self.removal(item)
        if before.is_removed:
            return Done(item=item, outcome=Outcome.UNCHANGED)
        assert self.clock is not None
        today = self.clock().date()
        page = pages.tombstone_page(
            pages.TombstonePage(
                item=item,
                label=collections.language_map(before.label),
                removed_on=today,
                base_url=self.site.base_url,
                site_title=collections.language_map(self.site.title),
            )
        )
        version = _version("", "", page)
        with placing.building(self.folder, item, version) as made:
            made.write(_page_path(item), page)
            made.write(_page_path(item).with_name(layout.REMOVED), f"{today.isoformat()}\n".encode())
        self._shared()
        self._change(replace(before, version=version, content="", payload="", is_removed=True), before)
        return Done(item=item, outcome=Outcome.REMOVED)

    # ---------------------------------------------------------------------------------------- steps

    def _build(self, bundle: Path, container: Container, plan: Plan, progress: Progress) -> dict[str, int]:
        """Make the version of a plan."""
        item, version = plan.entry.item, plan.entry.version
        contents = plan.contents
        documents = dict(_documents(contents, container, self.site))
        served = {path: inside for path, inside in contents.files.items() if path not in documents}
        progress.start("files placed", total=len(served))
        try:
            with placing.building(self.folder, item, version) as made:
                for _ in made.take(served, bundle, container):
                    progress.advance()
                for path, data in documents.items():
                    made.write(path, data)
                self._write_own(made, plan)
        finally:
            progress.finish()
        return {**made.placed, "written": len(documents) + 2 + plan.has_pdf}

    def _write_own(self, made: Building, plan: Plan) -> None:
        """Write what is not in the bundle."""
        contents, item = plan.contents, plan.entry.item
        made.write(layout.manifest_path(item), plan.manifest)
        made.write(_page_path(item), plan.page)
        for name, data in _kept(contents, self.site):
            made.write(PurePosixPath(name), data)
        if plan.has_pdf:
            self._write_pdf(made, item)

    def _write_pdf(self, made: Building, item: str) -> None:
        assert self.clock is not None
        base_url = self.site.base_url
        document = jsondoc.read(made.folder / layout.manifest_path(item))
        address = layout.url(base_url, sitemaps.item_page(item))
        book = pdf_of_item.book_of(document, made.folder, item=item, base_url=base_url, address=address)
        place = made.folder / manifest.pdf_path(item)
        pdf.write_pdf(book, place, now=self.clock().replace(microsecond=0))
        made.written.append(place)

    def _shared(self) -> None:
        """Write what every page needs, if it is not there: names tell the bytes."""
        for asset in pages.assets():
            if not (self.folder.path / asset.path).is_file():
                self.folder.write(asset.path, asset.data)
        robots = sitemaps.robots(self.site.base_url)
        if robots and not (self.folder.path / sitemap.ROBOTS).exists():  # people may write their own
            self.folder.write(sitemap.ROBOTS, robots)

    def _change(self, entry: Entry, before: Entry | None) -> None:
        """Write down what changes, then do it."""
        assert self.clock is not None
        activity = _activity(entry, before)
        site = replace(
            self.site,
            slots=max(self.site.slots, entry.slot + 1),
            items=self.site.items + _online(entry) - _online(before),
            activities=self.site.activities + (activity is not None),
        )
        left = before.volume_set if before and before.volume_set != entry.volume_set else ""
        if entry.is_removed:
            left = entry.volume_set
        change = Change(site=site, entry=entry, activity=activity, left_set=left)
        self.folder.begin(change)
        self.site = carry_out(self.folder, change, self.clock).site

    def _changed_files(self, contents: Contents, before: Entry | None) -> int:
        if before is None:
            return 0
        place = self.folder.home(before.item) / before.version / placing.CHECKSUMS
        kept = place.read_bytes() if place.is_file() else b""
        lines = set(kept.splitlines()) ^ set(contents.checksums.splitlines())
        return len({line.split(maxsplit=1)[-1] for line in lines})


def carry_out(folder: SiteFolder, change: Change, clock: Clock) -> Change:
    """Do what was written down; does no harm when part of it was done before. Raises ToolError.

    Returns the change with the time at which it came about.
    """
    entry = change.entry
    if not entry.is_removed:
        placing.switch(folder, entry.item, entry.version)
    if not change.has_switched:
        change = _dated(change, clock())
        folder.begin(change)
    entry, site = change.entry, change.site
    folder.keep(entry)
    volumes.refresh(folder, site, entry, left=change.left_set)
    for path, data in _listings(folder, change):
        folder.write(path, data)
    if entry.is_removed:  # what leads to the item goes first
        placing.switch(folder, entry.item, entry.version)
    if change.activity:
        _add_activity(folder, site, entry, change.activity)
    folder.keep_site(site)
    placing.sweep(folder, entry.item, entry.version)
    folder.finished()
    return change


def _dated(change: Change, now: dt.datetime) -> Change:
    """Date a change: no earlier than the one before, for harvesters read until they meet what they know."""
    when = max(now, change.site.changed or now)
    site = replace(change.site, changed=when, sitemaps=sitemaps.dated(change.site, change.entry.slot, when))
    entry = replace(change.entry, modified=when)
    return replace(change, site=site, entry=entry, has_switched=True)


def _listings(folder: SiteFolder, change: Change) -> Iterator[tuple[str, bytes]]:
    """Yield the documents that list items, so far as they change, in the order of writing."""
    site, slot = change.site, change.entry.slot
    for path, document in collections.documents(site, slot, folder.entries):
        yield path, jsondoc.to_bytes(document)
    yield from sitemaps.documents(site, slot, folder.entries)
    yield from front.documents(site, slot, folder.entries)


def _add_activity(folder: SiteFolder, site: Site, entry: Entry, kind: ActivityType) -> None:
    number = site.activities - 1
    before: list[Any] = []
    for path in changes.pages_before(number):
        before = jsondoc.read(folder.path / path)["orderedItems"]
    added = changes.activity(site.base_url, entry.item, kind, entry.modified)
    for path, document in changes.documents(site.base_url, number, added, before):
        folder.write(path, jsondoc.to_bytes(document))


# -------------------------------------------------------------------------------------------- one item


def _page_path(item: str) -> PurePosixPath:
    return PurePosixPath("items", item, "index.html")


def _version(payload: str, document: str, page: bytes) -> str:
    """Return the name of a version: the same for the same bytes."""
    return receipts.key_of(payload, document, hashlib.sha256(page).hexdigest())[:16]


def _entry(
    contents: Contents, document: dict[str, Any], page: bytes, site: Site, before: Entry | None
) -> Entry:
    content = receipts.key_of(contents.digest, hashlib.sha256(jsondoc.to_bytes(document)).hexdigest())
    thumbnail, width_px, height_px = manifest.thumbnail(document, site.base_url)
    return Entry(
        item=contents.item,
        slot=before.slot if before else site.slots,
        version=_version(contents.digest, content, page),
        content=content,
        payload=contents.digest,
        label=manifest.language_map(document.get("label")),
        summary=manifest.language_map(document.get("summary")),
        thumbnail=thumbnail,
        width_px=width_px,
        height_px=height_px,
        views=len(document.get("items", [])),
        date=manifest.date(document),
        volume_set=contents.volume_set,
        modified=before.modified if before else dt.datetime.min.replace(tzinfo=dt.UTC),
    )


def _outcome(before: Entry | None, entry: Entry) -> Outcome:
    if before is None or before.is_removed:
        return Outcome.NEW
    return Outcome.UNCHANGED if before.version == entry.version else Outcome.REPLACED


def _activity(entry: Entry, before: Entry | None) -> ActivityType | None:
    if entry.is_removed:
        return ActivityType.DELETE
    if before is None or before.is_removed:
        return ActivityType.CREATE
    return ActivityType.UPDATE if before.content != entry.content else None


def _online(entry: Entry | None) -> int:
    return int(entry is not None and not entry.is_removed)


def _refuse_clash(folder: SiteFolder, contents: Contents) -> None:
    """Refuse an item and a set of volumes of one name: both would have the folder below ``iiif``."""
    item, volume_set = contents.item, contents.volume_set
    place = folder.path / "iiif"
    if volume_set and (volume_set == item or (place / volume_set).is_symlink()):
        raise InputError(f'{item}: the id of its set of volumes, "{volume_set}", is the id of an item too')
    if (place / item).is_dir() and not (place / item).is_symlink():
        raise InputError(f"{item}: is the id of a set of volumes on this site too; give one another id")


def _documents(contents: Contents, container: Container, site: Site) -> Iterator[tuple[PurePosixPath, bytes]]:
    """Yield the bundle's documents that name its base URL, under the site's."""
    if contents.base_url == site.base_url:
        return
    for path, inside in contents.files.items():
        if path.suffix.lower() in (".json", ".xml"):
            data = containers.read_bytes(container, inside, limit=MOST_BYTES)
            yield path, _moved(path, data, contents.base_url, site.base_url)


def _moved(path: PurePosixPath, data: bytes, base_url: str, to: str) -> bytes:
    if path.suffix.lower() == ".xml":
        return rewritten_xml(data, base_url=base_url, to=to)
    document = jsondoc.parse(data, str(path))
    return jsondoc.to_bytes(rewritten(document, base_url=base_url, to=to))


def _kept(contents: Contents, site: Site) -> Iterator[tuple[str, bytes]]:
    """Yield what a version keeps and does not serve."""
    yield placing.CHECKSUMS, contents.checksums
    if contents.collection:
        moved = rewritten(contents.collection, base_url=contents.base_url, to=site.base_url)
        yield volumes.COLLECTION, jsondoc.to_bytes(moved)
