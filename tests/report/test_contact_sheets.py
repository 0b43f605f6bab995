"""Contact sheets: every frame of the sample once, with its number, its picture and boxes to tick."""

from __future__ import annotations

import base64
import io
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image

from pipeline.report import contact_sheets
from pipeline.verdict import Sample
from tests.report.verdicts import HOSTILE, MADE_BY, NOW, SAMPLE, SHOWN, Outline, outline

NAME = "msb-014-preservation"


def jpeg(grey: int) -> bytes:
    data = io.BytesIO()
    Image.new("L", (24, 32), grey).save(data, "JPEG")
    return data.getvalue()


THUMBNAILS = {frame: jpeg(number) for number, frame in enumerate(SAMPLE.frames)}


def page(sample: Sample = SAMPLE, **changes: object) -> Outline:
    return outline(made(sample, **changes))


def made(sample: Sample = SAMPLE, **changes: object) -> bytes:
    given: dict[str, object] = {"name": NAME, "made_by": MADE_BY, "now": NOW} | changes
    return contact_sheets.page(sample, THUMBNAILS, **given)  # type: ignore[arg-type]


def test_every_frame_has_its_picture_in_order_and_nothing_comes_from_outside() -> None:
    found = page()
    assert found.links == []
    heads = [source[: len("data:image/jpeg;base64,")] for source in found.sources]
    assert heads == ["data:image/jpeg;base64,"] * 50
    pictures = [base64.b64decode(source.partition(",")[2]) for source in found.sources]
    assert pictures == [THUMBNAILS[frame] for frame in SAMPLE.frames]


def test_every_frame_has_its_number_its_name_its_label_and_two_boxes() -> None:
    labels = {frame: f"f. {number}r" for number, frame in enumerate(SAMPLE.frames, start=1)}
    found = page(labels=labels)
    text = " ".join(found.text.split())
    for number, frame in enumerate(SAMPLE.frames, start=1):
        assert f"{number} f. {number}r {frame.rpartition('/')[2]} conformsdoes not" in text
    assert found.elements.count("input") == 50 * 3 + 4 * 3


def test_frames_of_one_name_in_two_folders_are_told_by_their_paths() -> None:
    text = page(replace(SAMPLE, frames=("a/1.tif", "b/1.tif", "b/2.tif"))).text
    assert "a/1.tif" in text
    assert "b/1.tif" in text
    assert "b/2.tif" not in text


@pytest.mark.parametrize(
    ("per_row", "last"),
    [(2, "Sheet 13 of 13 · frames 49 to 50 of 50"), (4, "Sheet 4 of 4 · frames 49 to 50 of 50")],
)
def test_sheets_are_numbered_and_have_as_many_rows_as_frames_in_a_row(per_row: int, last: str) -> None:
    found = page(per_row=per_row)
    assert last in found.text
    assert f"Sheet 1 of {last.split()[1]} · frames 1 to {per_row**2} of 50" in found.text


def test_a_sheet_of_one_frame_says_so() -> None:
    assert "Sheet 2 of 2 · frame 17 of 17" in page(replace(SAMPLE, frames=SAMPLE.frames[:17])).text


@pytest.mark.parametrize("per_row", [0, 1, 6])
def test_a_row_that_cannot_be_read_is_refused(per_row: int) -> None:
    with pytest.raises(ValueError, match=f"{per_row} frames in a row, not 2 to 5"):
        page(per_row=per_row)


def test_every_sheet_has_the_numbers_of_the_plan_and_who_decides_on_handling() -> None:
    text = page().text
    assert text.count("accepted with 2 nonconforming at most, rejected from 3 on") == 4
    assert text.count("the conservator’s decision") == 4


def test_a_frame_without_a_picture_has_an_empty_place() -> None:
    found = page(replace(SAMPLE, frames=("data/masters/unreadable.tif", *SAMPLE.frames[:3])))
    assert found.text.count("no picture") == 1
    assert len(found.sources) == 3


def test_names_are_escaped_and_what_acts_unseen_is_written_out() -> None:
    one = HOSTILE.replace("/", "")
    found = page(
        replace(SAMPLE, frames=(one,), basis=HOSTILE, seed=HOSTILE), name=HOSTILE, labels={one: HOSTILE}
    )
    assert found.text.count(SHOWN) == 7


@settings(max_examples=40)
@given(st.lists(st.text(st.characters(exclude_categories=[]), max_size=30)))
def test_no_name_breaks_a_sheet(frames: list[str]) -> None:
    page(replace(SAMPLE, frames=tuple(frames)), labels={frame: frame for frame in frames})


def test_the_same_sample_gives_the_same_bytes() -> None:
    assert made() == made()
