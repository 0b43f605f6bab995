"""What pages.csv lists and what lies in the masters' folder have to agree."""

from __future__ import annotations

from pathlib import Path, PurePosixPath

import pytest

from pipeline.errors import ExitStatus, InputError, SettingsError
from pipeline.record import image_files
from tests.record.make_record import ITEM, PAGES, changed, record

NAMES = ["B14_0001.tif", "B14_0002.tif", "B14_0003.tif", "B14_0004.tif", "B14_0005.tif", "B14_T001.tif"]
COMPOSED, TAKEN_APART = "L\u00e9on.tif", "Le\u0301on.tif"
HEADER = "file,label,kind,session,light,note\n"


def test_a_file_that_is_listed_and_missing_is_input_that_is_missing(tmp_path: Path) -> None:
    made = record(tmp_path / "item", masters=NAMES[:4] + NAMES[5:])
    assert str(made.problem) == (
        f'pages.csv, row 6, column "file": found "B14_0005.tif", which is not there, expected a file in '
        f"{made.masters}; put the file there, or leave `file` empty if this view was not captured"
    )
    assert made.error().exit_status is ExitStatus.INPUT


@pytest.mark.parametrize(
    ("there", "advice"),
    [
        ("b14_0005.TIF", 'there is "b14_0005.TIF": write it so, letter case counts'),
        ("B14_0005.tiff", 'there is "B14_0005.tiff": write it so'),
        ("day 2/B14_0005.tif", 'there is "day 2/B14_0005.tif": write it so'),
        ("B14-0005.tif", 'did you mean "B14-0005.tif"?'),
    ],
)
def test_the_file_that_was_evidently_meant_is_named(there: str, advice: str, tmp_path: Path) -> None:
    made = record(tmp_path / "item", masters=[*NAMES[:4], NAMES[5], there])
    assert made.problems[0].advice == advice


def test_a_missing_file_and_another_mistake_are_a_wrong_record(tmp_path: Path) -> None:
    """Exit status 5 says that nothing is wrong but files that are not there."""
    text = changed(ITEM, '"codex"', '"codx"')
    error = record(tmp_path / "item", item=text, masters=NAMES[1:]).error()
    assert isinstance(error, SettingsError)
    assert len(error.problems) == 2


def test_masters_that_are_nowhere_to_be_found_are_told_once(tmp_path: Path) -> None:
    made = record(tmp_path / "item", masters=())
    assert str(made.problem) == (
        f"item.toml, line 1, item, masters: found none of the 6 files that pages.csv lists in "
        f"{made.masters}, "
        "expected the folder of the master images; correct `masters` in item.toml; it is a path from where "
        "item.toml lies"
    )
    made.masters.rmdir()
    assert made.problem.found == f"no such folder: {made.masters}"
    assert isinstance(made.error(), InputError)


def test_of_many_missing_files_the_first_are_named_and_the_rest_counted(tmp_path: Path) -> None:
    pages = HEADER + "".join(f"x{n:03}.tif,f. {n}r\n" for n in range(1, 100))
    problems = record(tmp_path / "item", pages=pages, masters=["x001.tif"]).problems
    assert len(problems) == 21
    assert problems[-1].found == "78 more files that are listed and not there"


def test_an_image_that_is_not_listed_is_told(tmp_path: Path) -> None:
    made = record(tmp_path / "item", masters=[*NAMES, "B14_0006.tif"])
    assert str(made.problem) == (
        f'pages.csv, no row for "B14_0006.tif": found the image in {made.masters}, expected every image '
        f"there to "
        "be listed; add a row for it, or move it out of this folder"
    )
    assert made.error().exit_status is ExitStatus.SETTINGS


def test_of_many_images_without_a_row_the_first_are_named_and_the_rest_counted(tmp_path: Path) -> None:
    problems = record(tmp_path / "item", masters=[*NAMES, *(f"y{n}.tif" for n in range(30))]).problems
    assert len(problems) == 21
    assert problems[-1].found.startswith("10 more images")


@pytest.mark.parametrize("name", ["raw/B14_0001.nef", "B14_0001.DNG", "old.psd", "x.webp", "deep/er/x.JP2"])
def test_raw_and_other_images_have_to_be_listed_too(name: str, tmp_path: Path) -> None:
    made = record(tmp_path / "item", masters=[*NAMES, name])
    assert made.problem.where == f'pages.csv, no row for "{name}"'


def test_hidden_files_and_what_is_no_image_need_no_row(tmp_path: Path) -> None:
    others = [
        "Thumbs.db",
        ".DS_Store",
        "._B14_0001.tif",
        ".cache/x.tif",
        "B14_0001.xmp",
        "notes.txt",
        "a.md5",
    ]
    made = record(tmp_path / "item", masters=[*NAMES, *others])
    assert len(made.item.frames) == 6
    assert image_files(made.masters) == tuple(map(PurePosixPath, NAMES))


def test_a_folder_that_is_not_there_has_no_images(tmp_path: Path) -> None:
    assert image_files(tmp_path / "nowhere") == ()


def test_a_file_that_is_listed_twice_is_told(tmp_path: Path) -> None:
    pages = PAGES + "B14_0002.tif,f. 3r,,,,\n"
    assert str(record(tmp_path / "item", pages=pages).problem) == (
        'pages.csv, row 8, column "file": found "B14_0002.tif", which row 3 lists already, expected each '
        "file once; "
        "remove one of the rows, or correct the name"
    )


def test_names_that_differ_only_by_case_are_told(tmp_path: Path) -> None:
    """On half of the world's file systems they are one file, and one would be lost."""
    pages = PAGES + "b14_0002.TIF,f. 3r,,,,\n"
    assert str(record(tmp_path / "item", pages=pages).problem) == (
        'pages.csv, row 8, column "file": found "b14_0002.TIF", which differs from "B14_0002.tif" in row '
        "3 only by "
        "letter case, expected names that every file system tells apart; rename one of the two files, "
        "and its row"
    )


def test_names_that_differ_only_by_normal_form_are_told(tmp_path: Path) -> None:
    pages = PAGES + f"{COMPOSED},f. 3r,,,,\n{TAKEN_APART},f. 3v,,,,\n"
    problem = record(tmp_path / "item", pages=pages).problem
    assert problem.where == 'pages.csv, row 9, column "file"'
    assert "only in the way an accent is coded (Unicode normal form)" in problem.found


@pytest.mark.parametrize(("listed", "stored"), [(COMPOSED, TAKEN_APART), (TAKEN_APART, COMPOSED)])
def test_a_name_is_found_in_the_form_that_the_disk_has(listed: str, stored: str, tmp_path: Path) -> None:
    """A spreadsheet composes accents, some file systems take them apart; both mean the one file."""
    opened = record(tmp_path / "item", pages=PAGES + f"{listed},f. 3r,,,,\n", masters=[*NAMES, stored]).load()
    file = opened.item.frames[-1].file
    assert str(file) == stored
    assert (opened.masters / stored).is_file()


UNSAFE = {
    "..\\B14_0006.tif": "give the file's name alone",
    "day 2\\B14_0006.tif": 'write "day 2/B14_0006.tif"',
    "./B14_0006.tif": 'write "B14_0006.tif"',
    "../B14_0006.tif": "give the file's name alone",
    "/srv/B14_0006.tif": "give the file's name alone",
    "C:/B14_0006.tif": "give the file's name alone",
    "~/B14_0006.tif": "give the file's name alone",
    "a//B14_0006.tif": "give the file's name alone",
}


@pytest.mark.parametrize("name", UNSAFE)
def test_a_path_that_leaves_the_masters_folder_is_refused(name: str, tmp_path: Path) -> None:
    (tmp_path / "B14_0006.tif").touch()
    problem = record(tmp_path / "item", pages=PAGES + f"{name},f. 3r,,,,\n", masters=NAMES).problem
    assert problem.where == 'pages.csv, row 8, column "file"'
    assert problem.found == f'"{name}"'
    assert problem.advice == UNSAFE[name]


def test_a_file_that_is_listed_with_a_backslash_is_told_once(tmp_path: Path) -> None:
    masters = [*NAMES, "edges/x.tif"]
    problem = record(tmp_path / "item", pages=PAGES + "edges\\x.tif,f. 3r,,,,\n", masters=masters).problem
    assert problem.advice == 'write "edges/x.tif"'


def test_a_link_that_leads_out_of_the_masters_folder_is_not_followed(tmp_path: Path) -> None:
    (tmp_path / "outside.tif").touch()
    made = record(tmp_path / "item", pages=PAGES + "inside.tif,f. 3r,,,,\n", masters=NAMES)
    (made.masters / "inside.tif").symlink_to(tmp_path / "outside.tif")
    assert made.problem.found == '"inside.tif", which is not there'


def test_a_name_too_long_for_the_file_system_is_missing(tmp_path: Path) -> None:
    made = record(tmp_path / "item", pages=PAGES + f"{'x' * 300}.tif,f. 3r,,,,\n", masters=NAMES)
    assert isinstance(made.error(), InputError)
