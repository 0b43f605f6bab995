"""pages.csv: whatever a spreadsheet makes of it, it is read; and every mistake is told with its row."""

from __future__ import annotations

import csv
import io
from pathlib import Path, PurePosixPath

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.files import is_safe_name
from pipeline.model import FrameKind, Light, LightKind
from pipeline.record.pages import LONGEST, RESERVED, make_frames, make_views, unique
from pipeline.record.table import COLUMNS, Row, read_table
from tests.record.make_record import ITEM, PAGES, changed, record

HEADER = "file,label,kind,session,light,note\n"
TWO_SESSIONS = '\n[[session]]\nid = "s2"\ndate = 2026-03-10\n'


# --------------------------------------------------------------------------------- what spreadsheets do

SPELLINGS = {
    "as it is": PAGES,
    "byte order mark": "\ufeff" + PAGES,
    "semicolons": PAGES.replace(",", ";"),
    "tabs": PAGES.replace(",", "\t"),
    "Windows line ends": PAGES.replace("\n", "\r\n"),
    "old line ends": PAGES.replace("\n", "\r"),
    "no line end at the end": PAGES.rstrip("\n"),
    "empty rows behind": PAGES + ",,,,,\n,,,,,\n\n\n",
    "empty rows before": "\n,,,,,\n" + PAGES,
    "empty rows between": PAGES.replace("B14_0004", "\n,,,,,\nB14_0004"),
    "empty columns behind": PAGES.replace("\n", ",,,\n"),
    "short rows": PAGES.replace(",,\n", "\n"),
    "blanks around cells": PAGES.replace(",", " ,\u00a0 "),
    "quoted cells": "\n".join(
        ",".join(f'"{cell}"' for cell in line.split(",")) for line in PAGES.splitlines()
    ),
    "capitals": PAGES.replace("file,label,kind", "File,LABEL,Kind").replace(",page,", ",Page,"),
    "a line that names the separator": "sep=;\n" + PAGES.replace(",", ";"),
    "columns in another order": "\n".join(
        ",".join(line.split(",")[at] for at in (2, 0, 5, 3, 1, 4)) for line in PAGES.splitlines()
    ),
}


@pytest.mark.parametrize("spelling", SPELLINGS)
def test_whatever_a_spreadsheet_makes_of_it_the_frames_are_the_same(spelling: str, tmp_path: Path) -> None:
    plain = record(tmp_path / "plain").item
    names = [str(frame.file) for frame in plain.frames]
    other = record(tmp_path / "other", pages=SPELLINGS[spelling].encode(), masters=names).item
    assert [_but_row(frame) for frame in other.frames] == [_but_row(frame) for frame in plain.frames]
    assert [view.identifier for view in other.views] == [view.identifier for view in plain.views]


def _but_row(frame: object) -> str:
    return repr(frame).rsplit("row=", 1)[0]


def test_rows_are_counted_as_the_spreadsheet_counts_them(tmp_path: Path) -> None:
    pages = HEADER + '\nB14_0001.tif,f. 1r,,,,"two\nlines"\nB14_0002.tif,f. 1v\n'
    frames = record(tmp_path / "item", pages=pages, masters=["B14_0001.tif", "B14_0002.tif"]).item.frames
    assert [(frame.label, frame.row) for frame in frames] == [("f. 1r", 3), ("f. 1v", 4)]
    assert frames[0].note == "two\nlines"


cells = st.text(st.characters(codec="utf-8", exclude_characters="\0"), max_size=8).map(
    lambda s: " ".join(s.split())
)


@given(
    rows=st.lists(st.tuples(cells, cells, cells, cells, cells, cells), max_size=5),
    separator=st.sampled_from([",", ";", "\t"]),
    line_end=st.sampled_from(["\n", "\r\n"]),
    marked=st.booleans(),
    order=st.permutations(range(len(COLUMNS))),
)
def test_cells_that_are_written_are_read_back(
    rows: list[tuple[str, ...]],
    separator: str,
    line_end: str,
    marked: bool,
    order: list[int],
    tmp_path_factory: pytest.TempPathFactory,
) -> None:
    text = io.StringIO(newline="")
    writer = csv.writer(text, delimiter=separator, lineterminator=line_end)
    writer.writerows([[row[at] for at in order] for row in (COLUMNS, *rows)])
    path = tmp_path_factory.getbasetemp() / "pages.csv"
    path.write_bytes(text.getvalue().encode("utf-8-sig" if marked else "utf-8"))
    read, problems = read_table(path, advice="")
    assert problems == []
    filled = [(number, row) for number, row in enumerate(rows, start=2) if any(row)]
    assert [row.number for row in read] == [number for number, _ in filled]
    for row, (_, cells) in zip(read, filled, strict=True):
        for column, cell in zip(COLUMNS, cells, strict=True):
            if column in ("file", "label", "note"):
                assert row.get(column) == cell


# ------------------------------------------------------------------------------------------ the table

FORMS = {
    "unknown column": (
        PAGES.replace("session", "sesion", 1),
        'pages.csv, row 1: found the unknown column "sesion", expected each of file, label, kind, '
        "session, light, "
        'note once; did you mean "session"?',
    ),
    "required column misspelt": (
        PAGES.replace("label", "labels", 1),
        'pages.csv, row 1: found the unknown column "labels", expected each of file, label, kind, '
        "session, light, "
        'note once; did you mean "label"?',
    ),
    "column twice": (
        PAGES.replace("note", "label", 1),
        'pages.csv, row 1: found a second column "label", expected each of file, label, kind, session, '
        "light, "
        "note once; remove or rename one",
    ),
    "column left out": (
        PAGES.replace("label,", "", 1).replace(",f. ", ",").replace("front cover,", ""),
        'pages.csv, row 1: found no column "label", expected the columns file, label and, if needed, kind, '
        'session, light, note; add a column "label"',
    ),
    "header left out": (
        PAGES.split("\n", 1)[1],
        'pages.csv, row 1: found a first row of "B14_0001.tif", "front cover", "cover", "s1", expected '
        "the names "
        "of the columns: file,label,kind,session,light,note; put the names of the columns into the first "
        "row, "
        "separated by commas, semicolons or tabs",
    ),
    "empty file": (
        " \n",
        "pages.csv, row 1: found an empty file, expected the names of the columns: "
        "file,label,kind,session,light,note; put the names of the columns into the first row, separated "
        "by commas, "
        "semicolons or tabs",
    ),
    "no rows": (
        HEADER,
        "pages.csv: found no rows below the header, expected a row for each frame; list the frames, or start "
        "anew with: solander new FOLDER --masters DIR",
    ),
    "separator in a note": (
        PAGES.replace("24-patch", "24-patch, new"),
        'pages.csv, row 7: found more cells than columns: "new", expected 6 cells; put a text that '
        "contains the "
        "separator into quotes",
    ),
    "quote without end": (
        PAGES.replace("24-patch", '"24-patch'),
        "pages.csv, row 7: found quotes that do not match (unexpected end of data), expected a cell in "
        "quotes to "
        'end with a quote, and quotes inside it to be doubled: "a ""b"" c"; correct the quotes in this '
        "row; what "
        "follows it was not read",
    ),
}


@pytest.mark.parametrize("form", FORMS)
def test_a_table_of_the_wrong_form_is_told_with_its_row(form: str, tmp_path: Path) -> None:
    pages, message = FORMS[form]
    assert str(record(tmp_path / "item", pages=pages).problem) == message


@pytest.mark.parametrize(
    ("data", "found"),
    [
        (
            PAGES.replace("24-patch", "größe").encode("cp1252"),
            "the byte 0xF6 (perhaps ö in an older encoding)",
        ),
        (PAGES.encode("utf-16"), "text in UTF-16"),
        (b"PK\x03\x04", "a spreadsheet or another packed file"),
    ],
)
def test_another_encoding_is_told_with_what_to_do(data: bytes, found: str, tmp_path: Path) -> None:
    made = record(tmp_path / "item", pages=b"")
    (made.folder / "pages.csv").write_bytes(data)
    problem = made.problem
    assert problem.found.startswith(found)
    assert problem.advice == 'save it from the spreadsheet as "CSV UTF-8"'


# ------------------------------------------------------------------------------------------- the cells

CELLS = {
    "kind": (
        ("f. 1v,page", "f. 1v,recto"),
        'pages.csv, row 4, column "kind": found "recto", expected one of page, opening, foldout, cover, '
        "spine, edge, "
        'detail, face, target, flat; did you mean "page"?',
    ),
    "light": (
        ("f. 1v,page,s1,", "f. 1v,page,s1,UV 365 nm"),
        'pages.csv, row 4, column "light": found "UV 365 nm", expected normal, raking, transmitted, '
        "ultraviolet or "
        'infrared, perhaps with what tells it from others of its kind: "raking left", "infrared 940 nm"; '
        'did you mean "ultraviolet 365 nm"?',
    ),
    "light and its qualifier swapped": (
        ("f. 1v,page,s1,", "f. 1v,page,s1,left raking"),
        'pages.csv, row 4, column "light": found "left raking", expected normal, raking, transmitted, '
        "ultraviolet "
        'or infrared, perhaps with what tells it from others of its kind: "raking left", "infrared 940 nm"; '
        'did you mean "raking"?',
    ),
    "session": (
        ("f. 1v,page,s1", "f. 1v,page,s 1"),
        'pages.csv, row 4, column "session": found "s 1", expected the id of a [[session]] of item.toml: '
        '"s1"; '
        'did you mean "s1"?',
    ),
    "label left out": (
        ("f. 1v,page", ",page"),
        'pages.csv, row 4, column "label": found nothing, expected what the view is called, such as f. '
        "1r; targets "
        "and flats need none: then write target or flat under kind",
    ),
    "label and file left out": (
        ("B14_0003.tif,f. 1v,page", ",,page"),
        'pages.csv, row 4, column "label": found nothing, expected a label, a file, or both; fill in the '
        "row or "
        "remove it",
    ),
    "target without a file": (
        ("B14_T001.tif,,target", ",,target"),
        'pages.csv, row 7, column "file": found nothing, expected the file of this target; give the file, or '
        "remove the row",
    ),
    "same label twice in the same light": (
        ("f. 1v", "f. 1r"),
        'pages.csv, row 4, column "label": found "f. 1r" in normal light a second time, after row 3, '
        "expected each "
        "view once in each light; correct the label, give the light, or remove the frame that is not wanted",
    ),
    "captured and not captured": (
        ("B14_0003.tif,f. 1v", ",f. 1r"),
        'pages.csv, row 4, column "label": found "f. 1r" without a file, and with one in row 3, expected '
        "a view to be "
        "either captured or not; remove the row without a file, or correct its label",
    ),
}


@pytest.mark.parametrize("cell", CELLS)
def test_a_cell_that_is_wrong_is_told_with_row_and_column(cell: str, tmp_path: Path) -> None:
    (old, new), message = CELLS[cell]
    assert str(record(tmp_path / "item", pages=changed(PAGES, old, new)).problem) == message


def test_the_session_may_be_left_out_where_there_is_one(tmp_path: Path) -> None:
    pages = PAGES.replace(",s1,", ",,") + ",f. 3r,,,,\n"
    item = record(tmp_path / "item", pages=pages).item
    assert {frame.session for frame in item.frames_of()} == {"s1"}
    assert item.frames[-1].session == ""


def test_the_session_has_to_be_said_where_there_are_several(tmp_path: Path) -> None:
    pages = PAGES.replace(",page,s1", ",page,")
    problem = record(tmp_path / "item", more=TWO_SESSIONS, pages=pages).problem
    assert problem.where == 'pages.csv, rows 3 to 6, column "session"'
    assert problem.expected == 'one of the sessions of item.toml: "s1", "s2"'


def test_an_item_without_sessions_may_be_listed(tmp_path: Path) -> None:
    text = ITEM.split("[[session]]")[0]
    assert record(tmp_path / "a", item=text, pages=PAGES.replace(",s1,", ",,")).item.sessions == ()
    problem = record(tmp_path / "b", item=text).problems[0]
    assert problem.expected == "the id of a [[session]], and item.toml has none"


# -------------------------------------------------------------------------------------- frames and views


def test_frames_of_one_label_in_other_light_are_one_view_normal_light_first(tmp_path: Path) -> None:
    pages = changed(PAGES, "B14_0002.tif,f. 1r,page,s1,", "B14_0002.tif,f. 1r,page,s1,Raking left")
    pages += "B14_0007.tif,f. 1r,,,infrared 940 nm,\nB14_0006.tif,f. 1r,,,,\n"
    item = record(tmp_path / "item", pages=pages).item
    view = next(view for view in item.views if view.label == "f. 1r")
    assert [str(frame.file) for frame in view.frames] == ["B14_0006.tif", "B14_0002.tif", "B14_0007.tif"]
    assert [frame.light for frame in view.frames] == [
        Light(),
        Light(kind=LightKind.RAKING, qualifier="left"),
        Light(kind=LightKind.INFRARED, qualifier="940 nm"),
    ]
    assert (view.identifier, view.order) == ("B14_0006", 2)


def test_a_label_of_two_kinds_is_two_views(tmp_path: Path) -> None:
    pages = PAGES + "B14_0006.tif,f. 1r,foldout,,,\n"
    item = record(tmp_path / "item", pages=pages).item
    assert [view.kind for view in item.views if view.label == "f. 1r"] == [FrameKind.PAGE, FrameKind.FOLDOUT]


def test_targets_and_flats_are_frames_and_no_views(tmp_path: Path) -> None:
    item = record(tmp_path / "item").item
    assert [str(frame.file) for frame in item.frames_of(FrameKind.TARGET)] == ["B14_T001.tif"]
    assert [view.order for view in item.views] == [1, 2, 3, 4, 5]
    assert all(view.kind.is_reading_matter for view in item.views)


def test_a_label_without_a_file_is_a_view_that_was_not_captured(tmp_path: Path) -> None:
    pages = changed(PAGES, "B14_0004.tif,f. 2r", ",f. 2r")
    item = record(tmp_path / "item", pages=pages).item
    view = item.views[3]
    assert (view.label, view.identifier, view.is_captured) == ("f. 2r", "f-2r", False)
    assert item.frames[3].file is None


def test_labels_are_compared_without_regard_to_blanks_and_coding(tmp_path: Path) -> None:
    """é in one code point and in two, several blanks and one: the same label."""
    pages = PAGES + "B14_0006.tif,Le\u0301on  r,,,,\nB14_0007.tif,Léon r,,,raking,\n"
    item = record(tmp_path / "item", pages=pages).item
    assert [len(view.frames) for view in item.views if view.label == "Léon r"] == [2]


names = st.lists(
    st.from_regex(r"[a-cA-C éx.-]{1,4}(/[a-c.-]{1,3})?\.(tif|jp2)", fullmatch=True).filter(
        lambda name: not any(part in (".", "..") for part in name.split("/"))
    ),
    min_size=1,
    max_size=8,
    unique=True,
)


labels = st.lists(st.sampled_from(["f. 1r", "f. 1v", "canvas", "a", "é"]), unique=True, max_size=4)


@given(names, labels)
def test_identifiers_are_unique_and_safe_and_do_not_depend_on_the_order_of_rows(
    files: list[str], uncaptured: list[str]
) -> None:
    frames = make_frames(*_rows(files, uncaptured), ["s1"])
    identifiers = [frame.identifier for frame in frames]
    assert len({each.lower() for each in identifiers}) == len(identifiers)
    assert all(map(is_safe_name, identifiers))
    assert not RESERVED & set(identifiers)
    again = make_frames(*_rows(files[::-1], uncaptured), ["s1"])
    assert {f.file: f.identifier for f in again if f.file} == {f.file: f.identifier for f in frames if f.file}
    views = [view.identifier for view in make_views(frames)]
    assert len(set(views)) == len(views)


def _rows(files: list[str], uncaptured: list[str]) -> tuple[list[Row], dict[int, PurePosixPath]]:
    rows = [
        Row(number=n, cells={"file": name, "label": f"p. {name}"}) for n, name in enumerate(files, start=2)
    ]
    rows += [Row(number=100 + n, cells={"label": label}) for n, label in enumerate(uncaptured)]
    return rows, {row.number: PurePosixPath(row.get("file")) for row in rows if row.get("file")}


def test_names_that_documents_use_are_not_given_to_frames() -> None:
    rows = [Row(number=2, cells={"file": "Manifest.tif", "label": "f. 1r"})]
    frames = make_frames(rows, {2: PurePosixPath("Manifest.tif")}, [])
    assert frames[0].identifier == "Manifest-2"


def test_sub_folders_are_joined_into_the_identifier(tmp_path: Path) -> None:
    pages = HEADER + "day 1/0001.tif,f. 1r\nday 2/0001.tif,f. 1v\n"
    frames = record(tmp_path / "item", pages=pages).item.frames
    assert [frame.identifier for frame in frames] == ["day-1-0001", "day-2-0001"]


def test_a_long_name_is_cut_and_still_its_own() -> None:
    """Forty letters of another script take more than 255 bytes when they are spelled out."""
    names = ["مخطوطة" * 12 + end for end in "ab"]
    rows = [
        Row(number=n, cells={"file": f"{name}.tif", "label": name}) for n, name in enumerate(names, start=2)
    ]
    files = {row.number: PurePosixPath(row.get("file")) for row in rows}
    identifiers = [frame.identifier for frame in make_frames(rows, files, [])]
    assert len(set(identifiers)) == 2
    assert all(is_safe_name(each) and len(each) <= LONGEST for each in identifiers)


def test_a_taken_name_gets_a_number() -> None:
    taken: set[str] = set()
    assert [unique(name, taken) for name in ("a", "A", "a-2", "a")] == ["a", "A-2", "a-2-2", "a-3"]
