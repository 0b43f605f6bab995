"""Contact sheets of a sample: pages of A4 with a place for each frame's picture and two boxes to tick.

Frames have the numbers that they have in the form of the bundle's report. Pictures are given by the caller
and are held in the page: it needs nothing beside it, and no script.
"""

from __future__ import annotations

import base64
import datetime as dt
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from pipeline import html
from pipeline.files import visible
from pipeline.report import TEMPLATES
from pipeline.report.verification import moment, shown
from pipeline.verdict import Sample

PER_ROW = range(2, 6)
"""How many frames may stand in a row, so that pictures can be judged and names be read."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """One frame on a sheet."""

    number: int
    """In the whole sample, from 1."""
    name: str
    label: str
    picture: str
    """A data URI; empty if there is no picture."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """What is printed on one page."""

    number: int
    places: tuple[Place, ...]

    @property
    def numbers(self) -> str:
        """``frames 17 to 32``."""
        first, last = self.places[0].number, self.places[-1].number
        return f"frame {first}" if first == last else f"frames {first} to {last}"


def page(
    sample: Sample,
    thumbnails: Mapping[str, bytes],
    *,
    name: str,
    made_by: str,
    now: dt.datetime,
    labels: Mapping[str, str] | None = None,
    per_row: int = 4,
) -> bytes:
    """Return the contact sheets of a sample as one HTML page in UTF-8.

    `thumbnails` has JPEG files by the frames' paths; for a frame without one an empty field is printed.
    `labels` are foliation or pagination by path, `name` is the bundle's. A sheet has as many rows as a row
    has frames. Raises ValueError for a number of frames in a row that is not in `PER_ROW`.
    """
    if per_row not in PER_ROW:
        raise ValueError(f"{per_row} frames in a row, not {PER_ROW[0]} to {PER_ROW[-1]}")
    places = list(_places(sample.frames, thumbnails, labels or {}))
    template = html.environment(TEMPLATES, visible).get_template("contact_sheets.html.j2")
    return template.render(
        sheets=list(_sheets(places, per_row * per_row)),
        sample=sample,
        name=shown(name),
        per_row=per_row,
        made=moment(now.isoformat(timespec="seconds")),
        made_by=made_by,
    ).encode()


def _sheets(places: Sequence[Place], most: int) -> Iterator[Sheet]:
    for number, at in enumerate(range(0, len(places), most), start=1):
        yield Sheet(number=number, places=tuple(places[at : at + most]))


def _places(
    frames: Sequence[str], thumbnails: Mapping[str, bytes], labels: Mapping[str, str]
) -> Iterator[Place]:
    names = Counter(_last(frame) for frame in frames)
    for number, frame in enumerate(frames, start=1):
        is_alone = names[_last(frame)] == 1
        yield Place(
            number=number,
            name=shown(_last(frame) if is_alone else frame),
            label=shown(labels.get(frame, "")),
            picture=_data_uri(thumbnails.get(frame, b"")),
        )


def _last(path: str) -> str:
    return path.rpartition("/")[2] or path


def _data_uri(jpeg: bytes) -> str:
    """RFC 2397."""
    return f"data:image/jpeg;base64,{base64.b64encode(jpeg).decode()}" if jpeg else ""
