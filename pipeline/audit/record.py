"""When each object of a store was last proved, and with which result: our own record, in one SQLite file.

The only importer of sqlite3. The record is never the truth about an object; losing it loses history and
order, no proof of bytes. Dates are those of the run's clock, so they may be wrong: order among proofs is
kept by a number that only grows, and a date that has not come yet proves nothing.
"""

from __future__ import annotations

import contextlib
import datetime as dt
import json
import sqlite3
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path
from typing import Any, NamedTuple

from pipeline.audit.values import Condition, Mend, Outcome
from pipeline.errors import InputError, SettingsError, ToolError
from pipeline.files import visible, writing
from pipeline.ocfl.walking import Found

APPLICATION_ID = 0x736F6C61
_FIRST_TABLES = """
CREATE TABLE about (key TEXT PRIMARY KEY, value TEXT NOT NULL) WITHOUT ROWID;
CREATE TABLE objects (
  place TEXT PRIMARY KEY, object_id TEXT NOT NULL DEFAULT '', head TEXT NOT NULL DEFAULT '',
  files INTEGER NOT NULL, size_bytes INTEGER NOT NULL, first_seen TEXT NOT NULL,
  is_there INTEGER NOT NULL DEFAULT 1, proved_at TEXT NOT NULL DEFAULT '', proof INTEGER NOT NULL DEFAULT 0,
  condition TEXT NOT NULL DEFAULT ''
) WITHOUT ROWID;
CREATE INDEX objects_by_id ON objects (object_id);
CREATE TABLE versions (
  place TEXT NOT NULL, version TEXT NOT NULL, inventory TEXT NOT NULL, PRIMARY KEY (place, version)
) WITHOUT ROWID;
CREATE TABLE proofs (
  number INTEGER PRIMARY KEY AUTOINCREMENT, place TEXT NOT NULL, object_id TEXT NOT NULL, head TEXT NOT NULL,
  at TEXT NOT NULL, condition TEXT NOT NULL, codes TEXT NOT NULL, files INTEGER NOT NULL,
  size_bytes INTEGER NOT NULL
);
CREATE INDEX proofs_of_objects ON proofs (place);
CREATE TABLE parts (
  place TEXT NOT NULL, path TEXT NOT NULL, inventory TEXT NOT NULL, digests TEXT NOT NULL, at TEXT NOT NULL,
  PRIMARY KEY (place, path)
) WITHOUT ROWID;
CREATE TABLE runs (
  number INTEGER PRIMARY KEY AUTOINCREMENT, started TEXT NOT NULL, ended TEXT NOT NULL DEFAULT '',
  read_bytes INTEGER NOT NULL DEFAULT 0, objects INTEGER NOT NULL DEFAULT 0
);
CREATE TABLE mends (
  number INTEGER PRIMARY KEY AUTOINCREMENT, at TEXT NOT NULL, place TEXT NOT NULL, path TEXT NOT NULL,
  digest TEXT NOT NULL, source TEXT NOT NULL, kept_aside TEXT NOT NULL
);
"""
_TABLES_OF_WHAT_IS_OWED = """
CREATE TABLE owed (
  number INTEGER PRIMARY KEY AUTOINCREMENT, event TEXT NOT NULL UNIQUE, document TEXT NOT NULL,
  software TEXT NOT NULL, file TEXT NOT NULL DEFAULT ''
);
CREATE TABLE begun_mends (
  place TEXT NOT NULL, path TEXT NOT NULL, algorithm TEXT NOT NULL, digest TEXT NOT NULL,
  source TEXT NOT NULL, at TEXT NOT NULL, PRIMARY KEY (place, path)
) WITHOUT ROWID;
"""
_STEPS = (_FIRST_TABLES, _TABLES_OF_WHAT_IS_OWED)
"""How a record comes from each version to the next."""
VERSION = len(_STEPS)
"""A record of a later version is not touched."""


class Known(NamedTuple):
    """What the record has of one object. A plain tuple, for there may be hundreds of thousands."""

    place: str
    object_id: str
    head: str
    size_bytes: int
    first_seen: str
    is_there: bool
    proved_at: str
    """When it was last found intact; empty if never."""
    proof: int
    """A number that grows with every look at any object; 0 for one that was never looked at."""
    condition: str
    """What the last look found; empty for one that was never looked at."""


class Owed(NamedTuple):
    """Events that are not in any file yet, all told by one version of the program."""

    software: str
    last: int
    """The number of the last of them."""
    documents: tuple[str, ...]


class Record:
    """An open record. One run at a time has it; what was committed survives a kill."""

    def __init__(self, connection: sqlite3.Connection, path: Path) -> None:
        self._connection = connection
        self.path = path

    # ------------------------------------------------------------------------------------ objects

    def known(self) -> dict[str, Known]:
        """Return what is known of every object, by place."""
        rows = self._ask(
            "SELECT place, object_id, head, size_bytes, first_seen, is_there, proved_at, proof, condition "
            "FROM objects ORDER BY place"
        )
        return {row[0]: Known._make(row) for row in rows}

    def there(self) -> frozenset[str]:
        """The places of all objects that are there."""
        return frozenset(place for (place,) in self._ask("SELECT place FROM objects WHERE is_there"))

    def see(self, objects: Iterable[Found], now: dt.datetime, *, unknown: Iterable[str] = ()) -> None:
        """Take in which objects are there, and which are not any more; of `unknown` places nothing is."""
        with self._telling():
            self._connection.execute("UPDATE objects SET is_there = 0")
            self._connection.executemany(
                "UPDATE objects SET is_there = 1 WHERE place = ?", ((place,) for place in unknown)
            )
            self._connection.executemany(
                "INSERT INTO objects (place, files, size_bytes, first_seen) VALUES (?, ?, ?, ?) "
                "ON CONFLICT (place) DO UPDATE SET is_there = 1, files = excluded.files, "
                "size_bytes = excluded.size_bytes",
                ((each.place, each.files, each.size_bytes, _text(now)) for each in objects),
            )
            self._connection.commit()

    def see_again(self, found: Found) -> None:
        """Take in that an object is there again; `commit` makes it last."""
        with self._telling():
            self._connection.execute(
                "UPDATE objects SET is_there = 1, files = ?, size_bytes = ? WHERE place = ?",
                (found.files, found.size_bytes, found.place),
            )

    def take(self, outcome: Outcome) -> None:
        """Take in what came of one object; `commit` makes it last."""
        with self._telling():
            if outcome.condition is Condition.UNFINISHED:
                return
            for mend in outcome.mends:
                if mend.is_mended:
                    self._add_mend(outcome, mend)
            if (earlier := outcome.earlier) is not None:
                self._add_proof(earlier)
            number = self._add_proof(outcome)
            is_intact = outcome.condition in (Condition.INTACT, Condition.MENDED)
            proved, head = (_text(outcome.when), outcome.head) if is_intact else (None, "")
            self._connection.execute(
                "UPDATE objects SET object_id = coalesce(nullif(?, ''), object_id), "
                "head = coalesce(nullif(?, ''), head), "
                "proof = ?, condition = ?, proved_at = coalesce(?, proved_at) WHERE place = ?",
                (outcome.object_id, head, number, outcome.condition.value, proved, outcome.place),
            )
            self._connection.execute("DELETE FROM parts WHERE place = ?", (outcome.place,))
            if outcome.condition is not Condition.UNREAD:
                self._connection.execute(
                    "DELETE FROM begun_mends WHERE place = ? AND (path <> '' OR ?)",
                    (outcome.place, is_intact),
                )
            if is_intact:
                self._connection.executemany(
                    "INSERT OR IGNORE INTO versions VALUES (?, ?, ?)",
                    ((outcome.place, *each) for each in outcome.version_inventories.items()),
                )

    def _add_proof(self, outcome: Outcome) -> int | None:
        codes = sorted({each.code for each in outcome.report.findings if each.level == "error"})
        return self._connection.execute(
            "INSERT INTO proofs (place, object_id, head, at, condition, codes, files, size_bytes) "
            "VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
            (
                outcome.place,
                outcome.object_id,
                outcome.head,
                _text(outcome.when),
                outcome.condition.value,
                " ".join(codes),
                outcome.files,
                outcome.size_bytes,
            ),
        ).lastrowid

    def _add_mend(self, outcome: Outcome, mend: Mend) -> None:
        self._connection.execute(
            "INSERT INTO mends (at, place, path, digest, source, kept_aside) VALUES (?, ?, ?, ?, ?, ?)",
            (_text(outcome.when), outcome.place, mend.path, mend.digest, mend.source, mend.kept_aside),
        )

    def begin_mend(self, place: str, mend: Mend, now: dt.datetime) -> None:
        """Note that a file is about to be mended; lasts at once, until the object's outcome is taken in."""
        with self._telling():
            self._connection.execute(
                "INSERT OR REPLACE INTO begun_mends VALUES (?, ?, ?, ?, ?, ?)",
                (place, mend.path, mend.algorithm, mend.digest, mend.source, _text(now)),
            )
            self._connection.commit()

    def begun_mends(self) -> dict[str, tuple[tuple[Mend, dt.datetime], ...]]:
        """Place of an object → mends that a run began and could not tell the end of, each with its time."""
        rows = self._ask(
            "SELECT place, path, algorithm, digest, source, at FROM begun_mends ORDER BY place, path"
        )
        found: dict[str, tuple[tuple[Mend, dt.datetime], ...]] = {}
        for place, path, algorithm, digest, source, at in rows:
            mend = Mend(path=path, algorithm=algorithm, digest=digest, source=source)
            found[place] = (*found.get(place, ()), (mend, moment(at)))
        return found

    def versions_of(self, place: str) -> dict[str, str]:
        """Version → sha512 of its inventory, as it was when the object was first found intact."""
        rows = self._ask("SELECT version, inventory FROM versions WHERE place = ?", place)
        return dict(rows)

    def same_ids(self) -> dict[str, tuple[str, ...]]:
        """Identifiers that several objects bear, with their places."""
        rows = self._ask(
            "SELECT object_id, place FROM objects WHERE is_there AND object_id IN (SELECT object_id FROM "
            "objects WHERE is_there AND object_id <> '' GROUP BY object_id HAVING count(*) > 1) "
            "ORDER BY object_id, place"
        )
        found: dict[str, list[str]] = {}
        for object_id, place in rows:
            found.setdefault(object_id, []).append(place)
        return {object_id: tuple(places) for object_id, places in found.items()}

    def forget(self, name: str) -> int:
        """Take objects of this identifier or place out of the record; return how many there were."""
        with self._telling():
            rows = self._ask("SELECT place FROM objects WHERE place = ? OR object_id = ?", name, name)
            places = [place for (place,) in rows]
            for table in ("objects", "versions", "parts", "begun_mends"):
                self._connection.executemany(
                    f"DELETE FROM {table} WHERE place = ?", ((place,) for place in places)
                )
            self._connection.commit()
        return len(places)

    # ------------------------------------------------------------------------- objects half done

    def part_of(self, place: str, inventory: str, since: dt.datetime) -> dict[str, dict[str, str]]:
        """Return what was read of an object before the budget ran out: content path → algorithm → digest.

        Parts count for the same inventory only, and no longer than since then.
        """
        rows = self._ask(
            "SELECT path, digests FROM parts WHERE place = ? AND inventory = ? AND at >= ?",
            place,
            inventory,
            _text(since),
        )
        return {path: json.loads(digests) for path, digests in rows}

    def keep_part(
        self, place: str, inventory: str, digests: Mapping[str, Mapping[str, str]], now: dt.datetime
    ) -> None:
        """Keep what was read of an object that is not finished; `commit` makes it last."""
        with self._telling():
            self._connection.executemany(
                "INSERT OR REPLACE INTO parts VALUES (?, ?, ?, ?, ?)",
                (
                    (place, path, inventory, json.dumps(dict(each), sort_keys=True), _text(now))
                    for path, each in digests.items()
                ),
            )

    # ------------------------------------------------------------------------- events not written yet

    def owe(self, events: Iterable[tuple[str, str]], software: str) -> None:
        """Keep events, each its identifier and its text, until a file has them; each counts once.

        `commit` makes them last, together with the proofs that they tell of.
        """
        with self._telling():
            self._connection.executemany(
                "INSERT OR IGNORE INTO owed (event, document, software) VALUES (?, ?, ?)",
                ((*each, software) for each in events),
            )

    def owed(self, most: int) -> Owed | None:
        """Return the first events that are in no file, so many at most; None if there are none."""
        rows = self._ask(
            "SELECT number, document, software FROM owed WHERE file = '' AND software = "
            "(SELECT software FROM owed WHERE file = '' ORDER BY number LIMIT 1) ORDER BY number LIMIT ?",
            most,
        )
        if not rows:
            return None
        return Owed(software=rows[0][2], last=rows[-1][0], documents=tuple(row[1] for row in rows))

    def promise(self, owed: Owed, file: str) -> None:
        """Note in which file events are about to be written; lasts at once."""
        with self._telling():
            self._connection.execute(
                "UPDATE owed SET file = ? WHERE file = '' AND software = ? AND number <= ?",
                (file, owed.software, owed.last),
            )
            self._connection.commit()

    def promised(self) -> tuple[str, ...]:
        """The files that were promised, and may be there or not."""
        return tuple(file for (file,) in self._ask("SELECT DISTINCT file FROM owed WHERE file <> ''"))

    def settle(self, file: str, *, is_written: bool) -> None:
        """Owe the events of a promised file no longer; or again, if it was not written. Lasts at once."""
        with self._telling():
            act = "DELETE FROM owed" if is_written else "UPDATE owed SET file = ''"
            self._connection.execute(f"{act} WHERE file = ?", (file,))
            self._connection.commit()

    # --------------------------------------------------------------------------------------- runs

    def begin_run(self, now: dt.datetime) -> str:
        """Note that a run begins; return when the last one that ended began, empty if there is none."""
        with self._telling():
            rows = self._ask("SELECT started FROM runs WHERE ended <> '' ORDER BY number DESC LIMIT 1")
            before = next((started for (started,) in rows), "")
            self._connection.execute("INSERT INTO runs (started) VALUES (?)", (_text(now),))
            self._connection.commit()
        return before

    def end_run(self, now: dt.datetime, *, read_bytes: int, objects: int) -> None:
        """Note how the run that was begun last ended."""
        with self._telling():
            self._connection.execute(
                "UPDATE runs SET ended = ?, read_bytes = ?, objects = ? "
                "WHERE number = (SELECT max(number) FROM runs)",
                (_text(now), read_bytes, objects),
            )
            self._connection.commit()

    @property
    def cursor(self) -> str:
        """The place of the object that was proved last in the order of places; empty at a round's begin."""
        return self._about("cursor")

    def set_cursor(self, place: str) -> None:
        """Keep how far the round has come; `commit` makes it last."""
        self._set_about("cursor", place)

    def commit(self) -> None:
        """Make what was taken in last, also through a kill."""
        with self._telling():
            self._connection.commit()

    # ------------------------------------------------------------------------------------ the store

    @property
    def store(self) -> str:
        """The address of the store that the record is of; empty if it is of none yet."""
        return self._about("store")

    def check_store(self, url: str, places: Iterable[str]) -> None:
        """Refuse a record that is of another store; one that was moved is known by its objects.

        Raises SettingsError.
        """
        of, known = self.store, self.known().keys()
        if of not in ("", url) and known:
            same = len(known & set(places))
            if same * 2 < len(known):
                raise SettingsError(
                    f"{self.path}: is the record of {of}, and most of its objects are not in {url}; "
                    "give each store a record of its own with --record FILE"
                )
        self._set_about("store", url)
        self.commit()

    def _about(self, key: str) -> str:
        return next((value for (value,) in self._ask("SELECT value FROM about WHERE key = ?", key)), "")

    def _set_about(self, key: str, value: str) -> None:
        with self._telling():
            self._connection.execute("INSERT OR REPLACE INTO about VALUES (?, ?)", (key, value))

    def _ask(self, statement: str, *values: str | int) -> list[Any]:
        with self._telling():
            return self._connection.execute(statement, values).fetchall()

    @contextlib.contextmanager
    def _telling(self) -> Iterator[None]:
        try:
            yield
        except sqlite3.Error as error:
            raise _error(self.path, error) from error


def _text(moment: dt.datetime) -> str:
    """All dates alike, so that they are ordered as texts."""
    return moment.astimezone(dt.UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def moment(text: str) -> dt.datetime:
    """Return the date that a text of the record means."""
    return dt.datetime.strptime(text, "%Y-%m-%dT%H:%M:%SZ").replace(tzinfo=dt.UTC)


@contextlib.contextmanager
def opened(path: Path) -> Iterator[Record]:
    """Open a record, or begin one, and have it alone until the end.

    Raises InputError for a file that is damaged, of something else, or of a later version: it is left as it
    is. Raises ToolError if another run has it, or the disk fails us.
    """
    with writing(path):
        path.parent.mkdir(parents=True, exist_ok=True)
    try:
        connection = sqlite3.connect(path, timeout=0.5)
    except sqlite3.Error as error:
        raise _error(path, error) from error
    with contextlib.closing(connection):
        try:
            _prepare(connection, path)
        except sqlite3.Error as error:
            raise _error(path, error) from error
        yield Record(connection, path)


def _prepare(connection: sqlite3.Connection, path: Path) -> None:
    connection.execute("PRAGMA locking_mode = EXCLUSIVE")
    connection.execute("BEGIN EXCLUSIVE")  # taken now, not at the first write
    application = connection.execute("PRAGMA application_id").fetchone()[0]
    version = connection.execute("PRAGMA user_version").fetchone()[0]
    is_new = not connection.execute("SELECT count(*) FROM sqlite_master").fetchone()[0]
    connection.rollback()
    if is_new and not application:
        _bring_up(connection, 0)
        return
    if application != APPLICATION_ID:
        raise InputError(f"{path}: is not a record of audits but another SQLite file; give another --record")
    if version > VERSION:
        raise InputError(
            f"{path}: was written by a later version (record version {version}, known here is {VERSION}); "
            "use that version, or give another --record. It was left as it is"
        )
    if (fault := connection.execute("PRAGMA quick_check(1)").fetchone()[0]) != "ok":
        raise InputError(_damaged(path, fault))
    _bring_up(connection, version)


def _bring_up(connection: sqlite3.Connection, version: int) -> None:
    """Make of a record of an earlier version, or of an empty file, one of this version: wholly or not."""
    if version < VERSION:
        steps = " ".join(_STEPS[version:])
        marks = f"PRAGMA application_id = {APPLICATION_ID}; PRAGMA user_version = {VERSION};"
        connection.executescript(f"BEGIN; {steps} {marks} COMMIT;")


def _damaged(path: Path, fault: str) -> str:
    return (
        f"{path}: this record of audits is damaged ({visible(str(fault))[:200]}). It was left as it is. "
        "Bring it back from a backup, or move it aside and run again: then no object counts as proved. "
        "The objects themselves do not depend on it"
    )


def _error(path: Path, error: sqlite3.Error) -> InputError | ToolError:
    code = getattr(error, "sqlite_errorcode", 0) & 0xFF
    if code in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED):
        return ToolError(f"{path}: another audit is at work with this record; wait for it to end")
    if code in (sqlite3.SQLITE_NOTADB, sqlite3.SQLITE_CORRUPT):
        return InputError(_damaged(path, str(error)))
    return ToolError(
        f"{path}: the record of audits cannot be used ({error}); look at the disk and its rights"
    )
