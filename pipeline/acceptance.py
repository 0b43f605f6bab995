"""A delivery: bundles are verified one after another, each has its report, and all have a summary."""

from __future__ import annotations

import datetime as dt
import itertools
import pickle
import tempfile
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import IO

from pipeline.errors import InputError, ToolError
from pipeline.findings import Report
from pipeline.progress import SILENT, Progress
from pipeline.report import contact_sheets, verification
from pipeline.report import delivery as summary
from pipeline.verdict import Delivery, NotJudged, Verdict
from pipeline.verify import Options, Verified, verify, verify_between, verify_payloads
from pipeline.verify.between import Told


@dataclass(slots=True, kw_only=True)
class Acceptance:
    """Takes the bundles of one delivery. What it keeps of each is its verdict and what it tells of pages.

    A delivery may have thousands of bundles: what they tell waits in a nameless temporary file.
    """

    options: Options
    reports: Path
    now: dt.datetime
    made_by: str
    """The program and its version, as reports name them."""
    _verdicts: list[Verdict] = field(default_factory=list)
    _not_judged: list[NotJudged] = field(default_factory=list)
    _told: _Waiting = field(default_factory=lambda: _Waiting())
    _payloads: dict[bytes, list[str]] = field(default_factory=lambda: defaultdict(list))
    """Paths of bundles by the fingerprints of their files."""
    _taken: set[str] = field(default_factory=lambda: set(summary.RESERVED))
    """Names of reports that are given away."""

    def take(self, path: Path, progress: Progress = SILENT) -> tuple[Verdict, Path]:
        """Verify one bundle and write its report; returns the verdict, and the path of the report's page.

        Raises InputError if there is nothing to judge, ToolError if the report cannot be written.
        """
        try:
            verified = verify(path, self.options, progress)
        except InputError as error:
            self.leave(path, error.message.removeprefix(f"{path}: "))
            raise
        name = summary.free_name(verified.verdict.name, self._taken)
        self._write(name, verified)
        self._verdicts.append(verified.verdict)
        self._told.add(verified.told)
        if verified.told.payload:
            self._payloads[verified.told.payload].append(str(path))
        return verified.verdict, self.reports / f"{name}{verification.PAGE_SUFFIX}"

    def leave(self, path: Path, reason: str) -> None:
        """Keep for the summary that a bundle was given and was not judged, and why."""
        self._not_judged.append(NotJudged(str(path), reason))

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
        """Compare bundles with each other, those of one item more closely, and write the summary of all.

        Nothing is written if nothing was judged. Raises ToolError.
        """
        reports = [verify_between(members, self.options) for members in self._told.groups()]
        reports.append(verify_payloads(self._payloads.values(), self.options))
        between = Report(
            findings=tuple(itertools.chain.from_iterable(each.findings for each in reports)),
            skipped=tuple(itertools.chain.from_iterable(each.skipped for each in reports)),
        )
        delivery = Delivery(
            verdicts=tuple(self._verdicts), between=between, not_judged=tuple(self._not_judged)
        )
        if not delivery.verdicts:
            return delivery
        summary.write(self.reports, delivery, made_by=self.made_by, now=self.now)
        return delivery


_IN_MEMORY_BYTES = 64 << 20


class _Waiting:
    """What bundles tell of their items, until all of them were seen; those of no group are let go."""

    def __init__(self) -> None:
        self._file: IO[bytes] = tempfile.SpooledTemporaryFile(max_size=_IN_MEMORY_BYTES)  # noqa: SIM115
        self._places: dict[str, list[int]] = defaultdict(list)

    def __del__(self) -> None:
        """Let go of the file."""
        self._file.close()

    def add(self, told: Told) -> None:
        """Keep what one bundle tells. Raises ToolError if the disk is full."""
        if told.group:
            try:
                self._places[told.group].append(self._file.seek(0, 2))
                pickle.dump(told, self._file)
            except OSError as error:
                raise ToolError(f"no room for what {told.bundle} tells of its pages ({error})") from error

    def groups(self) -> Iterator[list[Told]]:
        """Yield the bundles of one item together, in the order in which the first of each was seen."""
        for places in self._places.values():
            yield [self._at(place) for place in places]

    def _at(self, place: int) -> Told:
        self._file.seek(place)
        told: Told = pickle.load(self._file)  # our own, written above
        return told
