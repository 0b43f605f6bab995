"""METS: structure by the schema's rules, references that resolve, values that agree wherever they stand.

The rules are those of the METS 1.12.1 schema, stated here a second time and independently of the writer; with
OFFICIAL_SCHEMAS set to a folder with the official files, `test_official_schemas.py` asks those too.
"""

from __future__ import annotations

import dataclasses
from collections import Counter
from collections.abc import Callable
from pathlib import PurePosixPath
from typing import Any, cast

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline import xmldoc
from pipeline.describe import events, mets
from pipeline.findings import Report
from pipeline.model import FrameKind, Item, LanguageMap, Light, LightKind, Section
from pipeline.xmldoc import Element
from tests.describe import make_items
from tests.describe.make_items import NOW, World

METS = "{http://www.loc.gov/METS/}"
MIX = "{http://www.loc.gov/mix/v20}"
PREMIS = "{http://www.loc.gov/premis/v3}"
XLINK = "{http://www.w3.org/1999/xlink}"

ROOT_ORDER = ["metsHdr", "dmdSec", "amdSec", "fileSec", "structMap", "structLink", "behaviorSec"]
AMD_ORDER = ["techMD", "rightsMD", "sourceMD", "digiprovMD"]
POINTS_AT = {
    "ADMID": {"techMD", "rightsMD", "sourceMD", "digiprovMD", "amdSec"},
    "DMDID": {"dmdSec"},
    "FILEID": {"file"},
}

WORLDS = {
    "codex": make_items.codex(),
    "right-to-left": make_items.right_to_left_codex(),
    "oversize": make_items.oversize_codex(),
    "mixed": make_items.mixed_codex(),
    "letters": make_items.letters(),
    "tablet": make_items.tablet(),
    "fragment": make_items.fragment(),
}


def log_of(world: World, **changes: object) -> events.EventLog:
    return events.event_log(
        world.item,
        world.settings,
        world.records,
        world.derivatives,
        Report(),
        now=NOW,
        software_version="9.9",
        **changes,  # type: ignore[arg-type]
    )


def preserved(world: World) -> Element:
    made = mets.preservation_mets(
        world.item, world.settings, world.records, world.derivatives, log_of(world), now=NOW
    )
    return xmldoc.parse(xmldoc.to_bytes(made))


def published(world: World) -> Element:
    made = mets.publication_mets(world.item, world.settings, world.derivatives, now=NOW)
    return xmldoc.parse(xmldoc.to_bytes(made))


Edition = Callable[[World], Element]
both_editions = pytest.mark.parametrize("edition", [preserved, published])
all_worlds = pytest.mark.parametrize("world", WORLDS.values(), ids=WORLDS)


def local_name(element: Element) -> str:
    return str(element.tag).rpartition("}")[2]


def one(root: Element, path: str, **values: str) -> Element:
    """The one element that an XPath finds; the prefix m stands for METS."""
    variables = cast("dict[str, Any]", values)
    found = cast("list[Element]", root.xpath(path, namespaces={"m": METS[1:-1]}, **variables))
    assert len(found) == 1, path
    return found[0]


def in_order(names: list[str], order: list[str]) -> bool:
    return [order.index(name) for name in names] == sorted(order.index(name) for name in names)


@all_worlds
@both_editions
def test_sections_stand_in_the_order_of_the_schema(edition: Edition, world: World) -> None:
    root = edition(world)
    assert in_order([local_name(child) for child in root], ROOT_ORDER)
    for section in root.iter(f"{METS}amdSec"):
        assert in_order([local_name(child) for child in section], AMD_ORDER)
    for division in root.iter(f"{METS}div"):
        assert in_order([local_name(child) for child in division], ["mptr", "fptr", "div"])


@all_worlds
@both_editions
def test_ids_are_unique_and_every_reference_hits_the_right_kind(edition: Edition, world: World) -> None:
    root = edition(world)
    ids = [element.get("ID") for element in root.iter() if element.get("ID")]
    assert [name for name, count in Counter(ids).items() if count > 1] == []
    kinds = {element.get("ID"): local_name(element) for element in root.iter() if element.get("ID")}
    found = 0
    for element in root.iter():
        for attribute, allowed in POINTS_AT.items():
            for name in (element.get(attribute) or "").split():
                assert kinds.get(name) in allowed, (local_name(element), attribute, name)
                found += 1
    assert found > 0
    divisions = {div.get("ID") for div in root.iter(f"{METS}div")}
    for link in root.iter(f"{METS}smLink"):
        assert {link.get(f"{XLINK}from"), link.get(f"{XLINK}to")} <= divisions


@all_worlds
def test_what_is_said_several_times_is_the_same(world: World) -> None:
    """Size, checksum and media type of a master in METS, MIX and PREMIS; the width in MIX is the record's."""
    root = preserved(world)
    sections = {section.get("ID"): section for section in root.iter(f"{METS}techMD")}
    for file in root.iter(f"{METS}file"):
        frame = file.get("GROUPID")
        access = str(file.get("ID")).startswith("access.")
        name = f"premis-access.{frame}" if access else f"premis.{frame}"
        premis = sections[name]
        assert premis.findtext(f".//{PREMIS}size") == file.get("SIZE")
        assert premis.findtext(f".//{PREMIS}messageDigest") == file.get("CHECKSUM")
        assert premis.findtext(f".//{PREMIS}messageDigestAlgorithm") == file.get("CHECKSUMTYPE")
        assert premis.findtext(f".//{PREMIS}formatName") == file.get("MIMETYPE")
        if not access:
            mix = sections[f"mix.{frame}"]
            assert mix.findtext(f".//{MIX}fileSize") == file.get("SIZE")
            assert mix.findtext(f".//{MIX}messageDigest") == file.get("CHECKSUM")
            assert mix.findtext(f".//{MIX}imageWidth") == str(world.records[str(frame)].facts.width_px)


@all_worlds
def test_every_master_is_listed_once_under_its_use(world: World) -> None:
    root = preserved(world)
    groups = {
        str(group.get("USE")): [str(file.get("GROUPID")) for file in group]
        for group in root.iter(f"{METS}fileGrp")
    }
    captured = world.item.frames_of()
    shown = [frame.identifier for frame in captured if frame.kind.is_reading_matter]
    assert groups["MASTER"] == shown
    assert groups["ACCESS"] == [
        name for name in (f.identifier for f in captured) if name in world.derivatives
    ]
    proofs = [frame.identifier for frame in captured if not frame.kind.is_reading_matter]
    assert groups.get("TARGET", []) == proofs


@all_worlds
@both_editions
def test_views_stand_in_reading_order_also_those_that_were_not_captured(
    edition: Edition, world: World
) -> None:
    root = edition(world)
    physical = one(root, "//m:structMap[@TYPE='PHYSICAL']/m:div")
    shown = [view for view in world.item.views if view.kind.is_reading_matter]
    divisions = list(physical)[: len(shown)]
    assert [div.get("ORDER") for div in divisions] == [str(n) for n in range(1, len(shown) + 1)]
    for division, view in zip(divisions, shown, strict=True):
        assert division.get("TYPE") == view.kind.value
        assert str(division.get("LABEL")).startswith(view.label)
        pointers = list(division.iter(f"{METS}fptr"))
        assert bool(pointers) is view.is_captured
        assert str(division.get("LABEL")).endswith("(not captured)") is not view.is_captured


def test_folio_numbers_are_order_labels() -> None:
    root = preserved(make_items.right_to_left_codex())
    labels = [div.get("ORDERLABEL") for div in root.iter(f"{METS}div") if div.get("TYPE") == "page"]
    assert labels[:4] == ["1r", "1v", "2r", "2v"]


def test_lights_of_one_view_are_told_apart() -> None:
    root = preserved(make_items.fragment())
    lights = [str(div.get("LABEL")) for div in root.iter(f"{METS}div") if div.get("TYPE") == "light"]
    assert lights[:4] == ["normal", "raking left", "ultraviolet", "infrared 940 nm"]


def test_the_light_of_a_view_is_told_if_it_is_not_the_usual() -> None:
    raking = make_items.Row(label="f. 1r", light=Light(kind=LightKind.RAKING))
    root = preserved(make_items.world([raking, *make_items.pages("f. 1v")]))
    lights = [str(div.get("LABEL")) for div in root.iter(f"{METS}div") if div.get("TYPE") == "light"]
    assert lights == ["raking"]


def test_sections_nest_and_are_linked_to_all_their_views() -> None:
    world = make_items.letters()
    root = preserved(world)
    logical = one(root, "//m:structMap[@TYPE='LOGICAL']/m:div")
    assert len(list(logical)) == 300
    links = Counter(link.get(f"{XLINK}from") for link in root.iter(f"{METS}smLink"))
    assert links["log-item"] == 1
    assert {links[str(div.get("ID"))] for div in logical} == {2}


def test_locations_of_masters_are_relative_and_escaped() -> None:
    world = make_items.tablet()
    odd = dataclasses.replace(world.item.frames[0], file=PurePosixPath("box 1/ä%1.tif"))
    root = preserved(world.changed(frames=(odd, *world.item.frames[1:])))
    location = one(root, "//m:file[@ID=$name]/m:FLocat", name=f"master.{odd.identifier}")
    assert location.get(f"{XLINK}href") == "../masters/box%201/%C3%A4%251.tif"
    assert location.get("LOCTYPE") == "URL"


def test_the_public_edition_points_from_its_own_place_and_has_no_technical_sections() -> None:
    root = published(make_items.codex())
    first = next(root.iter(f"{METS}FLocat"))
    assert first.get(f"{XLINK}href") == "../../access/alm-014/B14_0001.jpg"
    assert not list(root.iter(f"{METS}techMD"))
    assert not list(root.iter(f"{METS}digiprovMD"))
    assert [group.get("USE") for group in root.iter(f"{METS}fileGrp")] == ["ACCESS"]


def test_target_frames_stand_in_a_division_of_their_own_at_the_end() -> None:
    world = make_items.codex()
    root = preserved(world)
    physical = one(root, "//m:structMap[@TYPE='PHYSICAL']/m:div")
    last = list(physical)[-1]
    assert last.get("TYPE") == "targets"
    assert [div.get("TYPE") for div in last] == ["target"]
    (target,) = world.item.frames_of(FrameKind.TARGET)
    assert f"master.{target.identifier}" in [p.get("FILEID") for p in last.iter(f"{METS}fptr")]


@settings(max_examples=40, deadline=None)
@given(st.text(max_size=40), st.text(min_size=1, max_size=200))
def test_any_text_survives_apart_from_what_xml_cannot_hold(title: str, shelfmark: str) -> None:
    world = make_items.tablet()
    item: Item = dataclasses.replace(world.item, title=LanguageMap.of(title, "en"), shelfmark=shelfmark)
    root = preserved(dataclasses.replace(world, item=item))
    label = xmldoc.clean_text(item.called(title))
    found = str(root.get("LABEL"))
    assert found == "".join(" " if c in "\t\n\r" else c for c in label) or found == label


def test_the_same_world_gives_the_same_bytes() -> None:
    world = make_items.codex()
    made = [
        xmldoc.to_bytes(
            mets.preservation_mets(
                world.item, world.settings, world.records, world.derivatives, log_of(world), now=NOW
            )
        )
        for _ in range(2)
    ]
    assert made[0] == made[1]


def test_no_name_of_a_frame_or_section_makes_two_ids_alike() -> None:
    """Names that look like the writer's own: item, access-a, of-item, masters-of-item."""
    world = make_items.tablet()
    names = ("item", "a", "access-a", "of-item", "masters-of-item", "access-of-item")
    frames = tuple(
        dataclasses.replace(frame, identifier=name)
        for frame, name in zip(world.item.frames, names, strict=True)
    )
    views = tuple(
        dataclasses.replace(view, identifier=name, frames=(frame,))
        for view, name, frame in zip(world.item.views, names, frames, strict=True)
    )
    section = Section(identifier="item", label=LanguageMap.of("Item"), views=names)
    renamed = dict(zip((frame.identifier for frame in world.item.frames), names, strict=True))
    odd = dataclasses.replace(
        world.changed(frames=frames, views=views, sections=(section,)),
        records={renamed[name]: each for name, each in world.records.items()},
        derivatives={renamed[name]: each for name, each in world.derivatives.items()},
    )
    for root in (preserved(odd), published(odd)):
        ids = [element.get("ID") for element in root.iter() if element.get("ID")]
        assert len(ids) == len(set(ids))


def test_an_item_of_which_nothing_was_captured_has_no_file_section() -> None:
    world = make_items.tablet()
    empty = dataclasses.replace(
        world.changed(
            frames=(), views=tuple(dataclasses.replace(view, frames=()) for view in world.item.views)
        ),
        records={},
        derivatives={},
    )
    for root in (preserved(empty), published(empty)):
        assert root.find(f"{METS}fileSec") is None
