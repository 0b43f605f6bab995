from __future__ import annotations

import dataclasses
import datetime as dt
from dataclasses import FrozenInstanceError, replace
from fractions import Fraction
from pathlib import PurePosixPath

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline import model
from pipeline.model import (
    Algorithm,
    Fixity,
    Frame,
    FrameKind,
    IccFacts,
    LanguageMap,
    Light,
    LightKind,
    MasterFacts,
    MasterFormat,
    Rational,
    ResolutionUnit,
    Section,
    Session,
    StoredFile,
)
from tests import make_bags

VALUES = tuple(
    each for each in vars(model).values() if dataclasses.is_dataclass(each) and isinstance(each, type)
)


@pytest.mark.parametrize("kind", VALUES)
def test_every_value_is_frozen_and_says_what_it_means(kind: type) -> None:
    assert hasattr(kind, "__slots__")
    assert kind.__dataclass_params__.frozen  # type: ignore[attr-defined]
    assert not (kind.__doc__ or "").startswith(
        f"{kind.__name__}("
    )  # what dataclass makes up if there is none


def test_a_value_cannot_be_changed() -> None:
    with pytest.raises(FrozenInstanceError):
        Light().qualifier = "left"  # type: ignore[misc]


def test_targets_and_flats_are_not_reading_matter() -> None:
    others = {kind for kind in FrameKind if not kind.is_reading_matter}
    assert others == {FrameKind.TARGET, FrameKind.FLAT}


@pytest.mark.parametrize(
    ("light", "text"),
    [
        (Light(), "normal"),
        (Light(kind=LightKind.RAKING, qualifier="left"), "raking left"),
        (Light(kind=LightKind.INFRARED, qualifier="940 nm"), "infrared 940 nm"),
    ],
)
def test_light_is_written_as_in_the_page_list(light: Light, text: str) -> None:
    assert str(light) == text


# ------------------------------------------------------------------------------ language and fixity

TITLE = LanguageMap((("la", ("Herbarium", "Kalendarium")), ("en", ("Herbal",)), ("de", ())))


def test_the_first_text_is_that_of_the_first_language() -> None:
    assert TITLE.first == "Herbarium"
    assert LanguageMap().first == ""
    assert LanguageMap((("de", ()), ("en", ("Herbal",)))).first == "Herbal"


@pytest.mark.parametrize(
    ("languages", "text"),
    [(("en",), "Herbal"), (("de", "en"), "Herbal"), (("fr",), "Herbarium"), ((), "Herbarium")],
)
def test_the_best_text_is_in_the_first_language_that_there_is(languages: tuple[str, ...], text: str) -> None:
    assert TITLE.best(*languages) == text


def test_a_map_without_text_is_false() -> None:
    assert TITLE
    assert not LanguageMap()
    assert not LanguageMap((("en", ()),))
    assert not LanguageMap.of("")
    assert LanguageMap((("la", ("",)), ("en", ("", "Herbal"))))


def test_a_stored_file_knows_its_digests() -> None:
    fixity = (Fixity(Algorithm.SHA512, "ab"), Fixity(Algorithm.MD5, "cd"))
    stored = StoredFile(path=PurePosixPath("a"), size_bytes=1, fixity=fixity, media_type="image/tiff")
    assert stored.digest(Algorithm.MD5) == "cd"
    with pytest.raises(KeyError):
        stored.digest(Algorithm.SHA256)


# -------------------------------------------------------------------------------------------- items


def _frame(name: str, kind: FrameKind, *, is_captured: bool = True) -> Frame:
    file = PurePosixPath(f"{name}.tif") if is_captured else None
    return Frame(identifier=name, file=file, label=name, kind=kind, session="s1")


def test_frames_are_picked_by_kind_and_only_captured_ones() -> None:
    frames = (
        _frame("a", FrameKind.PAGE),
        _frame("b", FrameKind.TARGET),
        _frame("c", FrameKind.PAGE, is_captured=False),
        _frame("d", FrameKind.COVER),
    )
    item = replace(make_bags.ITEM, frames=frames)
    assert [each.identifier for each in item.frames_of()] == ["a", "b", "d"]
    assert [each.identifier for each in item.frames_of(FrameKind.PAGE, FrameKind.COVER)] == ["a", "d"]


def test_an_item_is_called_by_shelfmark_and_title_but_not_twice_by_the_shelfmark() -> None:
    item = replace(make_bags.ITEM, shelfmark="MS 7")
    assert [item.called(title) for title in ("Herbal", "MS 7", "")] == ["MS 7: Herbal", "MS 7", "MS 7"]


def test_sessions_and_equipment_are_found_by_their_ids() -> None:
    session = Session(identifier="s1", date=dt.date(2026, 3, 9))
    item = replace(make_bags.ITEM, sessions=(session,))
    assert item.session("s1") is session
    assert item.session("s2") is None
    assert make_bags.SETTINGS.owned("camera-2") is None


def _section(name: str, *subsections: Section) -> Section:
    return Section(identifier=name, label=LanguageMap.of(name), views=(), subsections=subsections)


def test_every_section_comes_before_its_subsections() -> None:
    sections = (_section("1", _section("1.1", _section("1.1.1")), _section("1.2")), _section("2"))
    item = replace(make_bags.ITEM, sections=sections)
    assert [each.identifier for each in item.all_sections] == ["1", "1.1", "1.1.1", "1.2", "2"]


# ------------------------------------------------------------------------------------------ masters

FACTS = MasterFacts(
    format=MasterFormat.TIFF,
    media_type="image/tiff",
    size_bytes=1,
    width_px=300,
    height_px=200,
    bits_per_sample=(16, 16, 16),
    photometric="RGB",
    compression="Uncompressed",
)


def test_the_size_that_is_seen_follows_the_orientation() -> None:
    """TIFF 6.0, Orientation: 5 to 8 turn rows into columns."""
    for orientation in range(1, 9):
        seen = replace(FACTS, orientation=orientation).displayed_size_px
        assert seen == ((300, 200) if orientation < 5 else (200, 300))


def test_samples_are_counted() -> None:
    assert (FACTS.samples_per_pixel, FACTS.is_grey) == (3, False)
    grey = replace(FACTS, bits_per_sample=(16,))
    assert (grey.samples_per_pixel, grey.is_grey) == (1, True)


def _resolution(unit: ResolutionUnit, x: Rational | None, y: Rational | None) -> MasterFacts:
    return replace(FACTS, resolution_unit=unit, x_resolution=x, y_resolution=y)


def test_pixels_per_inch_come_from_either_unit() -> None:
    inch = _resolution(ResolutionUnit.INCH, Rational(numerator=600), Rational(numerator=1200, denominator=2))
    assert inch.ppi == (600.0, 600.0)
    metric = _resolution(ResolutionUnit.CENTIMETRE, Rational(numerator=100), Rational(numerator=200))
    assert metric.ppi == pytest.approx((254.0, 508.0))


def test_the_long_edge_is_that_of_the_object() -> None:
    """300 × 200 pixels, 600 ppi across and 200 down: half an inch wide, an inch high."""
    assert _resolution(
        ResolutionUnit.INCH, Rational(numerator=600), Rational(numerator=200)
    ).long_edge_mm == pytest.approx(25.4)
    assert FACTS.long_edge_mm is None


@pytest.mark.parametrize(
    ("unit", "x"),
    [
        (ResolutionUnit.NONE, Rational(numerator=600)),
        (ResolutionUnit.INCH, None),
        (ResolutionUnit.INCH, Rational(numerator=0)),
        (ResolutionUnit.INCH, Rational(numerator=600, denominator=0)),
    ],
)
def test_a_resolution_that_says_nothing_is_none(unit: ResolutionUnit, x: Rational | None) -> None:
    assert _resolution(unit, x, Rational(numerator=600)).ppi is None


@given(st.integers(0, 2**32 - 1), st.integers(0, 2**32 - 1))
def test_a_rational_is_exact(numerator: int, denominator: int) -> None:
    value = Rational(numerator=numerator, denominator=denominator).value
    assert value == (Fraction(numerator, denominator) if denominator else None)


def test_profiles_are_told_apart_by_their_bytes() -> None:
    one = IccFacts(
        description="Wide",
        version="4.4.0",
        device_class="mntr",
        colour_space="RGB",
        connection_space="XYZ",
        size_bytes=1,
        sha256="a",
    )
    assert one != replace(one, sha256="b")
