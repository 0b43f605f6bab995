"""The quality document: what was judged, by what, with what result. It becomes quality.json.

Form: ``schemas/quality.schema.json``. Names of numbers carry their units. The same judgement at the same
time gives the same document.
"""

from __future__ import annotations

import datetime as dt
import math
from collections import defaultdict
from collections.abc import Mapping, Sequence

from pipeline.findings import Finding, Level, Report, Skipped
from pipeline.jsondoc import JsonValue, encodable
from pipeline.measurements import Curve, FrameMeasures, Grid, Mark, Measurement, PatchValues
from pipeline.model import (
    CaptureFacts,
    Frame,
    FrameRecord,
    Item,
    LanguageMap,
    MasterFacts,
    Session,
    UnreadableMaster,
)
from pipeline.record import places as record_places
from pipeline.report.compared import Comparison, ValuesFor, compared
from pipeline.specification import Limit, Specification

SCHEMA = "urn:solander:schema:quality:1"
NOT_MEASURED = (
    "moiré, stripes, rings and halos",
    "reflections, shadows and show-through",
    "whether every leaf was photographed that is not counted in the list of pages",
    "whether the text can be read",
)
"""What nothing here measures: it takes an eye."""
FIGURES = 6
"""Significant figures of measured numbers: more than any measurement has."""

Document = dict[str, JsonValue]


def quality_document(
    item: Item | None,
    frames: tuple[Frame, ...],
    records: Mapping[str, FrameRecord],
    unreadable: tuple[UnreadableMaster, ...],
    report: Report,
    specification: Specification,
    *,
    values_for: ValuesFor,
    now: dt.datetime,
    software_version: str,
) -> Document:
    """Return the quality document of an item, or of a bare folder of images if `item` is None.

    `values_for` says which values of a frame a limit is held against: as the rules that judged it do.
    """
    broken = {each.frame: each for each in unreadable}
    captured = [frame for frame in frames if frame.file is not None]
    places = Places(frames, item.sessions if item else ())
    document: Document = {
        "schema": SCHEMA,
        "made_at": now.isoformat(timespec="seconds"),
        "software": {"name": "solander", "version": software_version},
        "item": _item(item) if item else None,
        "verdict": _verdict(report, captured=len(captured), unreadable=len(unreadable)),
        "specification": _specification(specification),
        "findings": [_finding(each, places) for each in report.findings],
        "not_judged": _not_judged(report.skipped),
        "not_measured": list(NOT_MEASURED),
        "sessions": [_session(each, captured) for each in item.sessions] if item else [],
        "frames": [
            _frame(each, records.get(each.identifier), broken.get(each.identifier), specification, values_for)
            for each in frames
        ],
    }
    return {key: encodable(value) for key, value in document.items()}


def _item(item: Item) -> Document:
    return {
        "id": item.identifier,
        "shelfmark": item.shelfmark,
        "title": _languages(item.title),
        "kind": item.kind.value,
        "reading": item.reading.value,
    }


def _languages(text: LanguageMap) -> Document:
    return {language: list(texts) for language, texts in text.entries}


def _verdict(report: Report, *, captured: int, unreadable: int) -> Document:
    return {
        "outcome": report.outcome,
        "errors": len(report.at(Level.ERROR)),
        "warnings": len(report.at(Level.WARNING)),
        "notes": len(report.at(Level.NOTE)),
        "frames": captured,
        "frames_unreadable": unreadable,
    }


class Places:
    """Which frame or session the place of a finding is."""

    def __init__(self, frames: Sequence[Frame], sessions: Sequence[Session]) -> None:
        self._frames = {record_places.of_frame(each): each.identifier for each in frames}
        self._sessions = {record_places.of_session(each): each.identifier for each in sessions}

    def frame(self, place: str) -> str | None:
        """The frame's identifier; None if the place is no frame."""
        return self._frames.get(place)

    def session(self, place: str) -> str | None:
        """The session's identifier; None if the place is no session."""
        return self._sessions.get(place)


def _finding(finding: Finding, places: Places) -> Document:
    return {
        "code": finding.code,
        "level": finding.level.value,
        "title": finding.title,
        "place": finding.place,
        "frame": places.frame(finding.place),
        "session": places.session(finding.place),
        "value": finding.value,
        "limit": finding.limit,
        "source": finding.source,
        "advice": finding.advice,
    }


def _not_judged(skipped: tuple[Skipped, ...]) -> list[Document]:
    """Group what was skipped by rule and reason, in the order of the rules."""
    places: dict[tuple[str, str, str], list[str]] = defaultdict(list)
    for each in skipped:
        places[each.code, each.title, each.reason].append(each.place)
    return [
        {"code": code, "title": title, "reason": reason, "places": where}
        for (code, title, reason), where in places.items()
    ]


def _specification(specification: Specification) -> Document:
    return {
        "id": specification.identifier,
        "title": specification.title,
        "version": specification.version,
        "covers": specification.covers,
        "note": specification.note,
        "publication": specification.publication,
        "category": specification.category,
        "grade": specification.grade,
        "limits": [_limit(each) for each in specification.limits],
        "sources": [
            {
                "tag": each.tag,
                "title": each.title,
                "read": each.read,
                "is_second_hand": each.is_second_hand,
            }
            for each in specification.sources
        ],
    }


def _limit(limit: Limit) -> Document:
    return {
        "measure": limit.measure.value,
        "label": limit.measure.label,
        "comparator": limit.comparator.value,
        "values": list(limit.values),
        "unit": limit.unit,
        "text": limit.text,
        "statistic": limit.statistic,
        "formula": limit.formula,
        "conditions": limit.conditions,
        "level": limit.level.value,
        "source": limit.source.tag,
        "where": limit.where,
    }


def _session(session: Session, frames: Sequence[Frame]) -> Document:
    return {
        "id": session.identifier,
        "date": session.date.isoformat(),
        "operator": session.operator,
        "camera": session.camera,
        "lens": session.lens,
        "lights": list(session.lights),
        "support": session.support,
        "targets": list(session.targets),
        "resolution_ppi": session.ppi,
        "note": session.note,
        "frames": sum(frame.session == session.identifier for frame in frames),
    }


def _frame(
    frame: Frame,
    record: FrameRecord | None,
    broken: UnreadableMaster | None,
    specification: Specification,
    values_for: ValuesFor,
) -> Document:
    measures = record.measures if record else None
    return {
        "id": frame.identifier,
        "file": str(frame.file) if frame.file is not None else None,
        "row": frame.row or None,
        "place": record_places.of_frame(frame),
        "label": frame.label,
        "kind": frame.kind.value,
        "session": frame.session,
        "light": str(frame.light),
        "unreadable": broken.reason if broken else None,
        "master": _master(record) if record else None,
        "measures": _measures(measures) if measures else None,
        "compared": _comparisons(record, specification, values_for) if record else [],
    }


def _comparisons(record: FrameRecord, specification: Specification, values_for: ValuesFor) -> list[Document]:
    if record.measures is None:
        return []
    found = compared(specification, record.measures, values_for, long_edge_mm=record.facts.long_edge_mm)
    return [_comparison(each) for each in found]


def _master(record: FrameRecord) -> Document:
    facts = record.facts
    across, down = facts.ppi or (None, None)
    return {
        "size_bytes": record.master.size_bytes,
        "digests": {each.algorithm.value: each.hex_digest for each in record.master.fixity},
        "picture_sha256": record.pixel_digest,
        "read_at": record.read_at.isoformat(timespec="seconds"),
        "format": facts.format.value,
        "compression": facts.compression,
        "width_px": facts.width_px,
        "height_px": facts.height_px,
        "bits_per_sample": list(facts.bits_per_sample),
        "photometric": facts.photometric,
        "orientation": facts.orientation,
        "resolution_across_ppi": _rounded(across),
        "resolution_down_ppi": _rounded(down),
        "resolution_unit": facts.resolution_unit.value,
        "colour_space": _colour_space(facts),
        "assumed_profile": record.assumed_profile or None,
        "capture": _capture(facts.capture),
    }


def _colour_space(facts: MasterFacts) -> str | None:
    if facts.icc:
        return facts.icc.description or "a profile without a name"
    return facts.declared_space or None


def _capture(capture: CaptureFacts) -> Document:
    return {
        "camera": _joined(capture.make, capture.model),
        "lens": _joined(capture.lens_make, capture.lens_model),
        "exposure_time_s": float(capture.exposure_time_s) if capture.exposure_time_s else None,
        "f_number": float(capture.f_number) if capture.f_number else None,
        "iso_speed": capture.iso_speed,
        "focal_length_mm": float(capture.focal_length_mm) if capture.focal_length_mm else None,
        "captured_at": capture.captured_at or None,
        "changed_at": capture.changed_at or None,
        "software": capture.software or None,
    }


def _joined(make: str, model: str) -> str | None:
    name = model if make.casefold() in model.casefold() else f"{make} {model}"
    return name.strip() or None


def _rounded(ppi: float | None) -> float | None:
    """To four decimals: 157.48 per centimetre is 399.9992 ppi."""
    return round(ppi, 4) if ppi is not None else None


# ------------------------------------------------------------------------------------- what was measured


def _measures(measures: FrameMeasures) -> Document:
    return {
        "version": measures.version,
        "measurements": [_measurement(each) for each in measures.measurements],
        "reference": measures.reference or None,
        "patches": [_patch(each) for each in measures.patches],
        "curves": [_curve(each) for each in measures.curves],
        "grids": [_grid(each) for each in measures.grids],
        "marks": [_mark(each) for each in measures.marks],
        "remarks": list(measures.remarks),
        "picture_hash": measures.picture_hash or None,
    }


def _measurement(measured: Measurement) -> Document:
    value = _figures(measured.value)
    return {
        "quantity": measured.quantity.value,
        "label": measured.quantity.label,
        "value": value,
        "unit": measured.quantity.unit,
        "statistic": measured.statistic,
        "formula": measured.formula,
        "place": measured.place,
        "method": measured.method,
        "uncertainty": _figures(measured.uncertainty) or None,
        "reason": None if value is not None else measured.reason or "no number came out",
    }


def _patch(patch: PatchValues) -> Document:
    return {
        "name": patch.name,
        "lab": [_figures(each) for each in patch.lab],
        "reference_lab": [_figures(each) for each in patch.reference],
        "difference_ciede2000": _figures(patch.difference),
        "noise_lightness_sd": _figures(patch.noise),
        "is_clipped": patch.is_clipped,
        "is_neutral": patch.is_neutral,
    }


def _curve(curve: Curve) -> Document:
    return {
        "name": curve.name,
        "x_label": curve.x_label,
        "y_label": curve.y_label,
        "points": [
            [_figures(x), _figures(y)] for x, y in curve.points if math.isfinite(x) and math.isfinite(y)
        ],
    }


def _grid(grid: Grid) -> Document:
    return {
        "name": grid.name,
        "unit": grid.unit,
        "rows": [[_figures(value) for value in row] for row in grid.rows],
    }


def _mark(mark: Mark) -> Document:
    return {
        "kind": mark.kind,
        "points": [[_figures(x), _figures(y)] for x, y in mark.points],
        "is_closed": mark.is_closed,
    }


def _comparison(comparison: Comparison) -> Document:
    return {
        "limit": comparison.limit,
        "standing": comparison.standing.value,
        "value": _figures(comparison.value),
        "uncertainty": _figures(comparison.uncertainty) or None,
        "place": comparison.place,
        "values": comparison.values,
        "beyond": comparison.beyond,
        "reason": comparison.reason or None,
    }


def _figures(value: float | None) -> float | None:
    """To `FIGURES`; None also for what is no number."""
    if value is None or not math.isfinite(value):
        return None
    return float(f"{value:.{FIGURES}g}")
