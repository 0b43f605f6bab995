"""Slanted edges whose response is known in closed form, and edges that must be refused.

Edges are drawn by their distance along the normal, so that nothing but the pixel grid comes between the
formula and the measure. The measure's own share, stated in its docstring, is held here.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from time import perf_counter

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.measure.edge import (
    FREQUENCIES_CY_PX,
    ISO_2017,
    Axis,
    EdgeMeasure,
    Method,
    Taper,
    measure_edge,
)
from pipeline.measure.pixels import Codes, NotMeasured
from pipeline.measure.profile import PowerCurve

Numbers = npt.NDArray[np.float64]
Spread = Callable[[Numbers], Numbers]
"""The edge spread along the normal: 0 on the dark side, 1 on the light side."""

LINEAR = PowerCurve(gamma=1.0)
SFR50, SFR30, SFR10 = 0.187391, 0.246970, 0.341541
"""Where exp(-2π²f²) is 0.5, 0.3 and 0.1: √(ln 2 / 2) / π and so on, for σ = 1 px."""

_erf = np.frompyfunc(math.erf, 1, 1)


def gaussian(sigma: float) -> Spread:
    def spread(distance: Numbers) -> Numbers:
        return 0.5 + 0.5 * np.asarray(_erf(distance / (sigma * math.sqrt(2))), np.float64)

    return spread


def away_from_edge(
    rows: int, columns: int, angle_deg: float, *, shift_px: float = 0.0, bow_px: float = 0.0
) -> Numbers:
    """Distances along the normal; `bow_px` is how far the middle lies before the ends, along the rows."""
    y = np.arange(rows)[:, None] - (rows - 1) / 2
    x = np.arange(columns)[None, :] - (columns - 1) / 2
    turn = math.radians(angle_deg)
    bow = bow_px * (1 - (2 * y / rows) ** 2)
    return np.asarray((x - bow) * math.cos(turn) - y * math.sin(turn) - shift_px)


def drawn(
    spread: Spread,
    *,
    angle_deg: float = 5.0,
    rows: int = 200,
    columns: int = 80,
    dark: float = 0.1,
    light: float = 0.7,
    bits: int = 16,
    noise: float = 0.0,
    seed: int = 1,
    bow_px: float = 0.0,
    gamma: float = 1.0,
) -> Codes:
    """Return the codes of an edge of one band."""
    distance = away_from_edge(rows, columns, angle_deg, bow_px=bow_px)
    return coded(dark + (light - dark) * spread(distance), bits=bits, noise=noise, seed=seed, gamma=gamma)


def coded(values: Numbers, *, bits: int = 16, noise: float = 0.0, seed: int = 1, gamma: float = 1.0) -> Codes:
    grain = np.random.default_rng(seed).normal(0, noise, values.shape) if noise else 0.0
    codes = np.clip(values + grain, 0, 1) ** (1 / gamma) * (2**bits - 1) + 0.5
    codes = codes if codes.ndim == 3 else codes[:, :, None]
    if bits == 8:
        return np.asarray(codes, np.uint8)
    return np.asarray(codes, np.uint16)


def measured(codes: Codes, **how: Method) -> EdgeMeasure:
    found = measure_edge(codes, LINEAR, **how)
    assert isinstance(found, EdgeMeasure), found
    return found


def turned(codes: Codes, turns: int) -> Codes:
    return np.asarray(np.rot90(codes, turns), np.uint16)


def frequency(value: float | NotMeasured) -> float:
    assert isinstance(value, float), value
    return value


def refused(codes: Codes) -> str:
    found = measure_edge(codes, LINEAR)
    assert isinstance(found, NotMeasured), found
    return found.reason


# ----------------------------------------------------------------------------------- closed forms


@pytest.mark.parametrize("sigma", [0.5, 0.6, 0.8, 1.0, 1.5])
@pytest.mark.parametrize("angle_deg", [3.0, -5.0, 7.0, 10.0])
@pytest.mark.parametrize(("bits", "dark", "light"), [(8, 0.1, 0.7), (16, 0.05, 0.9), (16, 0.4, 0.6)])
def test_a_gaussian_edge_has_the_response_of_a_gaussian(
    sigma: float, angle_deg: float, bits: int, dark: float, light: float
) -> None:
    # exp(-2π²σ²f²), the Fourier transform of a normal distribution
    codes = drawn(gaussian(sigma), angle_deg=angle_deg, columns=100, bits=bits, dark=dark, light=light)
    found = measured(codes).luminance
    assert frequency(found.sfr50_cy_px) == pytest.approx(SFR50 / sigma, rel=0.012)
    assert frequency(found.sfr30_cy_px) == pytest.approx(SFR30 / sigma, rel=0.015)
    if sigma > 0.55:  # at 0.5 the crossing lies beyond 0.68 cycles per pixel, where no limit looks
        rounding = 0.01 if bits == 8 else 0.0
        assert frequency(found.sfr10_cy_px) == pytest.approx(SFR10 / sigma, rel=0.015 + rounding)
    assert found.half_sampling_response == pytest.approx(math.exp(-((math.pi * sigma) ** 2) / 2), abs=0.016)
    assert found.contrast == pytest.approx((light - dark) / (light + dark), abs=0.01)
    assert found.maximum == pytest.approx(1, abs=0.006)


def test_the_whole_curve_is_that_of_the_gaussian() -> None:
    found, f = np.array(measured(drawn(gaussian(0.8))).luminance.values), np.array(FREQUENCIES_CY_PX)
    expected = np.exp(-2 * (math.pi * 0.8 * f) ** 2)
    assert found[0] == pytest.approx(1)
    assert np.abs(found - expected)[f <= 0.5].max() < 0.004
    assert np.abs(found - expected).max() < 0.01


def test_efficiency_is_the_tenth_as_a_share_of_half_sampling_and_at_most_one() -> None:
    soft, sharp = (measured(drawn(gaussian(sigma))).luminance for sigma in (1.0, 0.6))
    assert soft.sampling_efficiency == pytest.approx(SFR10 / 0.5, rel=0.01)
    assert sharp.sampling_efficiency == 1.0
    assert frequency(soft.sfr50_of_half_sampling) == pytest.approx(2 * SFR50, rel=0.01)


def test_a_disc_of_blur_has_its_half_where_the_bessel_function_has() -> None:
    # 2·J1(2πrf) / (2πrf) is one half at 0.3525 / r: optics of a defocused lens
    radius = 1.5

    def spread(distance: Numbers) -> Numbers:
        x = np.clip(distance, -radius, radius)
        area = x * np.sqrt(radius**2 - x**2) + radius**2 * np.arcsin(x / radius)
        return np.asarray(0.5 + area / (math.pi * radius**2))

    assert frequency(measured(drawn(spread)).luminance.sfr50_cy_px) == pytest.approx(
        0.3525 / radius, rel=0.01
    )


def test_a_box_of_blur_has_its_half_where_the_sinc_has() -> None:
    def spread(distance: Numbers) -> Numbers:
        return np.clip(distance / 2.0 + 0.5, 0, 1)

    assert frequency(measured(drawn(spread)).luminance.sfr50_cy_px) == pytest.approx(0.6034 / 2, rel=0.01)


def test_square_pixels_multiply_the_response_by_their_own() -> None:
    # an aperture of one pixel square: sinc(f·cos) · sinc(f·sin) along the normal
    sigma, angle, fine = 0.5, math.radians(5), 8
    distance = away_from_edge(200 * fine, 80 * fine, 5.0) / fine
    values = gaussian(sigma)(distance).reshape(200, fine, 80, fine).mean(axis=(1, 3))
    found = np.array(measured(coded(0.1 + 0.6 * values)).luminance.values)
    f = np.array(FREQUENCIES_CY_PX)
    expected = (
        np.exp(-2 * (math.pi * sigma * f) ** 2) * np.sinc(f * math.cos(angle)) * np.sinc(f * math.sin(angle))
    )
    assert np.abs(found - expected)[f <= 0.5].max() < 0.008


@pytest.mark.parametrize(
    ("sigma", "mask_sigma", "amount", "maximum", "at_cy_px"),
    [(0.6, 1.0, 1.0, 1.170, 0.179), (0.5, 1.0, 1.0, 1.272, 0.215), (0.6, 1.0, 0.5, 1.015, 0.108)],
)
def test_sharpening_shows_as_the_maximum_of_the_response(
    sigma: float, mask_sigma: float, amount: float, maximum: float, at_cy_px: float
) -> None:
    # an unsharp mask: (1 + k)·G(σ) - k·G(√(σ² + s²)); the maximum is where the derivative is 0
    plain, mask = gaussian(sigma), gaussian(math.hypot(sigma, mask_sigma))
    found = measured(drawn(lambda x: (1 + amount) * plain(x) - amount * mask(x), columns=100)).luminance
    assert found.maximum == pytest.approx(maximum, abs=0.01)
    assert found.maximum_at_cy_px == pytest.approx(at_cy_px, abs=0.015)


def test_an_unsharpened_edge_has_no_maximum_above_one() -> None:
    assert max(measured(drawn(gaussian(sigma))).luminance.maximum for sigma in (0.5, 0.8, 1.5)) <= 1.0


def test_a_very_soft_edge_reads_high_by_no_more_than_the_window_adds() -> None:
    found = measured(drawn(gaussian(4.0), columns=140))
    excess = frequency(found.luminance.sfr50_cy_px) * 4.0 / SFR50 - 1
    assert 0 <= excess <= 1.2 * (math.pi * 4.0 / (2 * found.flat_px)) ** 2


# ------------------------------------------------------------------------------------- orientation


@pytest.mark.parametrize("turns", [0, 1, 2, 3])
@pytest.mark.parametrize("is_mirrored", [False, True])
def test_a_turned_or_mirrored_region_reads_the_same(turns: int, is_mirrored: bool) -> None:
    codes = drawn(gaussian(0.7))
    found = measured(turned(codes[:, ::-1] if is_mirrored else codes, turns))
    assert found.axis is (Axis.VERTICAL if turns % 2 else Axis.HORIZONTAL)
    assert abs(found.angle_deg) == pytest.approx(5.0, abs=0.01)
    assert frequency(found.luminance.sfr50_cy_px) == pytest.approx(SFR50 / 0.7, rel=0.01)


@given(st.floats(-12, 12), st.floats(-15, 15), st.floats(0.5, 1.5))
@settings(max_examples=40, deadline=None)
def test_angle_and_response_do_not_depend_on_where_the_edge_lies(
    angle_deg: float, shift_px: float, sigma: float
) -> None:
    if abs(angle_deg) < 2:
        return
    distance = away_from_edge(180, 150, angle_deg, shift_px=shift_px)
    found = measured(coded(0.1 + 0.6 * gaussian(sigma)(distance)))
    assert found.angle_deg == pytest.approx(-angle_deg, abs=0.02) or found.angle_deg == pytest.approx(
        angle_deg, abs=0.02
    )
    assert frequency(found.luminance.sfr50_cy_px) == pytest.approx(SFR50 / sigma, rel=0.015)


def test_only_a_whole_number_of_cycles_is_used() -> None:
    found = measured(drawn(gaussian(0.7), rows=200))
    cycles = found.rows * math.tan(math.radians(abs(found.angle_deg)))
    assert cycles == pytest.approx(round(cycles), abs=0.05)
    assert 180 < found.rows <= 200


# --------------------------------------------------------------------------------------- tone and fit


def test_codes_are_brought_to_linear_light_first() -> None:
    codes = drawn(gaussian(0.6), gamma=2.2, dark=0.05, light=0.9)
    right, wrong = measure_edge(codes, PowerCurve(gamma=2.2)), measure_edge(codes, LINEAR)
    assert isinstance(right, EdgeMeasure)
    assert isinstance(wrong, EdgeMeasure)
    assert frequency(right.luminance.sfr50_cy_px) == pytest.approx(SFR50 / 0.6, rel=0.01)
    assert frequency(wrong.luminance.sfr50_cy_px) < 0.96 * SFR50 / 0.6


@pytest.mark.parametrize(("bow_px", "loss"), [(0.3, 0.015), (1.0, 0.10), (2.0, 0.28)])
def test_a_bowed_edge_is_followed_where_a_straight_line_would_read_too_soft(
    bow_px: float, loss: float
) -> None:
    codes = drawn(gaussian(0.6), bow_px=bow_px)
    curved, straight = measured(codes), measured(codes, method=Method(order=1))
    assert frequency(curved.luminance.sfr50_cy_px) == pytest.approx(SFR50 / 0.6, rel=0.01)
    assert frequency(straight.luminance.sfr50_cy_px) == pytest.approx((1 - loss) * SFR50 / 0.6, rel=0.015)
    assert curved.bow_px == pytest.approx(bow_px * 2 / 3, rel=0.05)


@pytest.mark.parametrize(
    "method", [ISO_2017, Method(order=5), Method(taper=Taper.HAMMING), Method(bins_per_px=8)]
)
def test_every_edition_reads_a_straight_edge_alike(method: Method) -> None:
    found = measured(drawn(gaussian(0.7), columns=100), method=method)
    assert frequency(found.luminance.sfr50_cy_px) == pytest.approx(SFR50 / 0.7, rel=0.01)
    assert found.method == method


def test_finer_bins_come_nearer_to_the_closed_form() -> None:
    coarse, fine = (
        frequency(measured(drawn(gaussian(0.6)), method=Method(bins_per_px=bins)).luminance.sfr50_cy_px)
        for bins in (4, 8)
    )
    assert abs(coarse - SFR50 / 0.6) < 0.007 * SFR50 / 0.6
    assert abs(fine - SFR50 / 0.6) < 0.003 * SFR50 / 0.6


def test_dust_on_the_edge_does_not_move_its_fit() -> None:
    codes = drawn(gaussian(0.7)).copy()
    codes[60:64, 34:46] = 4000
    found = measured(codes)
    assert abs(found.angle_deg) == pytest.approx(5.0, abs=0.03)
    assert frequency(found.luminance.sfr50_cy_px) == pytest.approx(SFR50 / 0.7, rel=0.03)


# ---------------------------------------------------------------------------------------------- noise


@pytest.mark.parametrize(("noise", "sigma"), [(0.005, 0.6), (0.01, 0.6), (0.02, 1.0)])
def test_scatter_by_noise_is_foretold(noise: float, sigma: float) -> None:
    found = [
        measured(drawn(gaussian(sigma), rows=120, noise=noise, seed=seed)).luminance for seed in range(30)
    ]
    read = np.array([frequency(each.sfr50_cy_px) for each in found])
    foretold = float(np.mean([each.sfr50_scatter_cy_px for each in found]))
    # the deviation of 30 values is itself uncertain by 1/√58 = 13 %: three times that
    assert read.std(ddof=1) == pytest.approx(foretold, rel=0.4)
    assert abs(read.mean() - SFR50 / sigma) < 0.012 * SFR50 / sigma + 3 * foretold / math.sqrt(30)
    tenth = np.array([frequency(each.sfr10_cy_px) for each in found])
    assert tenth.std(ddof=1) == pytest.approx(
        float(np.mean([each.sfr10_scatter_cy_px for each in found])), rel=0.5
    )


def test_noise_beside_the_edge_is_measured() -> None:
    # a bin of n pixels has 1/√n of their noise: here 194 rows a pixel, a quarter of them in each bin
    found = [measured(drawn(gaussian(0.7), noise=0.01, seed=seed)).luminance.noise for seed in range(10)]
    assert np.mean(found) == pytest.approx(0.01 / 0.6 / math.sqrt(194 / 4), rel=0.1)


def test_noise_does_not_pass_for_sharpening() -> None:
    found = [measured(drawn(gaussian(0.7), noise=0.02, seed=seed)).luminance for seed in range(10)]
    assert all(each.maximum < 1 + 3 * each.maximum_scatter for each in found)
    assert max(each.maximum for each in found) < 1.02


# ------------------------------------------------------------------------------------- misregistration


def shifted(
    red_px: float, blue_px: float, *, angle_deg: float = 5.0, bits: int = 16, noise: float = 0.0
) -> Codes:
    spread = gaussian(0.65)
    planes = [spread(away_from_edge(200, 80, angle_deg, shift_px=shift)) for shift in (red_px, 0.0, blue_px)]
    return coded(0.1 + 0.6 * np.stack(planes, axis=2), bits=bits, noise=noise)


@pytest.mark.parametrize("bits", [8, 16])
@pytest.mark.parametrize("angle_deg", [3.0, 5.0, -10.0])
@pytest.mark.parametrize(("red_px", "blue_px"), [(0.33, -0.21), (0.05, 0.5), (-1.2, 0.0)])
def test_shifted_channels_are_found_along_the_normal(
    bits: int, angle_deg: float, red_px: float, blue_px: float
) -> None:
    found = measured(shifted(red_px, blue_px, angle_deg=angle_deg, bits=bits)).misregistration
    assert not isinstance(found, NotMeasured)
    assert found.red_px == pytest.approx(red_px, abs=0.005)
    assert found.blue_px == pytest.approx(blue_px, abs=0.005)
    assert found.worst_px == pytest.approx(max(abs(red_px), abs(blue_px), abs(red_px - blue_px)), abs=0.005)


def test_a_shift_downwards_is_positive_on_a_nearly_level_edge() -> None:
    found = measured(turned(shifted(0.33, -0.21), 3))
    assert found.axis is Axis.VERTICAL
    assert not isinstance(found.misregistration, NotMeasured)
    assert found.misregistration.red_px == pytest.approx(0.33, abs=0.005)


def test_noise_moves_the_channels_no_more_than_foretold() -> None:
    found = measured(shifted(0.33, -0.21, noise=0.01)).misregistration
    assert not isinstance(found, NotMeasured)
    assert 0 < found.scatter_px < 0.03
    assert abs(found.red_px - 0.33) < 4 * found.scatter_px
    assert abs(found.blue_px + 0.21) < 4 * found.scatter_px


def test_shifted_channels_soften_luminance_but_not_themselves() -> None:
    found = measured(shifted(0.6, -0.6))
    for channel in (found.red, found.green, found.blue):
        assert not isinstance(channel, NotMeasured)
        assert frequency(channel.sfr50_cy_px) == pytest.approx(SFR50 / 0.65, rel=0.01)
    assert frequency(found.luminance.sfr50_cy_px) < 0.97 * SFR50 / 0.65


def test_a_channel_without_contrast_says_so_and_the_others_are_measured() -> None:
    codes = shifted(0.0, 0.0).copy()
    codes[:, :, 2] = 20000
    found = measured(codes)
    assert isinstance(found.blue, NotMeasured)
    assert "contrast" in found.blue.reason
    assert isinstance(found.misregistration, NotMeasured)
    assert not isinstance(found.red, NotMeasured)


def test_grey_frames_have_no_channels_to_compare() -> None:
    found = measured(drawn(gaussian(0.7)))
    assert isinstance(found.red, NotMeasured)
    assert isinstance(found.misregistration, NotMeasured)
    assert found.misregistration.reason == "the frame is grey"


# ----------------------------------------------------------------------------- refusals and cautions


def test_a_clipped_side_is_refused_because_it_looks_sharper() -> None:
    values = 0.1 + 0.9 * 1.06 * gaussian(0.6)(away_from_edge(200, 80, 5.0))
    assert "end of the scale" in refused(coded(values))


def test_a_few_pixels_at_the_end_of_the_scale_are_no_reason_to_refuse() -> None:
    codes = drawn(gaussian(0.7)).copy()
    codes[::40, 3] = 0
    assert measured(codes).rows > 150


@pytest.mark.parametrize("angle_deg", [0.0, 0.2, 0.4])
def test_an_edge_parallel_to_the_pixels_is_refused(angle_deg: float) -> None:
    assert "parallel" in refused(drawn(gaussian(0.6), angle_deg=angle_deg))


@pytest.mark.parametrize("angle_deg", [18.0, 30.0, 45.0])
def test_an_edge_far_off_its_axis_is_refused(angle_deg: float) -> None:
    assert "off its axis" in refused(drawn(gaussian(0.6), angle_deg=angle_deg, rows=120, columns=120))


def test_an_edge_of_low_contrast_is_refused_or_cautioned() -> None:
    assert "contrast" in refused(drawn(gaussian(0.6), dark=0.5, light=0.55))
    assert any("contrast" in each for each in measured(drawn(gaussian(0.6), dark=0.5, light=0.7)).cautions)


def test_a_short_edge_is_refused_or_cautioned() -> None:
    assert "px" in refused(drawn(gaussian(0.6), rows=30, columns=60))
    assert any("short" in each for each in measured(drawn(gaussian(0.6), rows=70)).cautions)


def test_an_edge_at_the_border_is_refused_or_cautioned() -> None:
    assert "beside the edge" in refused(drawn(gaussian(0.6))[:, 30:])
    assert any("little flat" in each for each in measured(drawn(gaussian(0.6), columns=50)).cautions)


def test_a_second_edge_beside_the_first_is_refused() -> None:
    distance = away_from_edge(200, 100, 5.0)
    values = 0.1 + 0.4 * gaussian(0.6)(distance) + 0.3 * gaussian(0.6)(distance - 25)
    assert "beside the edge" in refused(coded(values))


def test_light_that_falls_beside_the_edge_is_a_caution() -> None:
    values = 0.1 + 0.6 * gaussian(0.6)(away_from_edge(200, 100, 5.0))
    codes = coded(values * np.linspace(1.0, 0.9, 100))
    assert any("light changes" in each for each in measured(codes).cautions)


@pytest.mark.parametrize("kind", ["flat", "noise", "ramp", "line"])
def test_what_is_no_edge_is_refused(kind: str) -> None:
    shape = (120, 100)
    values = {
        "flat": np.full(shape, 0.4),
        "noise": np.random.default_rng(3).uniform(0.1, 0.9, shape),
        "ramp": np.broadcast_to(np.linspace(0.1, 0.8, 100), shape),
        "line": 0.1 + 0.6 * np.exp(-((away_from_edge(*shape, 5.0) / 2) ** 2)),
    }[kind]
    assert refused(coded(values))


@pytest.mark.parametrize("shape", [(0, 0, 3), (1, 1, 1), (3, 200, 3), (120, 100, 2), (120, 100, 4)])
def test_regions_of_any_shape_get_an_answer(shape: tuple[int, int, int]) -> None:
    assert refused(np.full(shape, 90, np.uint8))


def test_all_figures_of_an_edge_take_some_milliseconds() -> None:
    codes = shifted(0.2, -0.2)
    measured(codes)
    taken = []
    for _ in range(5):
        start = perf_counter()
        measured(codes)
        taken.append(perf_counter() - start)
    assert min(taken) < 0.1  # 15 ms on a quiet machine


def test_the_same_region_gives_the_same_figures() -> None:
    codes = shifted(0.2, -0.2, noise=0.01)
    assert measured(codes) == measured(codes.copy())
