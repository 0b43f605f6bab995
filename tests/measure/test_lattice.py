"""Lattices and homographies against grids of known plane."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.measure.lattice import Homography, homography, lattices
from pipeline.measure.regions import Regions

Numbers = npt.NDArray[np.float64]
GRID = np.array([(x, y) for y in range(4) for x in range(6)], np.float64)


def plane(turn: float = 20.0, slant: float = 0.0, pitch: float = 40.0) -> Homography:
    c, s = pitch * np.cos(np.radians(turn)), pitch * np.sin(np.radians(turn))
    return Homography(np.array([[c, -s, 300.0], [s, c, 120.0], [slant, slant / 2, 1.0]]))


def regions(centres: Numbers, side: float = 35.0) -> Regions:
    return Regions(centres=np.asarray(centres, np.float64), sides=np.full(len(centres), side))


@given(st.floats(-180, 180), st.floats(-0.02, 0.03))
def test_a_homography_is_found_again_from_the_places_it_makes(turn: float, slant: float) -> None:
    true = plane(turn, slant)
    found = homography(GRID, true(GRID))
    assert found is not None
    assert found(GRID) == pytest.approx(true(GRID), abs=1e-6)


@pytest.mark.parametrize("places", [GRID[:6], np.zeros((12, 2)), GRID[:3]])
def test_places_on_a_line_determine_no_homography(places: Numbers) -> None:
    assert homography(places, plane()(places)) is None


def test_homographies_follow_one_another() -> None:
    moved = plane().after(np.array([[1, 0, 2.0], [0, 1, 1], [0, 0, 1]])).scaled(3)
    assert moved((0, 0)).tolist() == pytest.approx((3 * plane()((2, 1))).tolist())
    assert plane(pitch=40).step((2, 1)) == pytest.approx(40)


@settings(max_examples=40)
@given(st.floats(-180, 180), st.floats(-0.01, 0.02))
def test_a_grid_is_grown_whole_at_any_turn_and_slant(turn: float, slant: float) -> None:
    (lattice,) = lattices(regions(plane(turn, slant)(GRID)))
    assert len(lattice.members) == 24
    assert lattice.residual < 1e-9


def test_missing_patches_are_stepped_over() -> None:
    left = np.delete(GRID, [8, 9, 15, 23], axis=0)
    (lattice,) = lattices(regions(plane()(left)))
    assert len(lattice.members) == 20
    assert lattice.plane.step((2, 1)) == pytest.approx(40)


def test_a_region_off_the_plane_is_left_out() -> None:
    centres = plane()(GRID)
    centres[7] += [6.0, 0.0]
    (lattice,) = lattices(regions(centres))
    assert len(lattice.members) == 23


def test_regions_of_other_sizes_are_not_of_the_lattice() -> None:
    sides = np.where(np.arange(24) < 6, 18.0, 35.0)
    (lattice,) = lattices(Regions(centres=plane()(GRID), sides=sides))
    assert len(lattice.members) == 18


def test_two_grids_give_two_lattices_the_larger_first() -> None:
    small = plane(pitch=16)(GRID) + np.array([300.0, 200.0])
    both = np.concatenate([small, plane()(GRID)])
    sides = np.array([14.0] * 24 + [35.0] * 24)
    found = list(lattices(Regions(centres=both, sides=sides)))
    assert [round(each.plane.step((0, 0))) for each in found] == [40, 16]


def test_scattered_regions_give_no_lattice() -> None:
    centres = np.random.default_rng(3).uniform(0, 1500, (200, 2))
    assert list(lattices(regions(centres))) == []


def test_no_regions_give_no_lattice() -> None:
    assert list(lattices(regions(np.zeros((0, 2))))) == []
