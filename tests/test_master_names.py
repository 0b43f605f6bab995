from __future__ import annotations

from pathlib import PurePosixPath

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline import foliation
from pipeline.master_names import common_prefix, guess_pages
from pipeline.model import FrameKind, Light, LightKind

NORMAL = Light()
RAKING_LEFT = Light(kind=LightKind.RAKING, qualifier="left")


def guessed(*names: str) -> list[tuple[str, str, str, str]]:
    guesses = guess_pages([PurePosixPath(name) for name in names])
    return [(str(each.file), each.label, str(each.kind), str(each.light)) for each in guesses]


def labels(*names: str) -> list[str]:
    return [label for _, label, _, _ in guessed(*names)]


@pytest.mark.parametrize(
    ("name", "label"),
    [
        ("B14_001r.tif", "f. 1r"),
        ("B14_0012_r.tif", "f. 12r"),
        ("B14_fol12v.tif", "f. 12v"),
        ("B14_f003v.tif", "f. 3v"),
        ("B14_fol. 3 recto.tif", "f. 3r"),
        ("B14_012bis_r.tif", "f. 12bis r"),
        ("B14_012a_v.tif", "f. 12a v"),
        ("B14_f_ii_v.tif", "f. ii v"),
        ("B14_f007.tif", "f. 7"),
        ("B14-p034.tif", "p. 34"),
        ("B14_page_iv.tif", "p. iv"),
        ("B14_001v-002r.tif", "ff. 1v–2r"),
        ("B14_p034-035.tif", "pp. 34–35"),
    ],
)
def test_foliation_and_pagination_are_read_from_names(name: str, label: str) -> None:
    rows = guessed(name, *(f"B14{name[3]}{other}.tif" for other in ("900r", "T001")))
    assert (name, label, "opening" if "–" in label else "page", "normal") in rows
    assert len([row for row in rows if row[2] == "target"]) == 1


@pytest.mark.parametrize(
    ("name", "label", "kind"),
    [
        ("B14_front_cover.tif", "front cover", "cover"),
        ("B14_CoverBack.tif", "back cover", "cover"),
        ("B14_upper-board.tif", "front cover", "cover"),
        ("B14_inside_front_cover.tif", "front pastedown", "page"),
        ("B14_pastedown_back.tif", "back pastedown", "page"),
        ("B14_front_flyleaf_i_r.tif", "front flyleaf i r", "page"),
        ("B14_flyleaf-back-02v.tif", "back flyleaf ii v", "page"),
        ("B14_spine.tif", "spine", "spine"),
        ("B14_fore-edge.tif", "fore-edge", "edge"),
        ("B14_head.tif", "head edge", "edge"),
        ("B14_tail_edge.tif", "tail edge", "edge"),
        ("B14_012r_foldout.tif", "f. 12r", "foldout"),
        ("B14_012r_folded.tif", "f. 12r (folded)", "page"),
        ("B14_012r_detail_02.tif", "f. 12r, detail 2", "detail"),
        ("B14_colour-target.tif", "", "target"),
        ("B14_T001.tif", "", "target"),
        ("B14_24_patch.tif", "", "target"),
        ("targets/B14_0001.tif", "", "target"),
        ("B14_flat.tif", "", "flat"),
        ("B14_white-field_2.tif", "", "flat"),
    ],
)
def test_parts_of_the_binding_targets_and_flats_are_known_by_their_words(
    name: str, label: str, kind: str
) -> None:
    others = ("B14_900r.tif", "B14_900v.tif")
    assert (name, label, kind, "normal") in guessed(name, *others)


@pytest.mark.parametrize(
    ("name", "light"),
    [
        ("x_001r_raking.tif", "raking"),
        ("x_001r_raking_left.tif", "raking left"),
        ("x_001r_rak_r.tif", "raking right"),
        ("x_001r_uv.tif", "ultraviolet"),
        ("x_001r_UV365nm.tif", "ultraviolet 365 nm"),
        ("x_001r_ir940.tif", "infrared 940 nm"),
        ("x_001r_IR_940nm.tif", "infrared 940 nm"),
        ("x_001r_transmitted.tif", "transmitted"),
        ("x_001r_normal.tif", "normal"),
        ("raking/x_001r.tif", "raking"),
    ],
)
def test_lights_are_known_by_their_words(name: str, light: str) -> None:
    assert (name, "f. 1r", "page", light) in guessed(name, "x_002r.tif")


def test_a_tablet_has_faces_in_the_order_of_turning_it() -> None:
    names = ("obverse", "reverse", "top_edge", "bottom_edge", "left_edge", "right_edge")
    rows = guessed(*(f"T12_{name}.tif" for name in names))
    assert [(label, kind) for _, label, kind, _ in rows] == [
        ("obverse", "face"),
        ("lower edge", "face"),
        ("reverse", "face"),
        ("upper edge", "face"),
        ("left edge", "face"),
        ("right edge", "face"),
    ]


def test_the_binding_surrounds_the_text_and_targets_come_last() -> None:
    names = ["T001", "back_cover", "001v", "spine", "front_cover", "012bis_r", "012v", "001r", "012r", "flat",
             "front_pastedown", "back_flyleaf_i_r", "f_i_r", "back_pastedown"]  # fmt: skip
    assert labels(*(f"B14_{name}.tif" for name in names)) == [
        *("front cover", "front pastedown", "f. i r", "f. 1r", "f. 1v", "f. 12r", "f. 12v", "f. 12bis r"),
        *("back flyleaf i r", "back pastedown", "back cover", "spine", "", ""),
    ]


def test_numbered_names_keep_their_order_whatever_they_say() -> None:
    names = ("0001_target", "0002_front-cover", "0003_f003r", "0004_f002r", "0010_f004r")
    assert labels(*(f"{name}.tif" for name in names)) == ["", "front cover", "f. 3r", "f. 2r", "f. 4r"]


def test_names_that_say_nothing_are_numbered_and_lights_share_the_number() -> None:
    rows = guessed("MS_0001.tif", "MS_0010.tif", "MS_0009.tif", "MS_0009_uv.tif")
    assert [(label, light) for _, label, _, light in rows] == [
        ("1", "normal"),
        ("2", "normal"),
        ("2", "ultraviolet"),
        ("3", "normal"),
    ]


def test_letters_in_folders_of_their_own_are_told_apart_by_folder() -> None:
    rows = labels("letter01/001r.tif", "letter02/001r.tif", "letter01/001v.tif")
    assert rows == ["letter01, f. 1r", "letter01, f. 1v", "letter02, f. 1r"]


@pytest.mark.parametrize(
    ("names", "prefix"),
    [
        (("B14_0001", "B14_0002", "B14_T001"), "B14_"),
        (("MS_B_14_001r", "MS_B_14_001v", "target"), "MS_B_14_"),
        (("B14_001r_raking", "B14_001r_uv"), "B14_"),
        (("x_0012_r", "x_0012_v"), "x_"),
        (("album_page_12", "album_page_13"), "album_"),
        (("T12_obverse", "T12_reverse"), "T12_"),
        (("0001", "0002"), ""),
        (("one",), ""),
        (("a b-1r",), "a b-"),
    ],
)
def test_the_common_part_of_names_ends_before_what_tells_leaves_apart(
    names: tuple[str, ...], prefix: str
) -> None:
    assert common_prefix([PurePosixPath(f"{name}.tif") for name in names]) == prefix


prefixes = st.sampled_from(["", "B14_", "MS-B-14-", "Ald_Pap_7_", "alb.", "Hs 12 "])
spellings = st.sampled_from(
    ["{n:03}{s}", "{n:04}_{s}", "f{n:03}{s}", "fol{n}{s}", "fol_{n}_{s}", "f.{n} {s}"]
)


@given(prefixes, spellings, st.integers(1, 120), st.integers(2, 30), st.randoms())
def test_every_spelling_of_a_foliation_gives_the_leaves_in_order(
    prefix: str, spelling: str, first: int, count: int, random: st.DataObject
) -> None:
    leaves = [(n, s) for n in range(first, first + count) for s in "rv"]
    names = [PurePosixPath(f"{prefix}{spelling.format(n=n, s=s)}.tif") for n, s in leaves]
    random.shuffle(names)  # type: ignore[attr-defined]
    guesses = guess_pages(names)
    assert [guess.label for guess in guesses] == [f"f. {n}{s}" for n, s in leaves]
    assert foliation.out_of_order([guess.label for guess in guesses]) == ()


@given(st.lists(st.text("abfprv0123_- .", min_size=1, max_size=12), max_size=8, unique=True))
def test_whatever_the_names_each_gets_one_row_and_no_two_are_alike(stems: list[str]) -> None:
    names = [PurePosixPath(f"{stem}.tif") for stem in stems if stem.strip(". ")]
    guesses = guess_pages(names)
    assert sorted(str(guess.file) for guess in guesses) == sorted(map(str, names))
    shown = [(guess.label, guess.kind, guess.light) for guess in guesses if guess.kind.is_reading_matter]
    assert all(label for label, _, _ in shown)
    assert len(set(shown)) == len(shown)
    assert guess_pages(names[::-1]) == guesses


def test_lights_are_values() -> None:
    guess = guess_pages([PurePosixPath("x_001r_raking_left.tif"), PurePosixPath("x_001v.tif")])
    assert [each.light for each in guess] == [RAKING_LEFT, NORMAL]
    assert all(each.kind is FrameKind.PAGE for each in guess)
