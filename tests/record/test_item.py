"""item.toml: what a person writes becomes values, and every mistake is told with its line and the way out."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from pathlib import Path

import pytest

from pipeline.errors import ExitStatus, InputError, SettingsError
from pipeline.model import (
    Care,
    Identifier,
    ItemKind,
    LanguageMap,
    Person,
    Session,
    ViewingDirection,
    Volume,
    VolumeSet,
)
from tests.record.make_record import ITEM, PAGES, SETTINGS, changed, record

FULL = """\
[item]
id = "alm-014"
shelfmark = "Alm. B  14"
kind = "codex"
title = { en = "Herbal and calendar", la = ["Herbarium", "Calendarium"] }
summary = "A herbal with a calendar."
date = "c. 1380"
date_range = [1370, 1395]
place = "Aldermoor"
languages = ["la", "grc", "sr-Latn"]
script = "Latn"
material = "parchment"
extent = "ff. ii + 46 + ii"
size_mm = [214, 152.5]
condition = "water stains"
collection = "Chapter library"
catalogue_url = "https://catalogue.example.org/alm-14"
reading = "right-to-left"
order = "as listed"
start = "f. 1r"
rights = "http://creativecommons.org/publicdomain/mark/1.0/"
credit = { en = "Aldermoor Library" }
masters = "../scans"

[care]
cleared = false
assessed_by = "conservator"
assessed_on = 2026-03-02
largest_opening_deg = 100
support = "cradle"
handling = "two people"

[[session]]
id = "s1"
date = "2026-03-09"
operator = "imaging unit"
camera = "camera-2"
lens = "lens-120"
lights = ["flash-left"]
support = "cradle"
targets = ["patches"]
ppi = 600
note = "cold room"

[[section]]
label = { en = "Calendar" }
from = "f. 1r"
to = "f. 2v"

[[person]]
name = "Brother Anselm of Aldermoor"
role = "scribe"
role_code = "scr"
uri = "https://names.example.org/anselm"

[[identifier]]
scheme = "doi"
value = "10.5555/alm.14"

[[metadata]]
label = { en = "Bound by" }
value = "unknown"

[volumes]
id = "alm"
label = "The Aldermoor herbal"
[[volumes.volume]]
item = "alm-013"
label = { en = "Volume 1" }
[[volumes.volume]]
item = "alm-014"
label = { en = "Volume 2" }
"""


def test_every_key_of_item_toml_becomes_a_value(tmp_path: Path) -> None:
    made = record(tmp_path / "item", item=FULL, masters=())
    (tmp_path / "scans").mkdir()
    for line in PAGES.splitlines()[1:]:
        (tmp_path / "scans" / line.split(",")[0]).touch()
    (tmp_path / "solander.toml").write_text(SETTINGS)
    opened = made.load()
    item = opened.item
    assert opened.masters.resolve() == (tmp_path / "scans").resolve()
    assert (item.identifier, item.shelfmark, item.kind) == ("alm-014", "Alm. B 14", ItemKind.CODEX)
    assert item.title.entries == (("en", ("Herbal and calendar",)), ("la", ("Herbarium", "Calendarium")))
    assert item.summary == LanguageMap.of("A herbal with a calendar.", "none")
    assert (item.date, item.date_range, item.place) == ("c. 1380", (1370, 1395), "Aldermoor")
    assert (item.languages, item.script) == (("la", "grc", "sr-Latn"), "Latn")
    assert (item.material, item.extent) == ("parchment", "ff. ii + 46 + ii")
    assert (item.size_mm, item.condition) == ((214.0, 152.5), "water stains")
    assert (item.collection, item.catalogue_url) == (
        "Chapter library",
        "https://catalogue.example.org/alm-14",
    )
    assert item.reading is ViewingDirection.RIGHT_TO_LEFT
    assert not item.follows_foliation
    assert item.start == "B14_0002"
    assert item.rights == "http://creativecommons.org/publicdomain/mark/1.0/"
    assert item.credit == LanguageMap.of("Aldermoor Library", "en")
    assert item.care == Care(
        cleared=False,
        assessed_by="conservator",
        assessed_on=dt.date(2026, 3, 2),
        largest_opening_deg=100.0,
        support="cradle",
        handling="two people",
    )
    assert item.sessions == (
        Session(
            identifier="s1",
            date=dt.date(2026, 3, 9),
            operator="imaging unit",
            camera="camera-2",
            lens="lens-120",
            lights=("flash-left",),
            support="cradle",
            targets=("patches",),
            ppi=600.0,
            note="cold room",
        ),
    )
    assert item.people == (
        Person(
            name="Brother Anselm of Aldermoor",
            role="scribe",
            role_code="scr",
            uri="https://names.example.org/anselm",
        ),
    )
    assert item.identifiers == (Identifier(scheme="doi", value="10.5555/alm.14"),)
    assert item.metadata == ((LanguageMap.of("Bound by", "en"), LanguageMap.of("unknown", "none")),)
    assert item.volume_set == VolumeSet(
        identifier="alm",
        label=LanguageMap.of("The Aldermoor herbal", "none"),
        volumes=(
            Volume(item="alm-013", label=LanguageMap.of("Volume 1", "en")),
            Volume(item="alm-014", label=LanguageMap.of("Volume 2", "en")),
        ),
    )


def test_what_is_left_out_has_its_default(tmp_path: Path) -> None:
    item = record(tmp_path / "item").item
    bare = replace(item, frames=(), views=(), sessions=(), title=LanguageMap())
    assert bare == replace(
        bare, summary=LanguageMap(), date_range=None, size_mm=(), start="", volume_set=None
    )
    assert item.follows_foliation
    assert item.reading is ViewingDirection.LEFT_TO_RIGHT


def test_a_record_that_is_not_cleared_can_be_loaded(tmp_path: Path) -> None:
    """The build stops on it; to look at an item it need not be cleared."""
    made = record(tmp_path / "item", item=changed(ITEM, "cleared = true", "cleared = false"))
    assert not made.item.care.cleared


def test_a_bare_date_where_text_is_wanted_is_that_text(tmp_path: Path) -> None:
    made = record(
        tmp_path / "item", item=changed(ITEM, 'id = "alm-014"', 'id = "alm-014"\ndate = 1914-08-01')
    )
    assert made.item.date == "1914-08-01"


CARE = "cleared = true"
DATE = "date = 2026-03-09"
MISTAKES = {
    "reading": (
        ('"left-to-right"', '"righ-to-left"'),
        'item.toml, line 6, item, reading: found "righ-to-left", expected one of left-to-right, '
        "right-to-left, "
        'top-to-bottom, bottom-to-top; did you mean "right-to-left"?',
    ),
    "kind": (
        ('"codex"', '"Codex"'),
        'item.toml, line 4, item, kind: found "Codex", expected one of codex, sheet, letter, scroll, '
        "fragment, "
        'tablet, photograph, album, map; did you mean "codex"?',
    ),
    "unknown key": (
        ("shelfmark =", 'shelfmark = "Alm. B 14"\nmateriel ='),
        "item.toml, line 4, item, materiel: found the unknown key `materiel`, expected a key that we know; "
        'did you mean "material"?',
    ),
    "key in the wrong table": (
        (CARE, f"{CARE}\noperator = 'unit'"),
        "item.toml, line 10, care, operator: found the unknown key `operator`, expected a key that we know; "
        "`operator` belongs under [[session]]",
    ),
    "key before the table": (
        ("[item]", 'sumary = "x"\n[item]'),
        "item.toml, line 1, sumary: found the unknown table or key `sumary`, expected a table that we know; "
        'did you mean "summary" under [item]?',
    ),
    "key nobody knows": (
        (CARE, f"{CARE}\nxyzzy = 1"),
        "item.toml, line 10, care, xyzzy: found the unknown key `xyzzy`, expected one of cleared, "
        "assessed_by, "
        "assessed_on, largest_opening_deg, support, handling; remove it; all keys are listed in "
        "docs/item-files.md",
    ),
    "single brackets for a session": (
        ("[[session]]", "[session]"),
        "item.toml, line 11, session: found a table, expected tables [[session]], in double brackets, "
        "one for each set-up and day; write the table's name in double brackets, [[…]]",
    ),
    "missing key": (
        (f"{CARE}\n", ""),
        "item.toml, line 8, care: found no `cleared`, expected the key `cleared`; "
        "give true or false, without quotes: whether the conservator has cleared the object for capture",
    ),
    "missing table": (
        (f"[care]\n{CARE}\n", ""),
        "item.toml: found no `care`, expected the table `care`; "
        "write a table [care], the conservator's assessment",
    ),
    "truth in quotes": (
        (CARE, 'cleared = "yes"'),
        'item.toml, line 9, care, cleared: found "yes", expected true or false, without quotes: whether the '
        "conservator has cleared the object for capture; write true, without quotes",
    ),
    "number in quotes": (
        ("ppi = 600", 'ppi = "600 ppi"'),
        'item.toml, line 15, session 1, ppi: found "600 ppi", expected pixels per inch at the object, '
        "above 0, "
        "such as 600; write 600, without quotes",
    ),
    "text without quotes": (
        ('shelfmark = "Alm. B 14"', "shelfmark = 14"),
        'item.toml, line 3, item, shelfmark: found 14, expected text in quotes, not empty; write "14", '
        "in quotes",
    ),
    "one thing for a list": (
        (DATE, f'{DATE}\nlights = "flash-1"'),
        'item.toml, line 14, session 1, lights: found "flash-1", expected the ids of the lights in '
        "solander.toml, "
        'in brackets: ["flash-1", "flash-2"]; write ["flash-1"]',
    ),
    "empty text": (
        ('"Alm. B 14"', '" "'),
        "item.toml, line 3, item, shelfmark: found nothing, expected text in quotes, not empty",
    ),
    "date with a time": (
        (DATE, "date = 2026-03-09T10:00:00"),
        "item.toml, line 13, session 1, date: found 2026-03-09T10:00:00, "
        "expected a date as year-month-day, such as 2026-03-09",
    ),
    "date that does not exist": (
        (DATE, 'date = "2026-02-30"'),
        'item.toml, line 13, session 1, date: found "2026-02-30", expected a date that exists, as year, '
        "month, "
        "day; write it without quotes, such as 2026-03-09",
    ),
    "a number that is none": (
        ("ppi = 600", "ppi = nan"),
        "item.toml, line 15, session 1, ppi: found nan, "
        "expected pixels per inch at the object, above 0, such as 600",
    ),
    "language by its name": (
        ("{ en =", "{ english ="),
        "item.toml, line 5, item, title, english: found the language `english`, expected a BCP 47 "
        "language tag, "
        'such as en, la, grc, de-CH; or none; did you mean "en"?',
    ),
    "language with an underscore": (
        ("{ en =", "{ en_GB ="),
        "item.toml, line 5, item, title, en_GB: found the language `en_GB`, expected a BCP 47 language tag, "
        'such as en, la, grc, de-CH; or none; did you mean "en-GB"?',
    ),
    "id with a slash": (
        ('"alm-014"', '"Älm B/14"'),
        'item.toml, line 2, item, id: found "Älm B/14", expected letters without accents, digits, hyphens, '
        "underscores and full stops, up to 100, for it becomes the name of folders and a part of web "
        "addresses; "
        'write "alm-b-14"',
    ),
    "rights with https and no slash": (
        ('id = "alm-014"', 'id = "alm-014"\nrights = "https://rightsstatements.org/page/InC/1.0"'),
        'item.toml, line 3, item, rights: found "https://rightsstatements.org/page/InC/1.0", expected '
        "the URI of "
        "a Creative Commons licence or a RightsStatements.org statement, such as "
        '"http://creativecommons.org/publicdomain/mark/1.0/"; write '
        '"http://rightsstatements.org/vocab/InC/1.0/"',
    ),
    "rights in words": (
        ('id = "alm-014"', 'id = "alm-014"\nrights = "all rights reserved"'),
        'item.toml, line 3, item, rights: found "all rights reserved", expected the URI of a Creative '
        "Commons "
        "licence or a RightsStatements.org statement, such as "
        '"http://creativecommons.org/publicdomain/mark/1.0/"; put terms of your own into `credit`',
    ),
    "years the wrong way round": (
        ('id = "alm-014"', 'id = "alm-014"\ndate_range = [1395, 1370]'),
        "item.toml, line 3, item, date_range: found [1395, 1370], expected the earlier year first; "
        "write [1370, 1395]",
    ),
    "one length only": (
        ('id = "alm-014"', 'id = "alm-014"\nsize_mm = [214]'),
        "item.toml, line 3, item, size_mm: found [214], expected height and width in millimetres, and "
        "the depth "
        "of a thing that has one: [214, 152]",
    ),
    "misspelt required key": (
        ("shelfmark =", "shelfmrk ="),
        "item.toml, line 3, item, shelfmrk: found the unknown key `shelfmrk`, expected a key that we know; "
        'did you mean "shelfmark"?',
    ),
    "list as text": (
        ('id = "alm-014"', 'id = "alm-014"\nsize_mm = "214 x 152,5"'),
        'item.toml, line 3, item, size_mm: found "214 x 152,5", expected height and width in '
        "millimetres, and "
        "the depth of a thing that has one: [214, 152]; write [214, 152.5]",
    ),
    "number for a date": (
        (DATE, "date = 9"),
        "item.toml, line 13, session 1, date: found 9, expected a date as year-month-day, such as 2026-03-09",
    ),
    "rights that no one has stated": (
        ('id = "alm-014"', 'id = "alm-014"\nrights = "http://rightsstatements.org/vocab/NoC-OLKR/1.0/"'),
        'item.toml, line 3, item, rights: found "http://rightsstatements.org/vocab/NoC-OLKR/1.0/", '
        "expected the "
        "URI of a Creative Commons licence or a RightsStatements.org statement, such as "
        '"http://creativecommons.org/publicdomain/mark/1.0/"; did you mean '
        '"http://rightsstatements.org/vocab/NoC-OKLR/1.0/"?',
    ),
    "rights spelled in the British way": (
        ('id = "alm-014"', 'id = "alm-014"\nrights = "http://creativecommons.org/licences/by/4.0/"'),
        'item.toml, line 3, item, rights: found "http://creativecommons.org/licences/by/4.0/", expected '
        "the URI "
        "of a Creative Commons licence or a RightsStatements.org statement, such as "
        '"http://creativecommons.org/publicdomain/mark/1.0/"; write '
        '"http://creativecommons.org/licenses/by/4.0/"',
    ),
    "start at a label that is not there": (
        ('id = "alm-014"', 'id = "alm-014"\nstart = "fol. 1 recto"'),
        'item.toml, line 3, item, start: found "fol. 1 recto", a label that pages.csv does not have, '
        "expected "
        'the label of a view, as pages.csv has it; did you mean "f. 1r"?',
    ),
}


@pytest.mark.parametrize("mistake", MISTAKES)
def test_a_mistake_is_told_with_line_key_find_and_way_out(mistake: str, tmp_path: Path) -> None:
    (old, new), message = MISTAKES[mistake]
    made = record(tmp_path / "item", item=changed(ITEM, old, new))
    assert str(made.problem) == message
    assert made.error().exit_status is ExitStatus.SETTINGS


def test_all_problems_of_both_files_are_told_together_in_their_order(tmp_path: Path) -> None:
    text = changed(changed(ITEM, '"codex"', '"codx"'), "ppi = 600", "ppi = -1")
    pages = changed(changed(PAGES, "f. 1v,page", "f. 1v,pge"), "B14_0004.tif,f. 2r", "B14_0004.tif,f. 1r")
    error = record(tmp_path / "item", item=text, pages=pages).error()
    assert [problem.where for problem in error.problems] == [
        "item.toml, line 4, item, kind",
        "item.toml, line 15, session 1, ppi",
        'pages.csv, row 4, column "kind"',
        'pages.csv, row 5, column "label"',
    ]
    assert error.message == f"{tmp_path / 'item'}: 4 problems in item.toml and pages.csv"


def test_a_broken_item_toml_does_not_hide_the_problems_of_pages_csv(tmp_path: Path) -> None:
    pages = changed(PAGES, "f. 1v,page", "f. 1v,pge")
    problems = record(tmp_path / "item", item="[item\n", pages=pages).problems
    assert [problem.where for problem in problems] == [
        "item.toml, line 1, column 6",
        'pages.csv, row 4, column "kind"',
    ]


def test_a_broken_session_brings_no_further_complaints(tmp_path: Path) -> None:
    """Rows that name it are not told that it does not exist."""
    made = record(tmp_path / "item", item=changed(ITEM, 'id = "s1"', "id = 1"))
    assert made.problem.where == "item.toml, line 12, session 1, id"


def test_two_sessions_of_one_id_are_told(tmp_path: Path) -> None:
    made = record(tmp_path / "item", more='[[session]]\nid = "s1"\ndate = 2026-03-10\n')
    assert str(made.problem) == (
        'item.toml, line 17, session 2, id: found "s1" a second time, expected an id of its own for each; '
        "the first is at item.toml, line 12, session 1, id"
    )


def test_files_that_are_not_there_are_input_that_is_missing(tmp_path: Path) -> None:
    made = record(tmp_path / "item")
    (tmp_path / "item" / "pages.csv").unlink()
    error = made.error()
    assert isinstance(error, InputError)
    assert error.message.endswith(
        "pages.csv: is not there; make one in another folder with: "
        "solander new FOLDER --masters DIR, and move it here"
    )  # here nothing would be written, for item.toml is never overwritten
    (tmp_path / "item" / "item.toml").unlink()
    assert "item.toml: is not there; start the item with: solander new" in made.error().message


def test_the_item_around_a_folder_of_masters_is_pointed_at(tmp_path: Path) -> None:
    made = record(tmp_path / "item")
    error = type(made)(folder=tmp_path / "item" / "masters").error()
    assert error.message.endswith("item.toml: is not there; the folder around this one has it, give that one")


def test_a_folder_that_is_not_there_is_input_that_is_missing(tmp_path: Path) -> None:
    made = record(tmp_path / "item")
    error = type(made)(folder=tmp_path / "elsewhere").error()
    assert isinstance(error, InputError)
    assert "is not a folder" in error.message


# -------------------------------------------------------------------------------------------- equipment

USES = {
    "camera that is not in the register": (
        'camera = "camera-2"',
        'camera = "camra-2"',
        'session 1, camera: found "camra-2", expected the id of a camera or scanner in the equipment '
        "register of "
        'solander.toml: "camera-2", "scanner-1"; did you mean "camera-2"?',
    ),
    "camera that is a lens": (
        'camera = "camera-2"',
        'camera = "lens-120"',
        'session 1, camera: found "lens-120", which is a lens in the register, expected the id of a '
        "camera or "
        'scanner in the equipment register of solander.toml: "camera-2", "scanner-1"; correct it, or add '
        "it to "
        "solander.toml as [[equipment]]",
    ),
    "lens": (
        "ppi = 600",
        'lens = "lens120"',
        'session 1, lens: found "lens120", expected the id of a lens in the equipment register of '
        'solander.toml: "lens-120"; did you mean "lens-120"?',
    ),
    "light": (
        "ppi = 600",
        'lights = ["flash-left", "flash-righ"]',
        'session 1, lights 2: found "flash-righ", expected the id of a light in the equipment register of '
        'solander.toml: "flash-left"; did you mean "flash-left"?',
    ),
    "support": (
        "ppi = 600",
        'support = "table"',
        'session 1, support: found "table", expected the id of a support in the equipment register of '
        'solander.toml: "cradle"; correct it, or add it to solander.toml as [[equipment]]',
    ),
    "target": (
        "ppi = 600",
        'targets = ["paches"]',
        'session 1, targets 1: found "paches", expected the id of a target in the equipment register of '
        'solander.toml: "patches"; did you mean "patches"?',
    ),
    "camera that was sold": (
        DATE,
        "date = 2026-07-01",
        'session 1, camera: found "camera-2", which the unit owned from 2023-01-15 until 2026-06-30; the '
        "session "
        "was on 2026-07-01, expected equipment that was there on the day of the session; correct the "
        "date of the "
        "session, the id, or the dates in solander.toml",
    ),
}


@pytest.mark.parametrize("use", USES)
def test_equipment_is_held_against_the_register(use: str, tmp_path: Path) -> None:
    old, new, message = USES[use]
    made = record(tmp_path / "item", item=changed(ITEM, old, new), settings=SETTINGS)
    assert str(made.problem).split(", ", 2)[2] == message
    assert isinstance(made.error(), SettingsError)


def test_equipment_is_as_good_on_its_first_and_last_day(tmp_path: Path) -> None:
    for day in ("2023-01-15", "2026-06-30"):
        text = changed(ITEM, DATE, f"date = {day}")
        assert record(tmp_path / day, item=text, settings=SETTINGS).item.sessions[0].date.isoformat() == day


def test_without_a_register_any_equipment_may_be_named(tmp_path: Path) -> None:
    text = changed(ITEM, 'camera = "camera-2"', 'camera = "the old one"\nlights = ["window"]')
    assert record(tmp_path / "item", item=text).item.sessions[0].lights == ("window",)


def test_a_set_of_volumes_has_to_name_this_one(tmp_path: Path) -> None:
    more = '[volumes]\nid = "alm"\nlabel = "Herbals"\n[[volumes.volume]]\nitem = "alm-013"\nlabel = "1"\n'
    assert str(record(tmp_path / "item", more=more).problem) == (
        'item.toml, line 19, volumes, volume: found "alm-013", and not this item, "alm-014", expected '
        "all volumes "
        'of the set, this one too; add [[volumes.volume]] with item = "alm-014"'
    )
