"""The quality document: what was judged, by what, with what result. It becomes quality.json.

Form: ``schemas/quality.schema.json``. Names of numbers carry their units. The same judgement at the same
time gives the same document.
"""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Mapping, Sequence

from pipeline.findings import Finding, Level, Report, Skipped
from pipeline.jsondoc import JsonValue, encodable
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
from pipeline.specification import Limit, Specification

SCHEMA = "urn:solander:schema:quality:1"
NOT_MEASURED = ("colour", "tone", "evenness of light", "focus", "noise", "true scale")
"""What only measures of the picture can say."""

Document = dict[str, JsonValue]


def quality_document(
    item: Item | None,
    frames: tuple[Frame, ...],
    records: Mapping[str, FrameRecord],
    unreadable: tuple[UnreadableMaster, ...],
    report: Report,
    specification: Specification,
    *,
    now: dt.datetime,
    software_version: str,
) -> Document:
    """Return the quality document of an item, or of a bare folder of images if `item` is None."""
    broken = {each.frame: each for each in unreadable}
    captured = [frame for frame in frames if frame.file is not None]
    document: Document = {
        "schema": SCHEMA,
        "made_at": now.isoformat(timespec="seconds"),
        "software": {"name": "solander", "version": software_version},
        "item": _item(item) if item else None,
        "verdict": _verdict(report, captured=len(captured), unreadable=len(unreadable)),
        "specification": _specification(specification),
        "findings": [_finding(each) for each in report.findings],
        "not_judged": _not_judged(report.skipped),
        "not_measured": list(NOT_MEASURED),
        "sessions": [_session(each, captured) for each in item.sessions] if item else [],
        "frames": [_frame(f, records.get(f.identifier), broken.get(f.identifier)) for f in frames],
    }
    return {key: encodable(value) for key, value in document.items()}


def _item(item: Item) -> Document:
    return {
        "id": item.identifier,
        "shelfmark": item.shelfmark,
        "title": _languages(item.title),
        "kind": item.kind.value,
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


def _finding(finding: Finding) -> Document:
    return {
        "code": finding.code,
        "level": finding.level.value,
        "title": finding.title,
        "place": finding.place,
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
        "limits": [_limit(each) for each in specification.limits],
        "sources": [
            {"tag": each.tag, "title": each.title, "read": each.read} for each in specification.sources
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


def _frame(frame: Frame, record: FrameRecord | None, broken: UnreadableMaster | None) -> Document:
    return {
        "id": frame.identifier,
        "file": str(frame.file) if frame.file is not None else None,
        "row": frame.row or None,
        "label": frame.label,
        "kind": frame.kind.value,
        "session": frame.session,
        "light": str(frame.light),
        "unreadable": broken.reason if broken else None,
        "master": _master(record) if record else None,
    }


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
