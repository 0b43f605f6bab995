"""Reference values: editions as published, and targets as laboratories measured them."""

from __future__ import annotations

import datetime
import random

import numpy as np
import pytest

from pipeline.errors import SettingsError
from pipeline.measure import references
from pipeline.measure.colour import chroma, ciede2000, statistics
from pipeline.measure.profile import xyz_of_lab
from pipeline.measure.references import NEUTRALS, Reference, editions, load, read_measured

HEAD = """CGATS.17
ORIGINATOR "Harrow Bridge laboratory"
DESCRIPTOR "24-patch colour target no. 0417"
CREATED "2025-03-14"
INSTRUMENTATION "spectrophotometer, 45:0, M1"
WEIGHTING_FUNCTION "ILLUMINANT, D50"
WEIGHTING_FUNCTION "OBSERVER, 2 degree"
BEGIN_DATA_FORMAT
SAMPLE_ID SAMPLE_NAME LAB_L LAB_A LAB_B STDEV_L
END_DATA_FORMAT
BEGIN_DATA
"""


def rows(reference: Reference, *, shift: float = 0.4, lift: float = 0) -> list[str]:
    labs = reference.array + [lift, 0, 0] + shift * np.random.default_rng(4).uniform(-1, 1, (24, 3))
    return [f"{n} P{n} {lab[0]:.3f} {lab[1]:.3f} {lab[2]:.3f} 0.1" for n, lab in enumerate(labs, 1)]


def measured(listed: list[str], head: str = HEAD) -> Reference:
    return read_measured((head + "\n".join(listed) + "\nEND_DATA\n").encode(), name="0417.txt")


# ------------------------------------------------------------------------------------------ editions


def test_editions_differ_as_published() -> None:
    """Mean, 90th percentile, largest, and which patch: computed from the published averages."""
    after, before = editions()
    found = statistics(ciede2000(after.array, before.array))
    assert found.mean == pytest.approx(0.85, abs=0.005)
    assert found.percentile_90 == pytest.approx(1.35, abs=0.005)
    assert found.maximum == pytest.approx(1.95, abs=0.005)
    assert after.names[found.worst] == "white 9.5"


def test_the_default_is_the_edition_made_now() -> None:
    assert editions()[0] == load() == load(references.DEFAULT)
    assert "since November 2014" in load().title
    assert not load().is_measured


@pytest.mark.parametrize("name", references.names())
def test_each_edition_has_24_patches_and_six_greys_from_white_to_black(name: str) -> None:
    labs = load(name).array
    assert labs.shape == (24, 3)
    assert len(set(load(name).names)) == 24
    neutrals = labs[list(NEUTRALS)]
    assert (np.diff(neutrals[:, 0]) < -10).all()
    assert chroma(neutrals).max() < 4
    assert (chroma(labs[:18]) > 15).all()


def test_an_edition_that_is_not_known_is_refused_with_those_that_are() -> None:
    with pytest.raises(SettingsError, match="24-patch-since-2014-11"):
        load("24-patch-2031")


# ------------------------------------------------------------------------------------ measured targets


def test_a_measured_target_is_read_with_all_that_is_said_of_it() -> None:
    reference = measured(rows(load()))
    assert np.abs(reference.array - load().array).max() < 0.41
    assert reference.is_measured
    assert reference.title == "measurement of the target: 24-patch colour target no. 0417"
    assert "Harrow Bridge" in reference.source
    assert (reference.created, reference.condition) == (datetime.date(2025, 3, 14), "M1")
    assert reference.remarks == ()


@pytest.mark.parametrize("edition", references.names())
def test_patches_are_matched_by_colour_in_whatever_order_they_stand(edition: str) -> None:
    listed = rows(load(edition))
    shuffled = random.Random(7).sample(listed, 24)
    assert measured(shuffled).labs == measured(listed).labs


def test_xyz_and_xyy_are_taken_in_per_cent_and_in_shares() -> None:
    labs = rows(load(), shift=0)
    wanted = measured(labs).array
    for scale in (1, 100):
        xyz = scale * xyz_of_lab(load().array)
        head = HEAD.replace("LAB_L LAB_A LAB_B STDEV_L", "XYZ_X XYZ_Y XYZ_Z")
        listed = [f"{n} P {x:.8f} {y:.8f} {z:.8f}" for n, (x, y, z) in enumerate(xyz)]
        assert measured(listed, head).array == pytest.approx(wanted, abs=1e-3)
        total = xyz.sum(axis=1)
        head = HEAD.replace("LAB_L LAB_A LAB_B STDEV_L", "XYY_X XYY_Y XYY_CAPY")
        listed = [
            f"{n} P {x / t:.9f} {y / t:.9f} {y:.8f}"
            for n, ((x, y, _), t) in enumerate(zip(xyz, total, strict=True))
        ]
        found = measured(listed, head)
        assert found.array == pytest.approx(wanted, abs=1e-3)
        assert any("has no L*a*b*" in remark for remark in found.remarks)


@pytest.mark.parametrize(
    ("said", "found"),
    [
        ('WEIGHTING_FUNCTION "ILLUMINANT, D65"', "D65"),
        ('WEIGHTING_FUNCTION "OBSERVER, 10 degree"', "10°"),
        ('MEASUREMENT_SOURCE "Illumination=D65 ObserverAngle=10° Filter=none"', "D65"),
        ('ILLUMINATION_NAME "D65"', "D65"),
    ],
)
def test_another_light_or_observer_is_refused(said: str, found: str) -> None:
    with pytest.raises(SettingsError, match=found):
        measured(rows(load()), HEAD.replace("BEGIN_DATA_FORMAT", f"{said}\nBEGIN_DATA_FORMAT", 1))


def test_what_the_file_does_not_say_is_remarked_upon() -> None:
    head = HEAD.replace("WEIGHTING_FUNCTION", "WEIGHT").replace(", M1", "")
    remarks = measured(rows(load()), head).remarks
    assert any("light and observer" in remark for remark in remarks)
    assert any("measurement condition" in remark for remark in remarks)


def test_a_target_far_from_nominal_is_remarked_upon() -> None:
    (remark,) = measured(rows(load(), lift=4.5)).remarks
    assert "is it the file of this target?" in remark


@pytest.mark.parametrize(
    ("written", "date"),
    [
        ("2025-03-14T10:20:00", datetime.date(2025, 3, 14)),
        ("14.03.2025", datetime.date(2025, 3, 14)),
        ("March 14, 2025 10:20", datetime.date(2025, 3, 14)),
        ("03/04/2025", None),
        ("last spring", None),
    ],
)
def test_dates_are_read_where_day_and_month_are_sure(written: str, date: datetime.date | None) -> None:
    assert measured(rows(load()), HEAD.replace("2025-03-14", written)).created == date


def test_two_rows_of_one_colour_are_refused_with_their_lines() -> None:
    listed = rows(load())
    with pytest.raises(SettingsError, match=r"line 14: found light skin a second time \(first in line 13\)"):
        measured([listed[0], listed[1], listed[1], *listed[3:]])


def test_a_colour_between_two_patches_is_refused() -> None:
    listed = rows(load(), shift=0)
    listed[20] = "21 P21 58.8 -0.4 0.0 0.1"
    with pytest.raises(SettingsError, match="a colour between neutral"):
        measured(listed)


@pytest.mark.parametrize("count", [0, 23, 48])
def test_a_file_of_another_target_is_refused(count: int) -> None:
    with pytest.raises(SettingsError, match=f"{count} rows"):
        measured((rows(load()) * 2)[:count])


def test_a_file_of_spectra_alone_is_refused_with_what_is_wanted() -> None:
    head = HEAD.replace("LAB_L LAB_A LAB_B STDEV_L", "NM400 NM410")
    with pytest.raises(SettingsError, match="LAB_L, LAB_A and LAB_B"):
        measured(["1 P1 0.1 0.2"], head)
