"""Pages of shapes with edges of known blur, and pictures blurred by a known Gaussian."""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

from pipeline.measure.pixels import ArrayPixels, Codes

Numbers = npt.NDArray[np.float64]


def shapes_page(
    sigma: float | Numbers,
    *,
    width: int = 900,
    height: int = 1200,
    paper: float = 0.85,
    ink: float = 0.2,
    noise: float = 0.003,
    bits: int = 8,
    seed: int = 3,
    side: float = 36.0,
) -> ArrayPixels:
    """Squares at all angles, of which the edges are blurred by a Gaussian of `sigma` (may be a plane)."""
    rng = np.random.default_rng(seed)
    y, x = np.arange(height)[:, None] + 0.5, np.arange(width)[None, :] + 0.5
    nearest = np.full((height, width), -1e3)
    pitch = round(2.2 * side)
    for top in range(0, height, pitch):
        for left in range(0, width, pitch):
            angle = rng.uniform(0, math.pi)
            rows, columns = slice(top, top + pitch), slice(left, left + pitch)
            dx, dy = x[:, columns] - left - pitch / 2, y[rows] - top - pitch / 2
            u = dx * math.cos(angle) + dy * math.sin(angle)
            v = dy * math.cos(angle) - dx * math.sin(angle)
            nearest[rows, columns] = side / 2 - np.maximum(np.abs(u), np.abs(v))
    spread = np.sqrt(np.square(sigma) + 1 / 12)  # with the pixel's own extent
    black = _normal_share(nearest / spread)
    tone = paper + (ink - paper) * black + noise * rng.standard_normal(black.shape, dtype=np.float32)
    return ArrayPixels(codes_of(tone, bits))


def codes_of(tone: Numbers, bits: int = 8) -> Codes:
    """Codes of tones, 0 to 1."""
    full = 2**bits - 1
    codes: Numbers = np.clip(np.rint(tone * full), 0, full)
    return codes.astype(np.uint8) if bits == 8 else codes.astype(np.uint16)


def blurred(tone: Numbers, sigma: float) -> Numbers:
    """A picture (rows, columns, bands) through a Gaussian, as a circle goes round: by its transform."""
    if sigma <= 0:
        return tone
    rows = np.exp(-2 * (math.pi * sigma * np.fft.fftfreq(tone.shape[0])) ** 2)[:, None, None]
    columns = np.exp(-2 * (math.pi * sigma * np.fft.rfftfreq(tone.shape[1])) ** 2)[None, :, None]
    spectrum = np.fft.rfft2(tone, axes=(0, 1)) * rows * columns
    return np.asarray(np.fft.irfft2(spectrum, tone.shape[:2], axes=(0, 1)))


STEPS = np.linspace(-6, 6, 4801)
SHARES = np.array([0.5 * (1 + math.erf(each / math.sqrt(2))) for each in STEPS])


def _normal_share(z: Numbers) -> Numbers:
    """The normal distribution function, from a table."""
    shares = np.where(z > 0, 1.0, 0.0)
    near = np.abs(z) < STEPS[-1]
    shares[near] = np.interp(z[near], STEPS, SHARES)
    return shares
