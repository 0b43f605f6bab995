"""Receipts: what is written comes back equal, and what cannot be read counts as none."""

from __future__ import annotations

import dataclasses
import datetime as dt
import enum
import json
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path, PurePosixPath

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pipeline import receipts
from pipeline.model import (
    Algorithm,
    CaptureFacts,
    Fixity,
    FrameRecord,
    MasterFacts,
    MasterFormat,
    Rational,
    StoredFile,
)


class Colour(enum.StrEnum):
    RED = "red"
    GREEN = "green"


@dataclass(frozen=True, slots=True, kw_only=True)
class Inner:
    text: str
    number: int
    share: float
    fraction: Fraction | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Outer:
    inner: tuple[Inner, ...]
    colour: Colour
    path: PurePosixPath
    when: dt.datetime
    day: dt.date | None
    pair: tuple[str, int]
    flag: bool


inner = st.builds(
    Inner,
    text=st.text(),
    number=st.integers(),
    share=st.floats(allow_nan=False, allow_infinity=False),
    fraction=st.none() | st.fractions(),
)
outer = st.builds(
    Outer,
    inner=st.lists(inner, max_size=3).map(tuple),
    colour=st.sampled_from(Colour),
    path=st.sampled_from([PurePosixPath("a/b.tif"), PurePosixPath("ü %.tif")]),
    when=st.datetimes(timezones=st.just(dt.UTC)),
    day=st.none() | st.dates(),
    pair=st.tuples(st.text(), st.integers()),
    flag=st.booleans(),
)


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(outer)
def test_what_is_written_is_what_is_read(tmp_path: Path, value: Outer) -> None:
    receipts.write(value, tmp_path / "receipt.json")
    assert receipts.read(Outer, tmp_path / "receipt.json") == value


RECORD = FrameRecord(
    frame="B14_0001",
    master=StoredFile(
        path=PurePosixPath("B14_0001.tif"),
        size_bytes=7,
        fixity=(Fixity(Algorithm.SHA512, "0" * 128),),
        media_type="image/tiff",
    ),
    facts=MasterFacts(
        format=MasterFormat.TIFF,
        media_type="image/tiff",
        size_bytes=7,
        width_px=1,
        height_px=1,
        bits_per_sample=(16, 16, 16),
        photometric="RGB",
        compression="LZW",
        x_resolution=Rational(numerator=600),
        ycbcr_subsampling=(2, 2),
        capture=CaptureFacts(exposure_time_s=Fraction(1, 125)),
    ),
    pixel_digest="1" * 64,
    read_at=dt.datetime(2026, 3, 10, tzinfo=dt.UTC),
)


def test_a_frame_record_survives(tmp_path: Path) -> None:
    receipts.write(RECORD, tmp_path / "r.json")
    assert receipts.read(FrameRecord, tmp_path / "r.json") == RECORD


@pytest.mark.parametrize(
    "content",
    [b"", b"{", b"[]", b"null", b'"text"', b'{"frame": "a"}', b"\xff\xfe", json.dumps({"x": 1}).encode()],
)
def test_a_broken_receipt_is_no_receipt(content: bytes, tmp_path: Path) -> None:
    (tmp_path / "r.json").write_bytes(content)
    assert receipts.read(FrameRecord, tmp_path / "r.json") is None


def test_a_receipt_of_another_version_is_no_receipt(tmp_path: Path) -> None:
    document = receipts.to_json(RECORD)
    without = {key: value for key, value in document.items() if key != "assumed_profile"}  # has a default
    for other in (document | {"added_later": 1}, without):
        (tmp_path / "r.json").write_text(json.dumps(other))
        assert receipts.read(FrameRecord, tmp_path / "r.json") is None
    assert receipts.read(FrameRecord, tmp_path / "absent.json") is None


def test_keys_tell_values_apart() -> None:
    other = dataclasses.replace(RECORD, pixel_digest="2" * 64)
    assert receipts.key_of(RECORD) == receipts.key_of(dataclasses.replace(RECORD))
    assert receipts.key_of(RECORD) != receipts.key_of(other)
    assert receipts.key_of("a", "b") != receipts.key_of("ab")
    assert receipts.key_of("caf\udce9") != receipts.key_of("caf\udce8")  # folders whose bytes are no UTF-8


def test_what_has_no_json_form_is_refused() -> None:
    with pytest.raises(TypeError, match="object has no place in a receipt"):
        receipts.to_json(object())
