"""The files that an audit leaves in a folder: page, document, and PREMIS events of every run.

Page and document are those of the last run. Events are kept from run to run, in files named by when it
began and by the store, each with no more objects than fit in memory easily.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import itertools
from pathlib import Path

from pipeline.audit import events
from pipeline.audit.document import Document, document
from pipeline.audit.record import Record
from pipeline.audit.values import Audit, Outcome
from pipeline.files import write_atomically
from pipeline.report import audit as audit_page
from pipeline.report.verification import json_bytes

PAGE, DOCUMENT, EVENTS = "audit.html", "audit.json", "audit-events"
MOST_EVENTS = 2000
"""In one file."""


class Reports:
    """Takes in outcomes as they come, and writes the report at the end.

    Events lie in the record, together with the proofs that they tell of, until a file has them: what a run
    that was killed still owes is written by the next one, and nothing is written twice.
    """

    def __init__(
        self, folder: Path, record: Record, store: str, *, started: dt.datetime, version: str
    ) -> None:
        self._folder, self._record, self._store, self._version = folder, record, store, version
        key = hashlib.sha256(store.encode()).hexdigest()[:8]
        self._stamp = f"{started.astimezone(dt.UTC):%Y%m%dT%H%M%SZ}-{key}"
        self._owed = 0
        self._written: list[str] = []

    def take(self, outcome: Outcome) -> None:
        """Take in one object's outcome; the record's next commit makes it last. Raises ToolError."""
        if self._owed >= MOST_EVENTS:
            self._write_events()
        made = [(each.identifier, events.to_text(each)) for each in events.events_of(outcome, self._store)]
        self._record.owe(made, self._version)
        self._owed += len(made)

    def flush(self) -> None:
        """Write all events that are owed, also of a run that ends early. Raises ToolError."""
        if self._record.store == self._store:  # else the run was refused: they are of another store
            self._write_events()

    def _write_events(self) -> None:
        for file in self._record.promised():
            self._record.settle(file, is_written=Path(file).exists())
            for part in Path(file).parent.glob(f".{Path(file).name}.*.part"):
                part.unlink(missing_ok=True)
        while owed := self._record.owed(MOST_EVENTS):
            name = self._next_name()
            path = self._folder.absolute() / name
            self._record.promise(owed, str(path))
            write_atomically(
                path, events.premis_document([*map(events.from_text, owed.documents)], owed.software)
            )
            self._record.settle(str(path), is_written=True)
            self._written.append(name)
        self._owed = 0

    def _next_name(self) -> str:
        """A name that no file has: two runs may begin in one second."""
        names = (f"{EVENTS}/{self._stamp}-{number:03}.xml" for number in itertools.count(1))
        return next(name for name in names if not (self._folder / name).exists())

    def close(self, audit: Audit) -> Document:
        """Write page, document and events; return the document. Raises ToolError."""
        self.flush()
        made = document(audit, made_by=f"solander {self._version}")
        beside = [(DOCUMENT, "The same for machines, complete")]
        beside += [(name, "What was done, as PREMIS events") for name in self._written[:1]]
        write_atomically(self._folder / DOCUMENT, json_bytes(made))
        write_atomically(self._folder / PAGE, audit_page.page_of(made, beside=beside))
        return made
