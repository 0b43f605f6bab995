"""The files that an audit leaves in a folder: page, document, and PREMIS events of every run.

Page and document are those of the last run. Events are kept from run to run, in files named by when it
began, each with no more objects than fit in memory easily.
"""

from __future__ import annotations

import datetime as dt
from pathlib import Path

from pipeline.audit import events
from pipeline.audit.document import Document, document
from pipeline.audit.values import Audit, Outcome
from pipeline.files import write_atomically
from pipeline.model import Event
from pipeline.report import audit as audit_page
from pipeline.report.verification import json_bytes

PAGE, DOCUMENT, EVENTS = "audit.html", "audit.json", "audit-events"
MOST_EVENTS = 2000
"""In one file."""


class Reports:
    """Takes in outcomes as they come, and writes the report at the end."""

    def __init__(self, folder: Path, store: str, *, started: dt.datetime, version: str) -> None:
        self._folder, self._store, self._version = folder, store, version
        self._stamp = f"{started.astimezone(dt.UTC):%Y%m%dT%H%M%SZ}"
        self._waiting: list[Event] = []
        self._written: list[str] = []

    def take(self, outcome: Outcome) -> None:
        """Take in one object's outcome. Raises ToolError."""
        self._waiting += events.events_of(outcome, self._store)
        if len(self._waiting) >= MOST_EVENTS:
            self._write_events()

    def flush(self) -> None:
        """Write the events that were taken in, also of a run that ends early. Raises ToolError."""
        if self._waiting:
            self._write_events()

    def _write_events(self) -> None:
        name = f"{EVENTS}/{self._stamp}-{len(self._written) + 1:03}.xml"
        write_atomically(self._folder / name, events.premis_document(self._waiting, self._version))
        self._written.append(name)
        self._waiting = []

    def close(self, audit: Audit) -> Document:
        """Write page, document and events; return the document. Raises ToolError."""
        self.flush()
        made = document(audit, made_by=f"solander {self._version}")
        beside = [(DOCUMENT, "The same for machines, complete")]
        beside += [(name, "What was done, as PREMIS events") for name in self._written[:1]]
        write_atomically(self._folder / DOCUMENT, json_bytes(made))
        write_atomically(self._folder / PAGE, audit_page.page_of(made, beside=beside))
        return made
