"""What the patches of the 24-patch colour target ought to be: by edition, or by a target's own measurement.

Published averages lie in ``schemas/references``. A file of measured values (`pipeline.measure.cgats`) is
matched to them by colour, never by name: names of patches contradict each other from file to file.
"""

from __future__ import annotations

import datetime
import functools
import re
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from pipeline import jsondoc
from pipeline.errors import Problem, SettingsError
from pipeline.measure import cgats
from pipeline.measure.colour import ciede2000
from pipeline.measure.profile import lab_from_xyz

Numbers = npt.NDArray[np.float64]
Lab = tuple[float, float, float]
"""CIE L*, a*, b* for D50 and the 2° observer."""

COLUMNS, ROWS = 6, 4
PATCHES = COLUMNS * ROWS
NEUTRALS = range(18, 24)
"""The patches of the last row, from white to black."""
DEFAULT = "24-patch-since-2014-11"

FAR_FROM_NOMINAL = 3.0
"""Mean ΔE00 to the nearest edition above which a measured file is remarked upon; common practice."""
SURE = 0.6
"""A patch is known if it is so much nearer to one nominal colour than to any other."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Reference:
    """Reference values of a 24-patch target, row by row from the upper left, the neutral row last."""

    identifier: str
    title: str
    """As a finding names it: which edition, or whose measurement."""
    is_measured: bool
    """True for a target's own measurement, False for the averages of an edition."""
    source: str
    names: tuple[str, ...]
    labs: tuple[Lab, ...]
    note: str = ""
    created: datetime.date | None = None
    """When it was measured, if the file says so in a way that can be read."""
    condition: str = ""
    """Measurement condition of ISO 13655: M0 with ultraviolet, M1 as D50, M2 without; empty if not said."""
    remarks: tuple[str, ...] = ()
    """What a person should know before relying on it."""

    @property
    def array(self) -> Numbers:
        """The values, one row a patch."""
        return np.array(self.labs)


# ------------------------------------------------------------------------------------------ editions


def names() -> tuple[str, ...]:
    """Return the names of the editions that come with the package, sorted."""
    return tuple(sorted(path.stem for path in _folder().glob("*.toml")))


@functools.cache
def load(name: str = DEFAULT) -> Reference:
    """Return the averages of an edition. Raises SettingsError for a name that is none."""
    if name not in names():
        problem = Problem(where="reference", found=f'"{name}"', expected=", ".join(names()))
        raise SettingsError("there are no such reference values", problems=[problem])
    document = tomllib.loads((_folder() / f"{name}.toml").read_text(encoding="utf-8"))
    return _edition(document)


@functools.cache
def editions() -> tuple[Reference, ...]:
    """Return all editions that come with the package, the default first."""
    return tuple(load(name) for name in sorted(names(), key=lambda name: (name != DEFAULT, name)))


def _folder() -> Path:
    return jsondoc.schemas_folder() / "references"


def _edition(document: dict[str, Any]) -> Reference:
    head, source = document["reference"], document["source"]
    return Reference(
        identifier=head["id"],
        title=head["title"],
        is_measured=False,
        source=f"{source['title']}; read: {source['read']}",
        names=tuple(patch["name"] for patch in document["patch"]),
        labs=tuple(_lab(patch["lab"]) for patch in document["patch"]),
        note=" ".join(head["note"].split()),
    )


def _lab(values: Any) -> Lab:
    lightness, a, b = map(float, values)
    return (lightness, a, b)


# ----------------------------------------------------------------------------------- measured targets

_LAB = ("LAB_L", "LAB_A", "LAB_B")
_XYZ = ("XYZ_X", "XYZ_Y", "XYZ_Z")
_XYY = ("XYY_X", "XYY_Y", "XYY_CAPY")

_VIEWING = re.compile(
    r"WEIGHTING_FUNCTION|ILLUMIN|OBSERVER|MEASUREMENT_|COMPUTATIONAL_PARAMETER|WHITE_?POINT"
)
"""Keywords under which files say for which light and observer their values are."""
_LIGHT = re.compile(r"\bD(50|55|65|75|93)\b|\bILLUMINANT\W{1,3}(A|C|E|F\d{1,2})\b", re.IGNORECASE)
_ANGLE = re.compile(r"\b(2|10)\s*(?:°|deg)|OBSERVER\W*(?:ANGLE)?\W*(2|10)\b", re.IGNORECASE)
_CONDITION = re.compile(r"\bM([0-3])\b")


def read_measured(data: bytes, *, name: str) -> Reference:
    """Return the reference values that a target's own file of measurements has.

    `name` is what messages call the file. Values are L*a*b*, XYZ or xyY for D50 and 2°; patches are matched
    by colour. Raises SettingsError for a file that has not 24 patches of the target, or is for another light
    or observer.
    """
    table = _table(cgats.read(cgats.text_of(data, name=name), name=name), name)
    _refuse_other_viewing(table, name)
    labs = _labs(table, name)
    nominal = min(editions(), key=lambda each: _mean_difference(labs, each, name))
    order = _order(labs, nominal, table, name)
    described = next(iter(table.values("DESCRIPTOR")), "") or name
    return Reference(
        identifier=name,
        title=f"measurement of the target: {described}",
        is_measured=True,
        source=f"{name}, {next(iter(table.values('ORIGINATOR')), 'originator not said')}",
        names=nominal.names,
        labs=tuple(_lab(labs[row]) for row in order),
        created=_date(next(iter(table.values("CREATED")), "")),
        condition=_condition(table),
        remarks=(*table.remarks, *_remarks(table, labs[order], nominal)),
    )


def _table(tables: tuple[cgats.Table, ...], name: str) -> cgats.Table:
    """The first table that has colours, with 24 rows."""
    coloured = [each for each in tables if _columns(each)]
    if not coloured:
        found = ", ".join(tables[0].fields)
        problem = Problem(where=name, found=f"the columns {found}", expected="LAB_L, LAB_A and LAB_B")
        raise SettingsError(f"{name}: has no colours that can be used", problems=[problem])
    table = next((each for each in coloured if len(each.rows) == PATCHES), coloured[0])
    if len(table.rows) != PATCHES:
        problem = Problem(where=name, found=f"{len(table.rows)} rows", expected=f"{PATCHES}, one a patch")
        raise SettingsError(f"{name}: is no measurement of the 24-patch target", problems=[problem])
    return table


def _columns(table: cgats.Table) -> tuple[str, ...]:
    return next((each for each in (_LAB, _XYZ, _XYY) if set(each) <= set(table.fields)), ())


def _labs(table: cgats.Table, name: str) -> Numbers:
    columns = _columns(table)
    values = np.array([table.numbers(row, columns, name=name) for row in range(len(table.rows))])
    if columns == _LAB:
        return values
    xyz = _xyz_from_xyy(values) if columns == _XYY else values
    return lab_from_xyz(xyz / (100 if xyz[:, 1].max() > 1.5 else 1))


def _xyz_from_xyy(values: Numbers) -> Numbers:
    x, y, luminance = values.T
    scale = luminance / np.maximum(y, 1e-9)
    return np.stack([x * scale, luminance, (1 - x - y) * scale], axis=1)


def _said(table: cgats.Table) -> str:
    return "; ".join(f"{key} {value}" for key, value in table.keywords if _VIEWING.search(key))


def _refuse_other_viewing(table: cgats.Table, name: str) -> None:
    said = _said(table)
    lights = {match[0].upper() for match in _LIGHT.finditer(said)}
    angles = {match[1] or match[2] for match in _ANGLE.finditer(said)}
    if lights - {"D50"} or angles - {"2"}:
        found = ", ".join([*sorted(lights), *(f"{angle}°" for angle in sorted(angles))])
        advice = "ask the laboratory for values for D50 and 2°"
        problem = Problem(where=name, found=found, expected="D50 and the 2° observer", advice=advice)
        raise SettingsError(f"{name}: is for another light or observer", problems=[problem])


def _mean_difference(labs: Numbers, edition: Reference, name: str) -> float:
    """Mean ΔE00 of the rows to the nominal colours that they are nearest to."""
    return float(_distances(labs, edition).min(axis=1).mean())


def _distances(labs: Numbers, edition: Reference) -> Numbers:
    return ciede2000(labs[:, np.newaxis], edition.array[np.newaxis])


def _order(labs: Numbers, edition: Reference, table: cgats.Table, name: str) -> npt.NDArray[np.intp]:
    """Return the row of each patch. Raises SettingsError where colours do not tell patches apart."""
    problems = list(_unclear(_distances(labs, edition), edition, table, name))
    if problems:
        raise SettingsError(f"{name}: its rows are not the patches of the 24-patch target", problems=problems)
    return np.argsort(_distances(labs, edition).argmin(axis=1), kind="stable")


def _unclear(distances: Numbers, edition: Reference, table: cgats.Table, name: str) -> Iterator[Problem]:
    taken: dict[int, int] = {}
    for row, line in enumerate(table.lines):
        best, second = (int(each) for each in np.argsort(distances[row], kind="stable")[:2])
        where = f"{name}, line {line}"
        if distances[row, best] > SURE * distances[row, second]:
            found = f"a colour between {edition.names[best]} and {edition.names[second]}"
            yield Problem(where=where, found=found, expected="a colour of one patch")
        elif best in taken:
            found = f"{edition.names[best]} a second time (first in line {taken[best]})"
            yield Problem(where=where, found=found, expected="each patch once")
        taken.setdefault(best, line)


def _remarks(table: cgats.Table, labs: Numbers, nominal: Reference) -> Iterator[str]:
    said = _said(table)
    if not _LIGHT.search(said) or not _ANGLE.search(said):
        yield "the file does not say light and observer; taken to be D50 and 2°"
    if not _condition(table):
        yield "the file does not say the measurement condition (M0, M1, M2)"
    if _columns(table) != _LAB:
        yield f"the file has no L*a*b*; computed from {', '.join(_columns(table))} with the white of D50"
    far = float(ciede2000(labs, nominal.array).mean())
    if far > FAR_FROM_NOMINAL:
        yield f"on average {far:.1f} ΔE00 from the {nominal.title}: is it the file of this target?"


def _condition(table: cgats.Table) -> str:
    found = (_CONDITION.search(value) for _, value in table.keywords)
    return next((match[0] for match in found if match), "")


_DATES = ("%Y-%m-%d", "%d.%m.%Y", "%B %d, %Y", "%d %B %Y", "%Y/%m/%d")


def _date(text: str) -> datetime.date | None:
    """The date that a text begins with, in one of the forms that tell day and month apart."""
    words = text.replace("T", " ", 1) if re.match(r"\d{4}-\d\d-\d\dT", text) else text
    for form in _DATES:
        part = " ".join(words.split()[: len(form.split())])
        try:
            return datetime.datetime.strptime(part, form).date()
        except ValueError:
            continue
    return None
