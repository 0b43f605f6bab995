"""Publication of bundles: each is verified first, and what is rejected never comes near the site."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from pipeline import containers
from pipeline.errors import ExitStatus
from pipeline.progress import SILENT, Progress
from pipeline.publish import Done, Outcome, Plan, Publisher
from pipeline.verdict import Verdict
from pipeline.verify import Options, verify


@dataclass(frozen=True, slots=True, kw_only=True)
class Publication:
    """What came of one bundle."""

    item: str
    """Empty for a bundle that was rejected."""
    done: Done | None
    """None for a bundle that was rejected, or if nothing was to be changed."""
    plan: Plan | None
    verdict: Verdict | None
    """None for a bundle that is online as it is: it was verified when it was published."""

    @property
    def exit_status(self) -> ExitStatus:
        """As that of the verdict."""
        return self.verdict.exit_status if self.verdict else ExitStatus.DONE


def publish(
    publisher: Publisher,
    path: Path,
    options: Options,
    *,
    has_pdf: bool | None = None,
    is_dry: bool = False,
    progress: Progress = SILENT,
) -> Publication:
    """Verify one bundle and publish it, or with `is_dry` find out what would be done.

    Without `has_pdf`, the item has a PDF if it had one.
    Raises InputError if it is no publication bundle, ToolError if the site cannot be written.
    """
    with containers.opened(path, limits=options.terms.limits) as container:
        if publisher.knows(container):
            plan = publisher.plan(container, has_pdf=has_pdf)
            if plan.outcome is Outcome.UNCHANGED:
                done = None if is_dry else publisher.publish(path, container, plan)
                return Publication(item=plan.entry.item, done=done, plan=plan, verdict=None)
        verdict = verify(path, options, progress).verdict
        if verdict.exit_status is not ExitStatus.DONE:
            return Publication(item="", done=None, plan=None, verdict=verdict)
        plan = publisher.plan(container, has_pdf=has_pdf)
        done = None if is_dry else publisher.publish(path, container, plan, progress)
        return Publication(item=plan.entry.item, done=done, plan=plan, verdict=verdict)
