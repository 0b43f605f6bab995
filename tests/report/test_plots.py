"""Plots: the same to the byte, safe in a page, in words too; swatches of the right colour."""

from __future__ import annotations

import functools
import re
import xml.etree.ElementTree as ET
from collections.abc import Callable
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.measurements import GREY_SCALE
from pipeline.report import plots
from pipeline.report.plots import Plot, ResponseLimits, Span

HOSTILE = '<script>&"$x^2$\u202e\x1b'
LIMITS = ResponseLimits(
    sfr50=Span(low=35, high=75), sfr10=Span(low=80), at_half_sampling=Span(high=0.3), maximum=Span(high=1.1)
)


def patches(name: str = "patch") -> list[dict[str, Any]]:
    return [
        {
            "name": f"{name} {n}",
            "lab": [20.0 + 10 * n, 2.0 * n, 1.0 - n],
            "reference_lab": [21.0 + 10 * n, 1.5 * n, -n],
            "difference_ciede2000": 0.5 * n,
            "is_neutral": n % 2 == 0,
        }
        for n in range(8)
    ]


def curve(name: str = "SFR, centre, across") -> dict[str, Any]:
    points = [[n / 50, max(0.0, 1 - n / 25)] for n in range(51)]
    return {"name": name, "x_label": "cycles per pixel", "y_label": "response", "points": points}


def grid(rows: list[list[float | None]], unit: str = "ΔL*") -> dict[str, Any]:
    return {"name": "lightness minus its mean", "unit": unit, "rows": rows}


def greys(*tones: float) -> dict[str, Any]:
    points = [[float(step), tone] for step, tone in enumerate(tones, start=1)]
    return {
        "name": GREY_SCALE,
        "x_label": "step, from light to dark",
        "y_label": "measured L*",
        "points": points,
    }


SLOPE = [[0.1 * x - 0.2 * y for x in range(20)] for y in range(15)]
ALL: dict[str, Callable[[], Plot]] = {
    "colours": lambda: plots.colours(patches(), key="k"),
    "colours without neutrals": lambda: plots.colours(patches()[1::2], key="k"),
    "tone": lambda: plots.tone(patches(), Span(low=-5, high=5), key="k"),
    "tone without a limit": lambda: plots.tone(patches(), None, key="k"),
    "grey scale": lambda: plots.grey_scale(greys(92.0, 80.5, 60.0, 41.0, 36.5, 20.0), key="k"),
    "grey scale of two steps": lambda: plots.grey_scale(greys(90.0, 90.0), key="k"),
    "responses": lambda: plots.responses([curve()] * 20, LIMITS, key="k"),
    "responses without limits": lambda: plots.responses([curve()], ResponseLimits(), key="k"),
    "field": lambda: plots.field(grid([list(row) for row in SLOPE]), key="k"),
    "small field with gaps": lambda: plots.field(grid([[1.0, None], [2.0, 3.0]], "px"), key="k"),
    "even field": lambda: plots.field(grid([[1.0] * 20] * 15, ""), key="k"),
    "field of one value": lambda: plots.field(grid([[0.0]]), key="k"),
    "field without evidence": lambda: plots.field(grid([[None, None]] * 9), key="k"),
    "ragged field": lambda: plots.field(grid([[1.0, 2.0], [3.0]]), key="k"),
    "hostile names": lambda: plots.colours(patches(HOSTILE), key="k"),
    "hostile curve": lambda: plots.responses([curve(HOSTILE)], LIMITS, key="k"),
}
CASES = [pytest.param(functools.cache(make), id=name) for name, make in ALL.items()]
"""Each is drawn once for all tests that only look at it."""


@pytest.mark.parametrize("make", CASES)
def test_a_plot_is_one_whole_element_that_needs_nothing_beside_it(make: Callable[[], Plot]) -> None:
    plot = make()
    ET.fromstring(plot.svg)  # well-formed
    assert plot.svg.startswith('<svg viewBox="0 0 ')
    assert not re.search(r"<(script|style|metadata|image|a|foreignObject)\b|https?:|xlink", plot.svg)
    assert "\u202e" not in plot.svg
    assert "\x1b" not in plot.svg


@pytest.mark.parametrize("make", CASES)
def test_identifiers_are_the_plots_own_and_all_are_there(make: Callable[[], Plot]) -> None:
    svg = make().svg
    ids = re.findall(r' id="([^"]+)"', svg)
    assert len(ids) == len(set(ids))
    assert all(each.startswith("k-") for each in ids)
    assert set(re.findall(r'(?:url\(#|href="#)([^)"]+)', svg)) <= set(ids)


@pytest.mark.parametrize("make", CASES)
def test_a_plot_says_in_words_what_it_shows(make: Callable[[], Plot]) -> None:
    plot = make()
    label = re.search(r'role="img" aria-label="([^"]+)"', plot.svg)
    assert label
    assert len(label[1]) > 25
    assert plot.title
    assert plot.caption


@pytest.mark.parametrize("name", ALL)
def test_the_same_numbers_give_the_same_bytes(name: str) -> None:
    (drawn,) = (case.values[0] for case in CASES if case.id == name)
    assert ALL[name]() == drawn()  # type: ignore[operator]


@pytest.mark.parametrize("make", CASES)
def test_colours_are_those_of_the_page(make: Callable[[], Plot]) -> None:
    svg = make().svg
    assert not re.search(r"#(0[1-9])\1\1\b", svg)
    assert "var(--" in svg


def test_lines_differ_by_dash_and_marker_not_by_colour_alone() -> None:
    assert len(plots._MARKERS) * 4 >= plots.MOST_CURVES
    drawn = {(n % len(plots._DASHES), n % len(plots._MARKERS)) for n in range(plots.MOST_CURVES)}
    assert len(drawn) == plots.MOST_CURVES


def test_a_grey_scale_says_where_its_steps_are_least_apart() -> None:
    drawn = plots.grey_scale(greys(92.0, 80.5, 60.0, 41.0, 36.5, 20.0), key="k")
    assert "6 greys, from 92.0 to 20.0 L*. Least apart: steps 4 and 5, by 4.5." in drawn.svg


def test_tones_of_maps_rise_in_lightness_alone() -> None:
    sums = [sum(int(tone[at : at + 2], 16) for at in (1, 3, 5)) for tone in plots._TONES]
    assert sums == sorted(sums)


def test_no_line_of_a_map_runs_through_a_number() -> None:
    """Where each field has its number there are no lines; where there are, numbers stand on grounds."""
    line = "stroke: var(--paper); stroke-width: 0.8"
    small = plots.field(grid([[float(x + y) for x in range(6)] for y in range(8)], "px"), key="k")
    assert line not in small.svg
    assert "lines join" not in small.caption
    large = plots.field(grid([list(row) for row in SLOPE]), key="k")
    assert line in large.svg
    assert "lines join" in large.caption
    before_texts = large.svg.split("<text")[:-1]
    assert all(re.search(r'z\n" style="fill: #[0-9a-f]{6}"/>\n</g>\n$', each) for each in before_texts)


def test_an_even_frame_looks_even() -> None:
    """0.2 ΔL* from end to end must not be spread from dark to light."""
    rows = [[0.01 * x for x in range(20)] for _ in range(15)]
    svg = plots.field(grid([list(row) for row in rows]), key="k").svg
    assert plots._TONES[0] not in svg
    assert plots._TONES[-1] not in svg


# --------------------------------------------------------------------------------------------- numbers


@pytest.mark.parametrize(
    ("lab", "colour"),
    [
        ((100, 0, 0), (255, 255, 255)),
        ((53.59, 0, 0), (128, 128, 128)),
        ((54.29, 80.81, 69.89), (255, 0, 0)),
        ((87.82, -79.27, 80.99), (0, 255, 0)),
        ((29.57, 68.29, -112.03), (0, 0, 255)),
        ((0, 0, 0), (0, 0, 0)),
    ],
)
def test_swatches_have_the_colour_of_their_values(
    lab: tuple[float, float, float], colour: tuple[int, int, int]
) -> None:
    """Computed by IEC 61966-2-1 and CIE 15 with Bradford adaptation to D50."""
    shown = plots.srgb(lab)
    found = tuple(int(shown[at : at + 2], 16) for at in (1, 3, 5))
    assert found == pytest.approx(colour, abs=2)


@given(st.tuples(st.floats(0, 100), st.floats(-150, 150), st.floats(-150, 150)))
def test_every_colour_is_shown_somehow(lab: tuple[float, float, float]) -> None:
    assert re.fullmatch("#[0-9a-f]{6}", plots.srgb(lab))


@given(st.floats(0.05, 0.95))
def test_a_crossing_of_a_straight_fall_is_where_it_must_be(level: float) -> None:
    points = [[n / 10, 1 - n / 10] for n in range(11)]
    assert plots.crossing(points, level) == pytest.approx(1 - level)


def test_a_curve_that_stays_above_crosses_nowhere() -> None:
    assert plots.crossing([[0, 1], [0.5, 0.6]], 0.5) is None


@pytest.mark.parametrize(
    ("comparator", "values", "span"),
    [("<", [3], Span(high=3)), (">=", [85], Span(low=85)), ("between", [35, 75], Span(low=35, high=75))],
)
def test_limits_that_are_numbers_can_be_shaded(comparator: str, values: list[float], span: Span) -> None:
    limit = {"measure": "sfr50", "comparator": comparator, "values": values}
    words = {"measure": "compression", "comparator": "one of", "values": ["none"]}
    assert list(plots.spans([limit, words])) == [("sfr50", span)]
