"""What is drawn: a task for each captured row of the items' pages.csv, and the camera's word on it.

The text files beside this module are the one source: sessions, equipment, dates, resolutions are read from
them. What only a camera knows (exposure, clock) is here.
"""

from __future__ import annotations

import csv
import datetime as dt
import functools
import tomllib
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Any

from demo_data import album, arabic, codex, letters, papyrus, tablet, targets, trial, truth
from demo_data.colour import grey_profile, rgb_profile, wrong_profile
from demo_data.picture import Picture
from demo_data.plate import Plate
from demo_data.textures import generator
from demo_data.tiff import Capture
from demo_data.truth import Fault

HERE = Path(__file__).parent
MASTERS = "masters"
SOFTWARE = "Kestrelworks Develop 4.2"
ZONE = dt.timezone(dt.timedelta(hours=1))
FIRST_FRAME_AT = dt.time(9, 30)
FRAME_INTERVAL = dt.timedelta(minutes=2, seconds=20)


@dataclass(frozen=True, slots=True, kw_only=True)
class MasterTask:
    """One master to draw; small, so that it can be sent to another process."""

    item: str
    file: str
    label: str
    kind: str
    session: str
    light: str
    number: int
    """Place in its session, from 0: sets the camera's clock."""
    path: Path
    """Where the master goes."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Exposure:
    """How a light was exposed."""

    time_s: Fraction
    f_number: Fraction
    iso_speed: int
    light_source: int
    is_flash: bool


EXPOSURES = {
    "normal": Exposure(
        time_s=Fraction(1, 125), f_number=Fraction(11), iso_speed=64, light_source=4, is_flash=True
    ),
    "raking": Exposure(
        time_s=Fraction(1, 4), f_number=Fraction(11), iso_speed=64, light_source=23, is_flash=False
    ),
    "infrared": Exposure(
        time_s=Fraction(3, 5), f_number=Fraction(8), iso_speed=200, light_source=255, is_flash=False
    ),
}

FLAT_MM = {600.0: (92.0, 70.0), 400.0: (150.0, 115.0), 800.0: (70.0, 52.0)}
"""The part of the card that a flat frame shows, by the session's resolution."""
TRIAL_FLAT_MM = (92.0, 70.0)


@functools.cache
def document(name: str) -> dict[str, Any]:
    """One of the TOML files beside this module."""
    with (HERE / name).open("rb") as file:
        return tomllib.load(file)


@functools.cache
def rows(item: str) -> tuple[dict[str, str], ...]:
    """The rows of an item's pages.csv."""
    with (HERE / item / "pages.csv").open(encoding="utf-8", newline="") as file:
        return tuple(csv.DictReader(file))


def tasks_of(item: str, folder: Path) -> tuple[MasterTask, ...]:
    """The masters of an item whose folder is `folder`, in the order of pages.csv."""
    tasks: list[MasterTask] = []
    for row in rows(item):
        if row["file"]:
            number = sum(task.session == row["session"] for task in tasks)
            tasks.append(
                MasterTask(
                    item=item,
                    file=row["file"],
                    label=row["label"],
                    kind=row["kind"],
                    session=row["session"],
                    light=row["light"].split()[0] if row["light"] else "normal",
                    number=number,
                    path=folder / MASTERS / row["file"],
                )
            )
    return tuple(tasks)


def session_of(task: MasterTask) -> dict[str, Any]:
    """The session of a task, as item.toml has it."""
    found: dict[str, Any] = next(
        session for session in document(f"{task.item}/item.toml")["session"] if session["id"] == task.session
    )
    return found


def profile_of(task: MasterTask) -> bytes:
    """The profile that the master carries."""
    if task.item == truth.TRIAL and truth.planted(task.label, Fault.WRONG_PROFILE):
        return wrong_profile()
    return grey_profile() if task.light == "infrared" else rgb_profile()


def capture_of(task: MasterTask, *, scale: float = 1.0) -> Capture:
    """What the camera writes into the file; `scale` shrinks the resolution with the picture."""
    session, register = (
        session_of(task),
        {each["id"]: each for each in document("solander.toml")["equipment"]},
    )
    camera, lens, exposure = register[session["camera"]], register[session["lens"]], EXPOSURES[task.light]
    shelfmark = document(f"{task.item}/item.toml")["item"]["shelfmark"]
    started = dt.datetime.combine(session["date"], FIRST_FRAME_AT, ZONE)
    return Capture(
        description=f"{shelfmark}, {task.label or task.kind}",
        make=camera["maker"],
        model=camera["model"],
        body_serial=camera["serial"],
        lens_make=lens["maker"],
        lens_model=lens["model"],
        lens_serial=lens["serial"],
        focal_length_mm=lens["focal_length_mm"],
        exposure_time_s=exposure.time_s,
        f_number=exposure.f_number,
        iso_speed=exposure.iso_speed,
        light_source=exposure.light_source,
        is_flash=exposure.is_flash,
        sensing_method=1 if camera["sensor"] == "MonochromeArea" else 2,
        captured_at=started + task.number * FRAME_INTERVAL,
        software=SOFTWARE,
        artist=document("solander.toml")["unit"]["name"],
        copyright="Public Domain Mark 1.0",
        ppi=session["ppi"] * scale,
    )


# ------------------------------------------------------------------------------------------- pictures


def size_mm(task: MasterTask) -> tuple[float, float]:
    """Width and height of what the frame shows."""
    if task.kind == "target":
        return _truth(task).target.size_mm
    if task.kind == "flat":
        return TRIAL_FLAT_MM if task.item == truth.TRIAL else FLAT_MM[float(session_of(task)["ppi"])]
    if task.item == "adl-ms-7":
        return {"foldout": (201.0, 163.0), "spine": (42.0, 165.0), "edge": (42.0, 165.0)}.get(
            task.kind, (128.0, 165.0)
        )
    if task.item == "adl-tab-12":
        width, height = tablet.FACES[task.label]
        return max(width, 50.0) + 16.0, height + 20.0
    return {
        "adl-or-3": (185.0, 254.0),
        "adl-pap-3": (168.0, 131.0),
        "adl-let-1823": (196.0, 241.0),
        "adl-alb-5": (252.0, 196.0),
        truth.TRIAL: trial.FRAME_MM,
    }[task.item]


def plate_of(task: MasterTask, *, scale: float = 1.0) -> Plate:
    """Size and resolution of the picture."""
    width, height = size_mm(task)
    return Plate(width_mm=width, height_mm=height, ppi=session_of(task)["ppi"] * scale)


def picture_of(task: MasterTask, *, scale: float = 1.0) -> Picture:
    """Draw the picture of a task."""
    plate = plate_of(task, scale=scale)
    match task.kind, task.item:
        case "target", _:
            return targets.target(plate, _truth(task).target, seed=_seed(task), light=_light(task))
        case "flat", _:
            bands = 1 if task.light == "infrared" else 3
            return targets.flat(plate, _truth(task).flat, bands=bands, seed=_seed(task), light=_light(task))
        case _, truth.TRIAL:
            return trial.page(plate, task.label, _truth(task))
        case _, "adl-ms-7":
            return _of_codex(task, plate)
        case "cover", "adl-or-3":
            return arabic.cover_of(plate, task.label.split()[0])
        case _, "adl-or-3":
            return arabic.page(plate, _folio(task))
        case _, "adl-pap-3":
            return papyrus.frame(plate, task.label, task.light)
        case _, "adl-tab-12":
            return tablet.frame(plate, task.label)
        case _, "adl-let-1823":
            return letters.frame(plate, *letters.PLACES[_folio(task)])
        case "cover", _:
            return album.front(plate)
        case _:
            return album.page(plate, task.label.split()[-1])


def _of_codex(task: MasterTask, plate: Plate) -> Picture:
    match task.kind:
        case "cover":
            return codex.cover_of(plate, task.label.split()[0])
        case "foldout":
            return codex.foldout(plate)
        case "spine":
            return codex.back(plate)
        case "edge":
            return codex.fore_edge(plate)
        case _:
            return codex.pastedown(plate) if "pastedown" in task.label else codex.page(plate, _folio(task))


def _folio(task: MasterTask) -> str:
    """``3r`` of ``f. 3r``."""
    return task.label.removeprefix("f. ")


def _truth(task: MasterTask) -> truth.SessionTruth:
    return truth.SESSIONS[task.item, task.session]


def _light(task: MasterTask) -> targets.Light:
    session = _truth(task)
    return targets.Light(cast=session.cast, ramp=session.flat.ramp)


def _seed(task: MasterTask) -> int:
    return int(generator(task.item, task.file).integers(1 << 20))
