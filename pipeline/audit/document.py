"""The audit as a JSON document: ``schemas/audit.schema.json``. The page is made from it alone."""

from __future__ import annotations

from pipeline import jsondoc
from pipeline.audit.values import Audit, Condition, Mend, Outcome, Standing
from pipeline.findings import Finding
from pipeline.jsondoc import JsonValue
from pipeline.report.verification import finding_object
from pipeline.specs import ocfl

SCHEMA = "urn:solander:schema:audit:1"
Document = dict[str, JsonValue]


def document(audit: Audit, *, made_by: str) -> Document:
    """Return the audit as a JSON document. `made_by` names the program and its version."""
    made: Document = {
        "schema": SCHEMA,
        "made_at": audit.ended.isoformat(timespec="seconds"),
        "made_by": made_by,
        "store": audit.store,
        "replica": audit.replica or None,
        "run": {
            "started": audit.started.isoformat(timespec="seconds"),
            "ended": audit.ended.isoformat(timespec="seconds"),
            "took_s": round(audit.took_s, 3),
            "order": audit.order,
            "planned": audit.planned,
            "is_complete": audit.is_complete,
            "files": audit.files,
            "read_bytes": audit.read_bytes,
        },
        "exit_status": int(audit.exit_status),
        "counts": {each.value: audit.counts.get(each, 0) for each in Condition},
        "not_told": audit.not_told,
        "standing": _standing(audit.standing),
        "objects": [_object(each) for each in audit.outcomes],
        "root": [finding_object(each) for each in audit.root.findings],
    }
    return {key: jsondoc.encodable(value) for key, value in made.items()}


def _standing(standing: Standing) -> Document:
    return {
        "objects": standing.objects,
        "size_bytes": standing.size_bytes,
        "never_proved": standing.never,
        "dated_ahead": standing.ahead,
        "oldest_proof": standing.oldest or None,
        "within_days": standing.within_days,
        "overdue": standing.overdue,
        "overdue_bytes": standing.overdue_bytes,
        "bytes_per_s": round(standing.bytes_per_s),
        "every_days": round(standing.every_days, 3),
        "needed_s": _rounded(standing.needed_s),
        "catch_up_s": _rounded(standing.catch_up_s),
        "allowed_s": standing.allowed_s,
        "is_behind": standing.is_behind,
    }


def _rounded(seconds: float | None) -> float | None:
    return None if seconds is None else round(seconds, 1)


def _object(outcome: Outcome) -> Document:
    return {
        "id": outcome.object_id,
        "place": outcome.place,
        "head": outcome.head,
        "condition": outcome.condition.value,
        "when": outcome.when.isoformat(timespec="seconds"),
        "size_bytes": outcome.size_bytes,
        "findings": [_finding(each) for each in outcome.report.findings],
        "trouble": [{"path": path, "reason": why} for path, why in sorted(outcome.trouble.items())],
        "mends": [_mend(each) for each in outcome.mends],
    }


def _finding(finding: Finding) -> Document:
    version = finding.place.partition("/")[0]
    return {**finding_object(finding), "version": version if ocfl.version_number(version) else None}


def _mend(mend: Mend) -> Document:
    return {
        "path": mend.path,
        "algorithm": mend.algorithm,
        "digest": mend.digest,
        "source": mend.source or None,
        "is_mended": mend.is_mended,
        "kept_aside": mend.kept_aside or None,
        "hindrance": mend.hindrance or None,
    }
