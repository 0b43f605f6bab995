"""Frames of the same page are found; pages of one hand and layout are told apart."""

from __future__ import annotations

import functools

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.measure import likeness
from pipeline.measure.likeness import (
    SAME_FROM,
    Doubles,
    Likeness,
    Signature,
    compare,
    hash_distance,
    near_duplicates,
    picture_hash,
    resized,
    signature,
)
from pipeline.measure.outline import find_outline
from pipeline.measure.pixels import ArrayPixels, Box, NotMeasured
from tests.measure.blurs import blurred, codes_of
from tests.measure.sheets import Sheet

Numbers = npt.NDArray[np.float64]


def signed(pixels: ArrayPixels) -> Signature:
    found = signature(pixels, find_outline(pixels))
    assert isinstance(found, Signature)
    return found


def likeness_of(one: ArrayPixels, two: ArrayPixels) -> Likeness:
    found = compare(signed(one), signed(two))
    assert isinstance(found, Likeness)
    return found


@functools.cache
def page(seed: int) -> ArrayPixels:
    """A page of one hand; its seed is the text."""
    return Sheet(seed=seed).pixels()


def exposed(pixels: ArrayPixels, factor: float, sigma: float = 0) -> ArrayPixels:
    return ArrayPixels(codes_of(blurred(whole(pixels) / 255, sigma) * factor))


def whole(pixels: ArrayPixels) -> Numbers:
    box = Box(left=0, top=0, width=pixels.width_px, height=pixels.height_px)
    return pixels.crop(box).astype(np.float64)


# --------------------------------------------------------------------------------------- comparison


@pytest.mark.parametrize("shift", [(0.0, 0.0), (2.7, 2.0), (-7.0, 6.0), (13.0, -9.0), (21.0, 21.0)])
@pytest.mark.parametrize("turn_deg", [0.0, 0.2, -0.5, 1.0])
def test_the_same_page_again_is_found_wherever_it_lies(shift: tuple[float, float], turn_deg: float) -> None:
    again = Sheet(seed=3, centre=(350 + shift[0], 450 + shift[1]), turn_deg=turn_deg).pixels()
    found = likeness_of(page(3), again)
    assert found.is_same
    assert found.across_share == pytest.approx(shift[0] / 900, abs=0.008)
    assert found.down_share == pytest.approx(shift[1] / 900, abs=0.008)
    assert found.turn_deg == pytest.approx(turn_deg, abs=0.35)


@pytest.mark.parametrize(
    ("factor", "sigma"), [(0.6, 0), (1.15, 0), (1, 1.5), (0.8, 1)], ids=["dark", "bright", "soft", "both"]
)
def test_neither_exposure_nor_focus_hides_it(factor: float, sigma: float) -> None:
    assert likeness_of(page(3), exposed(page(3), factor, sigma)).correlation > 0.8


def test_pages_of_one_hand_and_layout_are_told_apart() -> None:
    signatures = [signed(page(seed)) for seed in range(10)]
    pairs = [(one, two) for index, one in enumerate(signatures) for two in signatures[:index]]
    found = [compare(one, two) for one, two in pairs]
    assert max(each.correlation for each in found if isinstance(each, Likeness)) < SAME_FROM - 0.05


def test_a_comparison_is_the_same_either_way_round() -> None:
    one, two = page(3), Sheet(seed=3, centre=(356, 446), turn_deg=0.3).pixels()
    there, back = likeness_of(one, two), likeness_of(two, one)
    assert there.correlation == pytest.approx(back.correlation, abs=0.1)
    assert there.is_same
    assert there.turn_deg == pytest.approx(-back.turn_deg)


def test_a_thumbnail_does_as_well_as_the_frame() -> None:
    small = ArrayPixels(codes_of(resized_codes(page(3), 400, 311)))
    assert likeness_of(page(3), small).correlation > 0.8
    assert likeness_of(page(4), small).correlation < SAME_FROM


def resized_codes(pixels: ArrayPixels, height: int, width: int) -> Numbers:
    planes = [resized(whole(pixels)[..., band] / 255, height, width) for band in range(3)]
    return np.stack(planes, axis=2)


@pytest.mark.parametrize("noise", [0.0, 0.02])
def test_a_blank_page_has_no_signature(noise: float) -> None:
    pixels = Sheet(lines=0, noise=noise).pixels()
    found = signature(pixels, find_outline(pixels))
    assert isinstance(found, NotMeasured)
    assert "blank" in found.reason


def test_frames_of_different_shapes_are_not_compared() -> None:
    wide = Sheet(width=900, height=700, sheet_width=640, sheet_height=480, centre=(450, 350), lines=14)
    found = compare(signed(page(3)), signed(wide.pixels()))
    assert isinstance(found, NotMeasured)


def test_a_strip_is_too_narrow() -> None:
    found = signature(ArrayPixels(np.zeros((1000, 90), np.uint8)), NotMeasured(reason=""))
    assert isinstance(found, NotMeasured)


@settings(max_examples=30)
@given(st.integers(1, 100), st.integers(1, 100), st.integers(0, 2**32 - 1))
def test_a_signature_is_written_and_read_in_steps_of_its_largest_ink(
    height: int, width: int, seed: int
) -> None:
    ink = np.random.default_rng(seed).normal(0, 0.1, (height, width)).astype(np.float32)
    found = Signature.read(Signature(ink).written()).ink
    step = float(np.abs(ink).max()) / 127
    assert found * step == pytest.approx(ink, abs=0.51 * step)


def test_writing_a_signature_hardly_changes_a_likeness() -> None:
    one, two = signed(page(3)), signed(Sheet(seed=3, centre=(356, 446), turn_deg=0.3).pixels())
    written = [Signature.read(each.written()) for each in (one, two)]
    plain, again = compare(one, two), compare(written[0], written[1])
    assert isinstance(plain, Likeness)
    assert isinstance(again, Likeness)
    assert again.correlation == pytest.approx(plain.correlation, abs=0.01)
    assert len(one.written()) < 10_000


# ----------------------------------------------------------------------------------------- sequences


def test_a_doubled_view_is_found_in_a_sequence() -> None:
    sequence: list[Signature | NotMeasured] = [signed(page(seed)) for seed in range(6)]
    again = Sheet(seed=2, centre=(354, 447), turn_deg=0.3).pixels()
    sequence.insert(4, signed(again))
    sequence.insert(1, NotMeasured(reason="the page is blank"))
    found = near_duplicates(sequence)
    assert [(pair.first, pair.second) for pair in found.pairs] == [(3, 5)]
    assert found.pairs[0].likeness.is_same
    assert found.crowd == ()


def test_a_double_is_found_however_far_apart(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(likeness, "BLOCK", 3)  # frames are held against all others in several goes
    again = Sheet(seed=1, centre=(344, 456), turn_deg=-0.4).pixels()
    sequence = [*(signed(page(seed)) for seed in range(10)), signed(again)]
    assert [(pair.first, pair.second) for pair in near_duplicates(sequence).pairs] == [(1, 10)]


@pytest.mark.parametrize("count", [0, 1])
def test_of_fewer_than_two_frames_none_is_a_double(count: int) -> None:
    assert near_duplicates([signed(page(3))] * count) == Doubles(pairs=(), crowd=())


def test_a_page_taken_three_times_is_three_pairs() -> None:
    takes = [Sheet(seed=2, centre=(350 + 3 * number, 450)).pixels() for number in range(3)]
    found = near_duplicates([signed(each) for each in (page(0), *takes, page(1))])
    assert [(pair.first, pair.second) for pair in found.pairs] == [(1, 2), (1, 3), (2, 3)]


def test_of_many_frames_that_are_alike_no_pair_is_told() -> None:
    """Leaves that were ruled by one hand with one board, and not written on."""
    leaves = [signed(ruled(seed, is_traced=True)) for seed in range(5)]
    again = signed(Sheet(seed=2, centre=(354, 447), turn_deg=0.3).pixels())
    found = near_duplicates([signed(page(2)), *leaves, again])
    assert found.crowd == (1, 2, 3, 4, 5)
    assert [(pair.first, pair.second) for pair in found.pairs] == [(0, 6)]


def test_blank_leaves_of_one_binding_are_not_alike_for_their_rulings_and_edges() -> None:
    likenesses = [likeness_of(ruled(0), ruled(seed)).correlation for seed in range(1, 5)]
    assert max(likenesses) < SAME_FROM - 0.1
    assert likeness_of(ruled(0), ruled(0, moved=(5, -4))).is_same


def ruled(seed: int, *, moved: tuple[int, int] = (0, 0), is_traced: bool = False) -> ArrayPixels:
    """A leaf with ruled lines, stains of its own, and the fore-edge of the book beside it.

    Leaves that are traced have pricks and a border in the same places.
    """
    rng = np.random.default_rng(seed)
    tone = np.full((900, 700), 0.12)
    tone[60:840, 40:610] = 0.82
    for layer, x in enumerate(range(560, 610, 8)):
        tone[60:840, x : x + 4] = 0.35 + 0.05 * layer
    tone[100:800:26, 80:520] -= 0.2
    tone[80:820, [80, 81, 519, 520]] -= 0.2
    for x, y in rng.integers([60, 80], [540, 820], (12, 2)):
        tone[y : y + 6, x : x + 6] -= 0.12
    if is_traced:
        for x, y in np.random.default_rng(99).integers([60, 80], [540, 820], (60, 2)):
            tone[y : y + 5, x : x + 5] -= 0.4
    tone = np.roll(tone, moved, axis=(1, 0)) + 0.004 * rng.standard_normal(tone.shape)
    return ArrayPixels(codes_of(np.repeat(tone[..., None], 3, axis=2)))


# ---------------------------------------------------------------------------------------------- hash


def hashed(pixels: ArrayPixels) -> str:
    found = picture_hash(pixels)
    assert isinstance(found, str)
    return found


def test_a_hash_is_sixteen_hexadecimal_digits() -> None:
    assert len(hashed(page(3))) == 16
    assert int(hashed(page(3)), 16) >= 0


@pytest.mark.parametrize("factor", [0.6, 0.9, 1.1])
def test_exposure_and_size_leave_the_hash_nearly_as_it_is(factor: float) -> None:
    assert hash_distance(hashed(page(3)), hashed(exposed(page(3), factor))) <= 4
    small = ArrayPixels(codes_of(resized_codes(page(3), 300, 233)))
    assert hash_distance(hashed(page(3)), hashed(small)) <= 4


def test_unrelated_pictures_are_half_of_the_bits_apart() -> None:
    """Unrelated bits: distances are binomial (63, ½), mean 31.5 and standard deviation 4."""
    rng = np.random.default_rng(4)
    hashes = [
        hashed(ArrayPixels(codes_of(rng.uniform(0, 1, (32, 32)).repeat(8, axis=0).repeat(8, axis=1))))
        for _ in range(16)
    ]
    distances = [hash_distance(one, two) for index, one in enumerate(hashes) for two in hashes[:index]]
    assert np.mean(distances) == pytest.approx(31.5, abs=1.5)
    assert min(distances) > 10


def test_a_frame_of_one_tone_has_no_hash() -> None:
    assert isinstance(picture_hash(ArrayPixels(np.full((400, 300), 90, np.uint8))), NotMeasured)


@given(st.integers(0, 2**64 - 1), st.integers(0, 2**64 - 1))
def test_distance_counts_differing_bits(one: int, two: int) -> None:
    distance = hash_distance(f"{one:016x}", f"{two:016x}")
    assert distance == sum((one >> place & 1) != (two >> place & 1) for place in range(64))
    assert hash_distance(f"{one:016x}", f"{one:016x}") == 0


@given(st.integers(8, 60), st.integers(8, 60), st.integers(2, 8), st.integers(2, 8))
def test_resizing_keeps_one_tone_and_where_things_are(
    height: int, width: int, down: int, across: int
) -> None:
    assert resized(np.full((height, width), 0.4), down, across) == pytest.approx(0.4)
    x = (np.arange(width) + 0.5) / width
    small = resized(np.tile(x, (height, 1)), down, across)
    assert small.shape == (down, across)
    middles = (np.arange(across) + 0.5) / across
    assert small[:, 1:-1] == pytest.approx(np.tile(middles[1:-1], (down, 1)), abs=0.02)
