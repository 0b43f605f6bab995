"""Colour differences against published pairs and closed forms."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.measure.colour import chroma, ciede2000, difference, statistics
from pipeline.measurements import Formula

PAIRS = """
50.0000    2.6772  -79.7751    50.0000    0.0000  -82.7485     2.0425
50.0000    3.1571  -77.2803    50.0000    0.0000  -82.7485     2.8615
50.0000    2.8361  -74.0200    50.0000    0.0000  -82.7485     3.4412
50.0000   -1.3802  -84.2814    50.0000    0.0000  -82.7485     1.0000
50.0000   -1.1848  -84.8006    50.0000    0.0000  -82.7485     1.0000
50.0000   -0.9009  -85.5211    50.0000    0.0000  -82.7485     1.0000
50.0000    0.0000    0.0000    50.0000   -1.0000    2.0000     2.3669
50.0000   -1.0000    2.0000    50.0000    0.0000    0.0000     2.3669
50.0000    2.4900   -0.0010    50.0000   -2.4900    0.0009     7.1792
50.0000    2.4900   -0.0010    50.0000   -2.4900    0.0010     7.1792
50.0000    2.4900   -0.0010    50.0000   -2.4900    0.0011     7.2195
50.0000    2.4900   -0.0010    50.0000   -2.4900    0.0012     7.2195
50.0000   -0.0010    2.4900    50.0000    0.0009   -2.4900     4.8045
50.0000   -0.0010    2.4900    50.0000    0.0010   -2.4900     4.8045
50.0000   -0.0010    2.4900    50.0000    0.0011   -2.4900     4.7461
50.0000    2.5000    0.0000    50.0000    0.0000   -2.5000     4.3065
50.0000    2.5000    0.0000    73.0000   25.0000  -18.0000    27.1492
50.0000    2.5000    0.0000    61.0000   -5.0000   29.0000    22.8977
50.0000    2.5000    0.0000    56.0000  -27.0000   -3.0000    31.9030
50.0000    2.5000    0.0000    58.0000   24.0000   15.0000    19.4535
50.0000    2.5000    0.0000    50.0000    3.1736    0.5854     1.0000
50.0000    2.5000    0.0000    50.0000    3.2972    0.0000     1.0000
50.0000    2.5000    0.0000    50.0000    1.8634    0.5757     1.0000
50.0000    2.5000    0.0000    50.0000    3.2592    0.3350     1.0000
60.2574  -34.0099   36.2677    60.4626  -34.1751   39.4387     1.2644
63.0109  -31.0961   -5.8663    62.8187  -29.7946   -4.0864     1.2630
61.2901    3.7196   -5.3901    61.4292    2.2480   -4.9620     1.8731
35.0831  -44.1164    3.7933    35.0232  -40.0716    1.5901     1.8645
22.7233   20.0904  -46.6940    23.0331   14.9730  -42.5619     2.0373
36.4612   47.8580   18.3852    36.2715   50.5065   21.2231     1.4146
90.8027   -2.0831    1.4410    91.1528   -1.6435    0.0447     1.4441
90.9257   -0.5406   -0.9208    88.6381   -0.8985   -0.7239     1.5381
 6.7747   -0.2908   -2.4247     5.8714   -0.0985   -2.2286     0.6377
 2.0776    0.0795   -1.1350     0.9033   -0.0636   -0.5514     0.9082
"""
"""L* a* b* twice and ΔE00. Sharma, Wu, Dalal, Color Research and Application 30(1), 2005, table 1."""

TABLE = np.array([list(map(float, line.split())) for line in PAIRS.strip().splitlines()])

labs = st.tuples(st.floats(0, 100), st.floats(-120, 120), st.floats(-120, 120))


def test_the_34_published_pairs_come_out_to_four_decimals() -> None:
    found = ciede2000(TABLE[:, :3], TABLE[:, 3:6])
    assert len(found) == 34
    assert np.abs(found - TABLE[:, 6]).max() < 5.1e-5
    assert found.sum() == pytest.approx(TABLE[:, 6].sum(), abs=2e-4)


@given(labs, labs)
def test_differences_are_symmetrical_and_never_negative(
    one: tuple[float, float, float], two: tuple[float, float, float]
) -> None:
    for formula in Formula:
        there, back = difference(formula, one, two), difference(formula, two, one)
        assert there == pytest.approx(back, abs=1e-9)
        assert there >= 0


@given(labs)
def test_a_colour_does_not_differ_from_itself(lab: tuple[float, float, float]) -> None:
    assert [float(difference(formula, lab, lab)) for formula in Formula] == [0] * len(Formula)


@pytest.mark.parametrize(
    ("lightness", "expected"), [(50, 1.0000), (20, 0.6920), (80, 0.6920), (5, 0.5982), (95, 0.5982)]
)
def test_a_step_of_lightness_weighs_most_in_the_middle(lightness: float, expected: float) -> None:
    """1 ΔL* around a lightness; closed form of 1/S_L."""
    pair = ((lightness - 0.5, 0, 0), (lightness + 0.5, 0, 0))
    assert ciede2000(*pair) == pytest.approx(expected, abs=5e-5)
    assert difference(Formula.CIEDE2000_LIGHTNESS, *pair) == pytest.approx(expected, abs=5e-5)
    assert difference(Formula.CIEDE2000_FLAT, *pair) == pytest.approx(1)
    assert difference(Formula.CIEDE2000_CHROMA, *pair) == pytest.approx(0)


@pytest.mark.parametrize(
    ("shift", "expected"), [((1, 0), 1.4510), ((0, 1), 0.9780), ((2, 0), 2.8103), ((0, 2), 1.9139)]
)
def test_a_cast_weighs_by_its_direction(shift: tuple[float, float], expected: float) -> None:
    pair = ((50, *shift), (50, 0, 0))
    assert ciede2000(*pair) == pytest.approx(expected, abs=5e-5)
    assert difference(Formula.CIEDE2000_CHROMA, *pair) == pytest.approx(expected, abs=5e-5)


WHITE_BALANCE = (Formula.CHROMA, Formula.CIE76_CHROMA, Formula.CIEDE2000_CHROMA)


@pytest.mark.parametrize(
    ("reference", "sample", "expected"),
    [((0, 0), (2, 0), (2, 2, 2.8103)), ((0, 0), (0, 2), (2, 2, 1.9139)), ((1, 0), (-1, 0), (0, 2, 2.9589))],
)
def test_the_three_formulas_of_white_balance_disagree_as_known(
    reference: tuple[float, float], sample: tuple[float, float], expected: tuple[float, ...]
) -> None:
    found = [float(difference(each, (60, *sample), (70, *reference))) for each in WHITE_BALANCE]
    assert found == pytest.approx(expected, abs=5e-5)


def test_difference_of_1976_is_the_distance_in_space() -> None:
    assert difference(Formula.CIE76, (50, 3, 4), (62, 0, 0)) == pytest.approx(13)
    assert difference(Formula.LIGHTNESS, (50, 3, 4), (62, 0, 0)) == pytest.approx(12)
    assert chroma((62, 3, 4)) == pytest.approx(5)


def test_arrays_of_any_shape_are_taken() -> None:
    samples = np.array(list(itertools.product((20.0, 60.0), (-5.0, 5.0), (0.0, 40.0)))).reshape(2, 2, 2, 3)
    assert ciede2000(samples, (50, 0, 0)).shape == (2, 2, 2)


def test_statistics_interpolate_the_90th_percentile() -> None:
    found = statistics([float(value) for value in range(24)])
    assert (found.mean, found.maximum, found.worst) == (11.5, 23, 23)
    assert found.percentile_90 == pytest.approx(0.9 * 23)


def test_statistics_of_nothing_are_refused() -> None:
    with pytest.raises(ValueError, match="no values"):
        statistics([])
