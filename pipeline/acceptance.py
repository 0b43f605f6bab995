"""A delivery: bundles are verified one after another, each has its report, and all have a summary."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field
from pathlib import Path

from pipeline.progress import SILENT, Progress
from pipeline.report import contact_sheets, verification
from pipeline.report import delivery as summary
from pipeline.verdict import Delivery, Verdict
from pipeline.verify import Options, Verified, verify, verify_between
from pipeline.verify.between import Told


@dataclass(slots=True, kw_only=True)
class Acceptance:
    """Takes the bundles of one delivery. What it keeps of each is its verdict and what it tells of pages."""

    options: Options
    reports: Path
    now: dt.datetime
    made_by: str
    """The program and its version, as reports name them."""
    _verdicts: list[Verdict] = field(default_factory=list)
    _told: list[Told] = field(default_factory=list)
    _taken: set[str] = field(default_factory=lambda: set(summary.RESERVED))
    """Names of reports that are given away."""

    def take(self, path: Path, progress: Progress = SILENT) -> tuple[Verdict, Path]:
        """Verify one bundle and write its report; returns the verdict, and the path of the report's page.

        Raises InputError if there is nothing to judge, ToolError if the report cannot be written.
        """
        verified = verify(path, self.options, progress)
        name = summary.free_name(verified.verdict.name, self._taken)
        self._write(name, verified)
        self._verdicts.append(verified.verdict)
        self._told.append(verified.told)
        return verified.verdict, self.reports / f"{name}{verification.PAGE_SUFFIX}"

    def _write(self, name: str, verified: Verified) -> None:
        verdict = verified.verdict
        sheets = b""
        if verdict.sample:
            sheets = contact_sheets.page(
                verdict.sample,
                verified.thumbnails,
                labels=verified.labels,
                name=verdict.name,
                made_by=self.made_by,
                now=self.now,
            )
        verification.write(
            self.reports,
            name,
            verdict,
            made_by=self.made_by,
            now=self.now,
            contact_sheets=sheets,
            summary=summary.PAGE_NAME,
        )

    def close(self) -> Delivery:
        """Compare bundles of one item with each other, and write the summary of all. Raises ToolError.

        Nothing is written if nothing was judged.
        """
        delivery = Delivery(verdicts=tuple(self._verdicts), between=verify_between(self._told, self.options))
        if not delivery.verdicts:
            return delivery
        summary.write(self.reports, delivery, made_by=self.made_by, now=self.now)
        return delivery
