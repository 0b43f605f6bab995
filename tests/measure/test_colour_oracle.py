"""L*a*b* and colour differences held against colour-science, an independent library of colorimetry."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from pipeline import icc
from pipeline.measure.colour import ciede2000
from pipeline.measure.profile import lab_from_xyz, profile_of_space, xyz_of_lab
from pipeline.specs import icc as spec

CODES = np.stack(np.meshgrid(*[np.linspace(0, 1, 9)] * 3), axis=-1).reshape(-1, 3)
"""Every ninth of each channel."""

SPACES = {"sRGB": icc.SRGB, "Adobe RGB (1998)": icc.WIDE_RGB}


@pytest.fixture(scope="module")
def colour() -> Any:
    """The library; it takes a second to load."""
    import colour

    return colour


def white_xy(colour: Any) -> Any:
    return colour.XYZ_to_xy(np.array(spec.D50))


def test_lab_of_xyz_is_that_of_the_library_and_back(colour: Any) -> None:
    xyz = CODES * 1.2 + 1e-5
    theirs = colour.XYZ_to_Lab(xyz, illuminant=white_xy(colour))
    assert np.abs(lab_from_xyz(xyz) - theirs).max() < 1e-9
    assert np.abs(xyz_of_lab(theirs) - xyz).max() < 1e-9


def test_differences_are_those_of_the_library(colour: Any) -> None:
    drawn = np.random.default_rng(20).uniform([0, -100, -100], [100, 100, 100], (2, 5000, 3))
    near = drawn[0] + np.random.default_rng(21).normal(0, 2, drawn[0].shape)
    for other in (drawn[1], near):
        theirs = colour.delta_E(drawn[0], other, method="CIE 2000")
        assert np.abs(ciede2000(drawn[0], other) - theirs).max() < 1e-9


@pytest.mark.parametrize("name", SPACES)
def test_lab_of_codes_is_that_of_the_library(colour: Any, name: str) -> None:
    """Within 0.05: profiles round colourants to 16 bits, and the library takes whites with more digits."""
    ours = profile_of_space(SPACES[name])
    theirs = colour.XYZ_to_Lab(
        colour.RGB_to_XYZ(
            CODES,
            colour.RGB_COLOURSPACES[name],
            illuminant=white_xy(colour),
            chromatic_adaptation_transform="Bradford",
            apply_cctf_decoding=True,
        ),
        illuminant=white_xy(colour),
    )
    assert np.abs(ours.lab(ours.linear(CODES)) - theirs).max() < 0.05
