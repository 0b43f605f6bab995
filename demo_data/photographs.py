"""Invented photographs: places that are not there, as an amateur's plate camera saw them.

Each is made as a grey picture, 0 to 1: sky and water from noise, shapes from outlines, then the lens.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np

from demo_data import pen
from demo_data.ink import blurred, drawn
from demo_data.pen import Points, Sketch
from demo_data.plate import Plate
from demo_data.textures import Field, Samples, Window, clouds, generator


def grey(level: float) -> str:
    """A grey as a hexadecimal colour."""
    return "#" + f"{round(255 * level):02x}" * 3


class View:
    """A picture in the making: width 1.4 or so, height 1, y down; a horizon."""

    def __init__(self, name: str, plate: Plate, horizon: float) -> None:
        self.rng = generator("photograph", name)
        self.plate = plate
        self.horizon = horizon
        self.wide = plate.width_mm / plate.height_mm
        self.rows, self.columns = plate.height_px, plate.width_px
        self.y = ((np.arange(self.rows) + 0.5) / self.rows).astype(np.float32)[:, None]
        self.picture = self._sky()

    def _field(self, *, roughness: float, stretch: float = 1.0) -> Samples:
        coarse = clouds(self.rng, (96, round(96 * self.wide)), roughness=roughness, stretch=stretch)
        return Field(coarse).rows(Window(0, self.rows, self.columns, 1.0), self.rows)

    def _sky(self) -> Samples:
        billows = np.clip(self._field(roughness=1.9, stretch=0.5) * 0.5 + 0.2, -0.6, 1.4)
        return np.asarray(0.66 + 0.18 * self.y / self.horizon + 0.09 * billows, np.float32)

    def paint(self, sketch: Sketch) -> None:
        """Lay flat shapes over what is there."""
        pixels = drawn(sketch, Plate(width_mm=self.wide, height_mm=1.0, ppi=self.plate.height_px * 25.4))
        pixels = pixels[: self.rows, : self.columns]
        share = pixels[..., 3].astype(np.float32) / 255
        tone = pixels[..., 1].astype(np.float32) / 255
        rows, columns = share.shape
        part = self.picture[:rows, :columns]
        part += share * (tone - part)

    def ridge(self, base: float, height: float, roughness: float, level: float) -> Points:
        """Hills along the horizon."""
        count = 160
        profile = clouds(self.rng, (2, count), roughness=roughness)[0]
        x = np.linspace(-0.02, self.wide + 0.02, count)
        track = np.stack([x, base - height * (0.5 + 0.42 * profile)], axis=1)
        outline = np.concatenate([track, pen.points((self.wide + 0.02, 1.1), (-0.02, 1.1))])
        sketch = Sketch()
        sketch.fill(outline, grey(level))
        self.paint(sketch)
        return track

    def water(self, *, brightness: float = 0.8, ripple: float = 1.0) -> None:
        """Everything below the horizon becomes water that mirrors what stands above."""
        start = round(self.horizon * self.rows)
        depth = np.arange(self.rows - start)
        wave = self._field(roughness=1.2, stretch=0.16)[start:]
        source = np.clip(
            start - 1 - depth[:, None] - (ripple * wave * (2 + 0.05 * depth[:, None])).astype(int),
            0,
            start - 1,
        )
        mirrored = self.picture[source, np.arange(self.columns)[None, :]]
        sparkle = 0.05 * wave * (0.5 + depth[:, None] / max(1, self.rows - start))
        self.picture[start:] = brightness * mirrored + sparkle + 0.02

    def texture(self, low: float, high: float, amount: float) -> None:
        """Roughness of land or rock between two heights."""
        rows = slice(round(low * self.rows), round(high * self.rows))
        self.picture[rows] *= 1 + amount * self._field(roughness=0.9)[rows]

    def finished(self) -> Samples:
        """Through the lens and the years: soft, vignetted, grained."""
        soft = blurred(self.picture, 0.0009 * self.rows + 0.4)
        x = (np.linspace(-1, 1, self.columns)[None, :]) ** 2
        y = (np.linspace(-1, 1, self.rows)[:, None]) ** 2
        soft = soft * (1.04 - 0.20 * (x + y) * (0.4 + 0.3 * (x + y)))
        grain_ = self.rng.standard_normal(soft.shape, dtype=np.float32)
        soft = soft + 0.022 * grain_ + 0.02 * self._field(roughness=1.6)
        return np.asarray(np.clip(soft, 0.02, 0.98), np.float32)


def tree(
    x: float, y: float, height: float, rng: np.random.Generator, *, level: float = 0.12, leaves: int = 5
) -> Sketch:
    """A tree by repeated forking, with clumps of leaves at its ends."""
    sketch, limbs, tips = Sketch(), [], []
    todo = [(np.array([x, y]), -math.pi / 2 + rng.normal(0, 0.05), height * 0.30, height * 0.055, 0)]
    while todo:
        foot, angle, length, width, depth = todo.pop()
        bend = angle + rng.normal(0, 0.12)
        end = foot + length * np.array([math.cos(bend), math.sin(bend)])
        middle = (foot + end) / 2 + rng.normal(0, length * 0.04, 2)
        limbs.append(
            pen.ribbon(
                pen.smooth(np.stack([foot, middle, end]), steps=3), np.linspace(width, width * 0.66, 7)
            )
        )
        if depth >= 5:
            tips.append(end)
            continue
        for turn in (rng.uniform(0.2, 0.6), -rng.uniform(0.2, 0.6)):
            todo.append((end, bend + turn, length * rng.uniform(0.68, 0.86), width * 0.66, depth + 1))
    for limb in limbs:
        sketch.fill(limb, grey(level))
    for number, tip in enumerate(tips):
        clump = [tip + rng.normal(0, height * 0.028, 2) for _ in range(leaves)]
        blobs = [
            pen.circle(float(px), float(py), height * rng.uniform(0.008, 0.022), corners=9)
            for px, py in clump
        ]
        sketch.fill(blobs, grey(level + 0.05 + 0.10 * (number % 3)), opacity=0.85)
    return sketch


def _ferry(view: View) -> None:
    view.ridge(0.50, 0.22, 1.5, 0.62)
    view.ridge(0.53, 0.12, 1.3, 0.46)
    bank = Sketch()
    for number in range(7):
        bank.include(
            tree(0.06 + 0.055 * number, 0.555, 0.14 + 0.05 * view.rng.random(), view.rng, level=0.2, leaves=4)
        )
    view.paint(bank)
    view.water(brightness=0.86)
    boat = Sketch()
    hull = pen.smooth(pen.points((0.62, 0.70), (0.66, 0.735), (0.86, 0.735), (0.92, 0.69)), steps=6)
    boat.fill(hull, grey(0.12))
    boat.line(pen.points((0.615, 0.70), (0.925, 0.69)), grey(0.3), 0.006)
    boat.line(pen.points((0.70, 0.705), (0.94, 0.86)), grey(0.15), 0.005)
    _figure(boat, 0.74, 0.70, 0.14)
    _figure(boat, 0.83, 0.70, 0.11)
    boat.line(pen.points((0.0, 0.47), (0.75, 0.60), (view.wide, 0.49)), grey(0.25), 0.003)
    shade = Sketch()
    shade.fill(
        pen.smooth(pen.points((0.62, 0.74), (0.7, 0.80), (0.88, 0.79), (0.93, 0.735)), steps=6),
        grey(0.1),
        opacity=0.5,
    )
    view.paint(shade)
    view.paint(boat)


def _figure(sketch: Sketch, x: float, y: float, height: float) -> None:
    """Somebody who stood still long enough."""
    body = pen.smooth(
        pen.track("-0.15,0 -0.13,-0.4 -0.17,-0.66 -0.1,-0.78 0.1,-0.78 0.17,-0.66 0.13,-0.4 0.15,0"),
        steps=5,
        closed=True,
    ) * height + (x, y)
    sketch.fill(body, grey(0.1))
    sketch.fill(pen.circle(x, y - 0.9 * height, 0.085 * height), grey(0.5))
    sketch.fill(
        pen.rectangle(x - 0.13 * height, y - 1.0 * height, x + 0.13 * height, y - 0.95 * height), grey(0.08)
    )


def _mill(view: View) -> None:
    view.ridge(0.48, 0.16, 1.4, 0.58)
    view.ridge(0.56, 0.07, 1.2, 0.40)
    view.texture(0.5, 1.0, 0.10)
    house = Sketch()
    house.fill(pen.rectangle(0.42, 0.30, 0.92, 0.66), grey(0.72))
    house.fill(pen.points((0.38, 0.32), (0.46, 0.14), (0.88, 0.14), (0.96, 0.32)), grey(0.28))
    house.lines([pen.points((0.40, y), (0.94, y)) for y in np.arange(0.17, 0.31, 0.022)], grey(0.2), 0.003)
    house.fill(pen.rectangle(0.76, 0.06, 0.81, 0.16), grey(0.4))
    for x in (0.49, 0.62, 0.75, 0.85):
        for y in (0.37, 0.52):
            house.fill(pen.rectangle(x - 0.028, y, x + 0.028, y + 0.075), grey(0.12))
            house.lines(
                [
                    pen.points((x, y), (x, y + 0.075)),
                    pen.points((x - 0.028, y + 0.037), (x + 0.028, y + 0.037)),
                ],
                grey(0.8),
                0.004,
            )
    courses = [pen.points((0.42, y), (0.92, y)) for y in np.arange(0.33, 0.66, 0.018)]
    house.lines(courses, grey(0.55), 0.0016, opacity=0.6)
    wheel, cx, cy = 0.155, 0.42, 0.62
    for radius in (wheel, wheel * 0.86):
        house.line(pen.polygon(pen.circle(cx, cy, radius, corners=60)), grey(0.12), 0.011)
    for number in range(12):
        angle = math.pi * number / 6
        tip = np.array([cx + wheel * 1.05 * math.cos(angle), cy + wheel * 1.05 * math.sin(angle)])
        house.line(np.stack([np.array([cx, cy]), tip]), grey(0.15), 0.008)
    view.paint(house)
    trees = Sketch()
    trees.include(tree(1.14, 0.68, 0.62, view.rng, level=0.14, leaves=7))
    trees.include(tree(0.14, 0.66, 0.46, view.rng, level=0.2, leaves=7))
    view.paint(trees)
    view.horizon = 0.74
    view.water(brightness=0.78, ripple=1.5)
    bank = Sketch()
    edge = np.linspace(0, view.wide, 60)
    bank.fill(
        np.concatenate(
            [
                np.stack([edge, 0.735 + 0.008 * np.sin(edge * 19)], axis=1),
                np.stack([edge[::-1], 0.752 + 0.006 * np.sin(edge[::-1] * 31)], axis=1),
            ]
        ),
        grey(0.2),
    )
    view.paint(bank)


def _beacon(view: View) -> None:
    view.water(brightness=0.62, ripple=2.2)
    view.texture(view.horizon, 1.0, 0.13)
    rock = Sketch()
    top = pen.track(
        "0.28,0.72 0.36,0.64 0.44,0.61 0.52,0.555 0.6,0.55 0.68,0.6 0.74,0.595 0.84,0.66 0.94,0.72"
    )
    top = pen.jittered(pen.smooth(top, steps=6), view.rng, 0.004)
    rock.fill(np.concatenate([top, pen.points((0.9, 0.745), (0.6, 0.76), (0.34, 0.745))]), grey(0.16))
    facets = []
    for _ in range(70):
        x = view.rng.uniform(0.34, 0.88)
        y = float(np.interp(x, top[:, 0], top[:, 1])) + view.rng.uniform(0.01, 0.09)
        facets.append(pen.points((x, y), (x + 0.02, y - 0.012), (x + 0.03, y + 0.004)))
    rock.fill([facet for facet in facets if facet[:, 1].max() < 0.735], grey(0.38), opacity=0.7)
    tower = pen.points((0.545, 0.56), (0.562, 0.20), (0.622, 0.20), (0.642, 0.56))
    rock.fill(tower, grey(0.86))
    rock.fill(pen.points((0.60, 0.56), (0.596, 0.20), (0.622, 0.20), (0.642, 0.56)), grey(0.5), opacity=0.7)
    for y0, y1 in ((0.26, 0.34), (0.42, 0.50)):
        half0, half1 = (0.030 + 0.019 * (y - 0.2) / 0.36 for y in (y0, y1))
        rock.fill(
            pen.points((0.592 - half0, y0), (0.592 + half0, y0), (0.593 + half1, y1), (0.593 - half1, y1)),
            grey(0.25),
            opacity=0.9,
        )
    rock.fill(pen.rectangle(0.552, 0.185, 0.632, 0.20), grey(0.2))
    rock.fill(pen.rectangle(0.572, 0.135, 0.612, 0.185), grey(0.95))
    rock.lines([pen.points((x, 0.135), (x, 0.185)) for x in (0.572, 0.585, 0.599, 0.612)], grey(0.15), 0.003)
    rock.fill(pen.smooth(pen.points((0.564, 0.137), (0.592, 0.095), (0.62, 0.137)), steps=6), grey(0.2))
    view.paint(rock)
    spray = Sketch()
    for _ in range(160):
        x = view.rng.uniform(0.26, 0.96)
        spray.fill(
            pen.circle(
                x, 0.742 + view.rng.normal(0, 0.010), abs(view.rng.normal(0, 0.008)) + 0.002, corners=9
            ),
            grey(0.95),
            opacity=0.5,
        )
    for _ in range(9):
        x, y = view.rng.uniform(0.1, 1.25), view.rng.uniform(0.1, 0.45)
        wing = pen.smooth(
            pen.points(
                (x - 0.018, y - 0.006),
                (x - 0.008, y - 0.011),
                (x, y),
                (x + 0.008, y - 0.012),
                (x + 0.018, y - 0.005),
            )
        )
        spray.line(wing, grey(0.2), 0.0035)
    view.paint(spray)


def _bridge(view: View) -> None:
    view.ridge(0.46, 0.2, 1.5, 0.6)
    view.ridge(0.54, 0.08, 1.2, 0.42)
    trees = Sketch()
    for foot, tall in ((0.1, 0.36), (0.24, 0.28), (1.2, 0.4), (1.32, 0.3)):
        trees.include(tree(foot, 0.58, tall, view.rng, level=0.18, leaves=6))
    view.paint(trees)
    x = np.linspace(-0.02, view.wide + 0.02, 90)
    deck = 0.43 + 0.10 * ((x - view.wide / 2) / (view.wide / 2)) ** 2
    stone = Sketch()
    stone.fill(
        np.concatenate([np.stack([x, deck], axis=1), pen.points((view.wide + 0.02, 0.66), (-0.02, 0.66))]),
        grey(0.55),
    )
    for centre, half in ((0.40, 0.20), (0.98, 0.20)):
        turn = np.linspace(math.pi, 2 * math.pi, 30)
        arch = np.stack([centre + half * np.cos(turn), 0.665 + 0.165 * np.sin(turn)], axis=1)
        stone.fill(arch, grey(0.74))
        stone.fill(
            np.concatenate([arch, (arch - (centre, 0.665)) * (0.93, 0.97) + (centre - 0.012, 0.665)][:1]),
            grey(0.74),
        )
        rim = np.stack([centre + (half + 0.012) * np.cos(turn), 0.665 + 0.178 * np.sin(turn)], axis=1)
        stone.line(rim, grey(0.3), 0.016)
        voussoirs = [np.stack([arch[k], rim[k]]) for k in range(0, 30, 2)]
        stone.lines(voussoirs, grey(0.7), 0.003)
        underside = np.concatenate([arch[:14], arch[:14][::-1] * (1.0, 1.0) + (0.03, 0.012)])
        stone.fill(underside, grey(0.2), opacity=0.8)
    stone.line(np.stack([x, deck], axis=1), grey(0.3), 0.012)
    joints = [
        pen.points((a, b), (a + 0.035, b))
        for b in np.arange(0.47, 0.64, 0.02)
        for a in np.arange(0.0, view.wide, 0.052)
        if abs(a - 0.40) > 0.2 and abs(a - 0.98) > 0.2
    ]
    stone.lines(joints, grey(0.42), 0.0022)
    _figure(stone, 0.70, 0.428, 0.075)
    view.paint(stone)
    view.horizon = 0.66
    view.water(brightness=0.8, ripple=1.2)


def _alder(view: View) -> None:
    view.ridge(0.80, 0.06, 1.4, 0.6)
    view.ridge(0.86, 0.03, 1.2, 0.42)
    view.texture(0.8, 1.0, 0.2)
    sketch = tree(0.34, 0.90, 0.62, view.rng, level=0.1, leaves=9)
    _figure(sketch, 0.52, 0.905, 0.10)
    view.paint(sketch)


def _boats(view: View) -> None:
    view.ridge(0.545, 0.05, 1.6, 0.6)
    fleet = Sketch()
    for x, size, level in ((0.2, 0.34, 0.34), (0.52, 0.5, 0.2), (0.95, 0.42, 0.26), (1.24, 0.28, 0.4)):
        _sail(fleet, x, 0.56, size, level)
    view.paint(fleet)
    view.water(brightness=0.84, ripple=1.6)
    hulls = Sketch()
    for x, size, level in ((0.2, 0.34, 0.2), (0.52, 0.5, 0.1), (0.95, 0.42, 0.14), (1.24, 0.28, 0.26)):
        hull = pen.track("-0.28,-0.03 -0.22,0.06 0.24,0.06 0.32,-0.05 0.2,-0.02 -0.1,-0.01") * size + (
            x,
            0.565,
        )
        hulls.fill(hull, grey(level))
    view.paint(hulls)


def _sail(sketch: Sketch, x: float, y: float, size: float, level: float) -> None:
    sketch.line(pen.points((x, y), (x + 0.01, y - size)), grey(0.1), 0.005 * size * 2)
    main = pen.smooth(
        pen.points((0.02, -0.12), (0.30, -0.14), (0.24, -0.6), (0.04, -0.92)), steps=5, closed=True
    ) * size + (x, y)
    jib = pen.points((-0.03, -0.86), (-0.30, -0.14), (-0.04, -0.16)) * size + (x, y)
    sketch.fill(main, grey(level))
    sketch.fill(jib, grey(level + 0.12))
    sketch.lines(
        [pen.points((0.04, -h), (0.28, -h + 0.02)) * size + (x, y) for h in (0.28, 0.44, 0.6)],
        grey(level - 0.1),
        0.003,
    )


def _moon(view: View) -> None:
    view.picture *= 0.42
    glow = np.hypot((np.arange(view.columns)[None, :] / view.rows) - 0.92, view.y - 0.26)
    view.picture += (0.42 * np.exp(-((glow / 0.22) ** 2))).astype(np.float32)
    disc = Sketch()
    disc.fill(pen.circle(0.92, 0.26, 0.085, corners=60), grey(0.97))
    for dx, dy, radius in ((-0.02, -0.02, 0.02), (0.025, 0.01, 0.014), (-0.005, 0.035, 0.017)):
        disc.fill(pen.circle(0.92 + dx, 0.26 + dy, radius), grey(0.86))
    view.paint(disc)
    for base, height, level in (
        (0.60, 0.16, 0.34),
        (0.70, 0.14, 0.24),
        (0.82, 0.12, 0.15),
        (0.97, 0.10, 0.07),
    ):
        view.ridge(base, height, 1.35, level)
    stones = Sketch()
    for number in range(7):
        x = 0.2 + 0.085 * number
        tall = 0.11 + 0.05 * view.rng.random()
        stone = pen.points((-0.022, 0), (-0.018, -tall), (0.012, -tall - 0.015), (0.024, 0))
        stones.fill(pen.moved(stone, x, 0.80 + 0.012 * math.sin(number)), grey(0.06))
        stones.line(
            pen.moved(pen.points((0.012, -tall - 0.013), (0.023, 0)), x, 0.80 + 0.012 * math.sin(number)),
            grey(0.5),
            0.003,
        )
    view.paint(stones)


SCENES: dict[str, tuple[Callable[[View], None], float]] = {
    "ferry": (_ferry, 0.56),
    "mill": (_mill, 0.6),
    "beacon": (_beacon, 0.68),
    "bridge": (_bridge, 0.6),
    "alder": (_alder, 0.85),
    "boats": (_boats, 0.56),
    "moon": (_moon, 0.6),
}


def photograph(name: str, width_mm: float, height_mm: float, ppi: float) -> Samples:
    """The picture as it came from the plate: lightness, 0 to 1."""
    scene, horizon = SCENES[name]
    view = View(name, Plate(width_mm=width_mm, height_mm=height_mm, ppi=ppi), horizon)
    scene(view)
    return view.finished()
