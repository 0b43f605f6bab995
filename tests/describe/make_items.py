"""Items of every kind with what was derived from their frames, made from short lists of labels."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from pathlib import PurePosixPath
from typing import Any

from pipeline import derive, layout
from pipeline.files import slug
from pipeline.model import (
    Algorithm,
    Care,
    Derivatives,
    Fixity,
    Frame,
    FrameKind,
    FrameRecord,
    Holder,
    Identifier,
    ImageDelivery,
    Item,
    ItemKind,
    LanguageMap,
    Light,
    LightKind,
    MasterFacts,
    MasterFormat,
    Person,
    Rational,
    ResolutionUnit,
    Section,
    Session,
    Settings,
    SizePx,
    StoredFile,
    View,
    ViewingDirection,
    Volume,
    VolumeSet,
)

NOW = dt.datetime(2026, 3, 10, 12, tzinfo=dt.UTC)
BASE = "https://images.aldermoor.example.org"
SETTINGS = Settings(
    holder=Holder(
        name=LanguageMap((("en", ("Aldermoor Library",)), ("de", ("Bibliothek Aldermoor",)))),
        identifier="https://aldermoor.example.org/id",
        homepage="https://aldermoor.example.org/",
        logo="https://aldermoor.example.org/logo.svg",
    ),
    base_url=BASE,
    base_url_is_default=False,
    rights="http://creativecommons.org/publicdomain/mark/1.0/",
    credit=LanguageMap.of("Aldermoor Library, imaging unit", "en"),
)
PAGE_SIZE = SizePx(width_px=3000, height_px=4200)
OPENING_SIZE = SizePx(width_px=6000, height_px=4200)
NORMAL = Light()


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One row of pages.csv, and what its frame is like."""

    label: str
    kind: FrameKind = FrameKind.PAGE
    light: Light = NORMAL
    captured: bool = True
    size: SizePx = PAGE_SIZE
    ppi: float | None = 600
    session: str = "s1"


@dataclass(frozen=True, slots=True, kw_only=True)
class World:
    """An item, the settings that it is published under, and what was made of its frames."""

    item: Item
    settings: Settings
    derivatives: Mapping[str, Derivatives]
    records: Mapping[str, FrameRecord]

    def changed(self, **fields: Any) -> World:
        """The same with other fields in the item."""
        return replace(self, item=replace(self.item, **fields))


def pages(*labels: str) -> list[Row]:
    """Rows of pages."""
    return [Row(label=label) for label in labels]


def leaves(first: int, last: int) -> list[Row]:
    """Rows of both sides of the leaves from `first` to `last`."""
    return pages(*(f"f. {leaf}{side}" for leaf in range(first, last + 1) for side in "rv"))


def row(label: str, kind: FrameKind, **fields: Any) -> Row:
    """One row."""
    return Row(label=label, kind=kind, **fields)


def world(
    rows: Iterable[Row],
    kind: ItemKind = ItemKind.CODEX,
    *,
    settings: Settings = SETTINGS,
    session_ppi: float | None = None,
    **fields: Any,
) -> World:
    """Make an item of `kind` from rows; rows of one label are one view."""
    rows = list(rows)
    frames = [_frame(number, each) for number, each in enumerate(rows, start=1)]
    sizes = {frame.identifier: each for frame, each in zip(frames, rows, strict=True) if each.captured}
    item = Item(
        identifier="alm-014",
        shelfmark="Alm. B 14",
        kind=kind,
        title=LanguageMap((("en", ("Herbal and calendar",)), ("la", ("Herbarium",)))),
        care=Care(cleared=True),
        frames=tuple(frames),
        views=tuple(_views(frames)),
        sessions=tuple(
            Session(identifier=name, date=dt.date(2026, 3, 9), ppi=session_ppi)
            for name in sorted({each.session for each in rows})
        ),
    )
    made = {name: derived(name, each.size, settings=settings) for name, each in sizes.items()}
    read = {name: record(name, each) for name, each in sizes.items()}
    return World(item=replace(item, **fields), settings=settings, derivatives=made, records=read)


def _frame(number: int, row: Row) -> Frame:
    name = f"B14_{number:04d}"
    return Frame(
        identifier=name,
        file=PurePosixPath(f"{name}.tif") if row.captured else None,
        label=row.label,
        kind=row.kind,
        session=row.session,
        light=row.light,
        row=number + 1,
    )


def _views(frames: Iterable[Frame]) -> Iterable[View]:
    by_label: dict[str, list[Frame]] = {}
    for frame in frames:
        if frame.kind.is_reading_matter:
            by_label.setdefault(frame.label, []).append(frame)
    for order, (label, group) in enumerate(by_label.items(), start=1):
        yield View(
            identifier=slug(label),
            label=label,
            kind=group[0].kind,
            frames=tuple(
                sorted((f for f in group if f.file), key=lambda f: f.light.kind is not LightKind.NORMAL)
            ),
            order=order,
        )


def derived(frame: str, size: SizePx, *, settings: Settings = SETTINGS, item: str = "alm-014") -> Derivatives:
    """What would be made of a frame of that size."""
    static = settings.images is ImageDelivery.TILES
    return Derivatives(
        frame=frame,
        size=size,
        max_size=derive.max_size(size, tile_px=512) if static else size,
        sizes=derive.listed_sizes(size, tile_px=512) if static else (),
        tile_px=512,
        scale_factors=derive.scale_factors(size, tile_px=512),
        access=_stored(layout.access_path(item, frame), "image/jpeg"),
        access_size=derive.access_size(size, long_edge_px=3000),
        made_at=NOW,
    )


def record(frame: str, row: Row) -> FrameRecord:
    """What would be found in the master of a row's frame."""
    resolution = Rational(numerator=round(row.ppi * 1000), denominator=1000) if row.ppi else None
    return FrameRecord(
        frame=frame,
        master=_stored(PurePosixPath(f"{frame}.tif"), "image/tiff"),
        facts=MasterFacts(
            format=MasterFormat.TIFF,
            media_type="image/tiff",
            size_bytes=1000,
            width_px=row.size.width_px,
            height_px=row.size.height_px,
            bits_per_sample=(16, 16, 16),
            photometric="RGB",
            compression="Uncompressed",
            resolution_unit=ResolutionUnit.INCH if resolution else ResolutionUnit.NONE,
            x_resolution=resolution,
            y_resolution=resolution,
        ),
        pixel_digest="00",
        read_at=NOW,
    )


def _stored(path: PurePosixPath, media_type: str) -> StoredFile:
    return StoredFile(
        path=path,
        size_bytes=1000,
        fixity=(Fixity(Algorithm.SHA256, "00" * 32),),
        media_type=media_type,
    )


def sections(item: Item, *spans: tuple[str, str, str]) -> tuple[Section, ...]:
    """Make sections from labels of theirs and the labels of their first and last view."""
    labels = [view.label for view in item.views]
    return tuple(
        Section(
            identifier=slug(name),
            label=LanguageMap.of(name, "en"),
            views=tuple(v.identifier for v in item.views[labels.index(first) : labels.index(last) + 1]),
        )
        for name, first, last in spans
    )


# ------------------------------------------------------------------------------------- items of all kinds

LIGHTS = (
    NORMAL,
    Light(kind=LightKind.RAKING, qualifier="left"),
    Light(kind=LightKind.ULTRAVIOLET),
    Light(kind=LightKind.INFRARED, qualifier="940 nm"),
)
COVER, EDGE, FACE, OPENING = FrameKind.COVER, FrameKind.EDGE, FrameKind.FACE, FrameKind.OPENING


def codex() -> World:
    """A bound manuscript with everything that one may have."""
    made = world(
        [
            row("front cover", COVER),
            Row(label="front pastedown"),
            *pages("f. i r", "f. i v"),
            *leaves(1, 2),
            row("f. 2v, initial", FrameKind.DETAIL, ppi=2400, size=SizePx(width_px=2000, height_px=1500)),
            Row(label="f. 3r", captured=False),
            *pages("f. 3v", "f. 4r"),
            row("f. 4r (unfolded)", FrameKind.FOLDOUT, size=OPENING_SIZE),
            *pages("f. 4v", "f. 5v"),
            row("spine", FrameKind.SPINE, size=SizePx(width_px=900, height_px=4200)),
            row("fore edge", EDGE, size=SizePx(width_px=900, height_px=4200)),
            row("back cover", COVER),
            row("", FrameKind.TARGET),
        ],
        summary=LanguageMap.of("A herbal with a calendar.", "en"),
        date="c. 1380",
        place="Aldermoor",
        languages=("la", "grc"),
        script="Latn",
        material="parchment",
        extent="ff. i + 5",
        size_mm=(214, 152.5),
        people=(
            Person(name="Brother Anselm of Aldermoor", role="scribe", role_code="scr"),
            Person(name="Brother Odo", role="scribe", role_code="scr", uri="https://names.example.org/odo"),
            Person(name="the Lampwright Master", role="miniaturist"),
        ),
        identifiers=(
            Identifier(scheme="doi", value="10.5555/alm.14"),
            Identifier(scheme="local", value="14"),
        ),
        collection="Chapter library",
        catalogue_url="https://catalogue.example.org/alm-14",
        start="f-1r",
        metadata=((LanguageMap.of("Bound by", "en"), LanguageMap.of("<unknown>", "en")),),
    )
    return made.changed(
        sections=sections(made.item, ("Calendar", "f. 1r", "f. 2v"), ("Herbal", "f. 4r", "f. 5v"))
    )


def right_to_left_codex() -> World:
    """A bound manuscript that is read from what others would call its end."""
    return world(
        [row("front cover", COVER), *leaves(1, 6), row("back cover", COVER)],
        reading=ViewingDirection.RIGHT_TO_LEFT,
        languages=("ar",),
        script="Arab",
    )


def oversize_codex() -> World:
    """A codex so large that it was photographed opening by opening, read from right to left."""
    openings = [row(f"ff. {leaf}v–{leaf + 1}r", OPENING, size=OPENING_SIZE) for leaf in range(1, 8)]
    return world(
        [row("front cover", COVER), *openings, row("back cover", COVER)],
        reading=ViewingDirection.RIGHT_TO_LEFT,
    )


def mixed_codex() -> World:
    """A codex of pages with two openings that were photographed whole."""
    return world(
        [
            *leaves(1, 2),
            Row(label="f. 3r"),
            row("ff. 3v–4r", OPENING, size=OPENING_SIZE),
            Row(label="f. 4v"),
            Row(label="f. 5r"),
            row("ff. 5v–6r", OPENING, size=OPENING_SIZE),
            Row(label="f. 6v"),
        ]
    )


def letters() -> World:
    """Three hundred letters of two sides, each a section."""
    rows = [Row(label=f"letter {n}, {side}") for n in range(1, 301) for side in ("recto", "verso")]
    made = world(rows, ItemKind.LETTER)
    spans = [(f"Letter {n}", f"letter {n}, recto", f"letter {n}, verso") for n in range(1, 301)]
    return made.changed(sections=sections(made.item, *spans))


def tablet() -> World:
    """A clay tablet with six faces."""
    faces = ("obverse", "reverse", "left edge", "right edge", "top edge", "bottom edge")
    return world([row(face, FACE) for face in faces], ItemKind.TABLET, size_mm=(72, 51, 22))


def fragment() -> World:
    """A papyrus fragment, both sides in four lights."""
    return world(
        [Row(label=side, kind=FACE, light=light) for side in ("recto", "verso") for light in LIGHTS],
        ItemKind.FRAGMENT,
    )


def album() -> World:
    """An album of photographs: pages, and some of the photographs by themselves."""
    return world(
        [
            row("front cover", COVER),
            *pages("page 1", "page 2", "page 3"),
            row("page 3, upper left", FrameKind.DETAIL, size=SizePx(width_px=900, height_px=600)),
            *pages("page 4"),
        ],
        ItemKind.ALBUM,
    )


def scroll() -> World:
    """A scroll of four membranes, written on the inner side."""
    return world(
        [row(f"membrane {n}", FACE) for n in range(1, 5)],
        ItemKind.SCROLL,
        reading=ViewingDirection.TOP_TO_BOTTOM,
    )


def opisthograph() -> World:
    """A scroll written on both sides."""
    sides = [row(f"membrane {n}", FACE) for n in (1, 2)] + [row(f"membrane {n}, dorse", FACE) for n in (2, 1)]
    return world([*sides, row("box", FrameKind.DETAIL)], ItemKind.SCROLL)


def volume() -> World:
    """The second of three volumes."""
    volumes = tuple(Volume(item=f"alm-{n}", label=LanguageMap.of(f"Volume {n}", "en")) for n in (13, 14, 15))
    chronicle = VolumeSet(
        identifier="alm-chronicle", label=LanguageMap.of("Chronicle", "en"), volumes=volumes
    )
    return world(leaves(1, 3), volume_set=chronicle)


def single(kind: ItemKind) -> World:
    """An item of one or two views."""
    return world(pages("recto", "verso"), kind)


ALL: dict[str, Callable[[], World]] = {
    "codex": codex,
    "right-to-left codex": right_to_left_codex,
    "oversize codex": oversize_codex,
    "mixed codex": mixed_codex,
    "letters": letters,
    "tablet": tablet,
    "fragment": fragment,
    "album": album,
    "scroll": scroll,
    "scroll written on both sides": opisthograph,
    "volume": volume,
    "sheet": lambda: single(ItemKind.SHEET),
    "photograph": lambda: single(ItemKind.PHOTOGRAPH),
    "map": lambda: single(ItemKind.MAP),
}


def published(world: World) -> dict[str, tuple[int, int] | None]:
    """The URLs of what will be published of an item with static images, with the pixel size of each image."""
    item, base = world.item.identifier, world.settings.base_url
    urls: dict[str, tuple[int, int] | None] = {
        layout.url(base, layout.public_metadata_path(item, name)): None for name in ("mods.xml", "mets.xml")
    }
    for frame, made in world.derivatives.items():
        service = layout.url(base, layout.image_folder(item, frame))
        urls[f"{service}/info.json"] = None
        urls[layout.url(base, made.access.path)] = (made.access_size.width_px, made.access_size.height_px)
        for name, size in derive.whole_files(made.size, tile_px=made.tile_px).items():
            urls[f"{service}/{name}"] = (size.width_px, size.height_px)
    return urls
