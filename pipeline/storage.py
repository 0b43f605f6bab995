"""Long-term storage: a bundle is verified, then deposited; what came of it is kept as a receipt.

A bundle that is rejected is not deposited. Nothing is unpacked: archives are read where they lie.
"""

from __future__ import annotations

import contextlib
import datetime as dt
import hashlib
import os
import re
import unicodedata
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path

from pipeline import containers, deposit, files, receipts
from pipeline.containers import Container, Kind
from pipeline.deposit import Bag, Deposited, Depositor, LaterEvents, Request, StorageRoot
from pipeline.errors import ExitStatus, InputError
from pipeline.ocfl.layouts import Layout
from pipeline.progress import SILENT, Progress
from pipeline.specs import bagit
from pipeline.specs.bagit import Label
from pipeline.stores import Store
from pipeline.verdict import Verdict
from pipeline.verify import Options, verify
from pipeline.verify.bag import read_bag


@dataclass(frozen=True, slots=True, kw_only=True)
class DepositReceipt:
    """Proof that a bag was deposited: every byte was read back from the store and was right."""

    store: str
    """Its address, without credentials."""
    object_id: str
    place: str
    version: str
    bag: str
    """Its name; empty if events alone were added."""
    deposited_at: str
    files: int
    size_bytes: int
    written_files: int
    written_bytes: int
    digest_algorithm: str
    inventory_digest: str
    """Of the object's inventory, which has the digest of every file of the version."""
    tag_manifests: tuple[tuple[str, str], ...]
    """Names of the bag's tag manifests, with their digests by the same algorithm."""
    software: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """What became of one bundle."""

    verdict: Verdict
    deposited: Deposited | None
    """None for a bundle that was rejected."""
    receipt: Path | None
    """None if nothing was written to the store."""


_RECEIPT = ".deposit.json"
"""At the end of the name of every receipt of a deposit."""


@dataclass(slots=True, kw_only=True)
class Storage:
    """Deposits bundles in one store."""

    store: Store
    layout: Layout | None
    """Of the storage root, if it is to be made; None for the default, or the one that is there."""
    options: Options
    """How bundles are verified."""
    depositor: Depositor
    id_prefix: str
    work: Path
    """Receipts go into `receipts` in this folder."""
    now: dt.datetime
    host: str
    software_version: str
    message: str = ""
    take_over: bool = False
    _root: StorageRoot | None = field(default=None, init=False)

    def take(self, path: Path, progress: Progress = SILENT, *, object_id: str = "") -> Outcome:
        """Verify one bundle, deposit it and keep the receipt.

        `object_id` names the object; else it is the prefix with the bag's External-Identifier.

        Raises InputError for what is no bag or cannot be stored, FixityError, StoreError, ToolError.
        """
        if self._root is None and deposit.root_to_write(self.store, self.layout) is None:
            self._refuse_missing()  # before a bundle is read
        verdict = verify(path, self.options, progress).verdict
        if verdict.kind == "document":
            raise InputError(f"{path}: is a document; expected a bag, in a folder, .tar, .tar.gz or .zip")
        if verdict.exit_status is not ExitStatus.DONE:
            return Outcome(verdict=verdict, deposited=None, receipt=None)
        with containers.opened(path, limits=self.options.terms.limits) as container:
            bag = bag_of(container, self.options)
            request = self._request(bag, verdict, object_id)
            done = deposit.deposit(bag, self._opened(progress), request, progress)
            for each in (*done.remarks, *_empty_folders(container)):
                progress.say(each)
            return Outcome(
                verdict=verdict, deposited=done, receipt=self._keep(bag, done) if done.is_new else None
            )

    def add_events(
        self, events: LaterEvents, object_id: str, progress: Progress = SILENT
    ) -> tuple[Deposited, Path | None]:
        """Put an object's later events beside its bag; return what was done, and its receipt.

        Raises InputError for an object that is not in the store, FixityError, StoreError, ToolError.
        """
        if self._root is None:
            deposit.open_root(self.store)  # which is not made for events
        done = deposit.add_events(events, self._opened(progress), self._asked(object_id), progress)
        for each in done.remarks:
            progress.say(each)
        return done, self._keep(None, done) if done.is_new else None

    def _opened(self, progress: Progress) -> StorageRoot:
        """Open the storage root, or make it, not before there is something for it.

        What deposits left in it that were killed is finished or taken away.
        """
        if self._root is None:
            is_new = deposit.root_to_write(self.store, self.layout) is None
            self._root = deposit.open_or_make(self.store, self.layout)
            if is_new:
                progress.say(f"a new store was made: {self.store.url}, layout {self._root.layout.NAME}")
            for each in deposit.finish_abandoned(self.store, host=self.host, now=self.now):
                progress.say(each)
        return self._root

    def _refuse_missing(self) -> None:
        """Refuse to make a store that receipts tell of: its disk may not be mounted. Raises InputError."""
        there = (receipts.read(DepositReceipt, path) for path in self._receipts.glob(f"*{_RECEIPT}"))
        if number := sum(1 for each in there if each is not None and each.store == self.store.url):
            raise InputError(
                f"{self.store.url}: there is no store, but receipts of deposits in it ({number:,}) are in "
                f"{self._receipts}: is its disk mounted? If it was given up, move these receipts away"
            )

    @property
    def _receipts(self) -> Path:
        return self.work / "receipts"

    def _request(self, bag: Bag, verdict: Verdict, object_id: str) -> Request:
        return replace(
            self._asked(object_id or object_id_of(bag, self.id_prefix)),
            is_id_given=bool(object_id),
            verified=f"{verdict.outcome}, {verdict.files:,} files, {verdict.size_bytes:,} bytes",
        )

    def _asked(self, object_id: str) -> Request:
        return Request(
            object_id=object_id,
            depositor=self.depositor,
            software_version=self.software_version,
            message=self.message,
            now=self.now,
            host=self.host,
            pid=os.getpid(),
            take_over=self.take_over,
        )

    def _keep(self, bag: Bag | None, done: Deposited) -> Path:
        """Write the receipt, and return where it is; without a bag, of events alone. Raises ToolError."""
        name = bag.name if bag else f"{done.object_id.rpartition(':')[2]}-events"
        receipt = DepositReceipt(
            store=self.store.url,
            object_id=done.object_id,
            place=done.place,
            version=done.version,
            bag=bag.name if bag else "",
            deposited_at=done.created,
            files=done.files,
            size_bytes=done.size_bytes,
            written_files=done.written_files,
            written_bytes=done.written_bytes,
            digest_algorithm=done.digest_algorithm,
            inventory_digest=done.inventory_digest,
            tag_manifests=tuple(_tag_manifests(bag, done.digest_algorithm)) if bag else (),
            software=f"solander {self.software_version}",
        )
        key = receipts.key_of(self.store.url, done.object_id)[:8]
        path = self._receipts / f"{files.slug(name)}-{done.version}-{key}{_RECEIPT}"
        receipts.write(receipt, path)
        return path


# ---------------------------------------------------------------------------------------------- the bag


def object_id_of(bag: Bag, prefix: str) -> str:
    """Return the identifier of a bag's object: the prefix with the first External-Identifier.

    It is normalised (NFC), and what no URI may hold is percent-encoded (RFC 3987, section 3.1). Raises
    InputError for a bag without one.
    """
    given = bag.values(Label.EXTERNAL_IDENTIFIER)
    if not given:
        raise InputError(
            f"{bag.name}: bag-info.txt has no {Label.EXTERNAL_IDENTIFIER}, which the object is named by; "
            "name it with --id"
        )
    return named(given[0], prefix)


def named(identifier: str, prefix: str) -> str:
    """Return the identifier of an object, from what an item is called; one that begins so stays as it is."""
    whole = identifier if identifier.startswith(prefix) else f"{prefix}{identifier}"
    return _NOT_IN_URI.sub(_percent_encoded, unicodedata.normalize("NFC", whole.strip()))


_NOT_IN_URI = re.compile(r'[\x00-\x20\x7f-\xa0<>"{}|\\^`]')


def _percent_encoded(found: re.Match[str]) -> str:
    return "".join(f"%{byte:02X}" for byte in found[0].encode())


def bag_of(container: Container, options: Options) -> Bag:
    """Return a verified bag as it is deposited. Raises InputError for one that a store cannot give back."""
    read = read_bag(container, options.terms.limits)
    if read is None:
        raise InputError(f"{container.name}: is no bag: it has no {bagit.DECLARATION_FILE}")
    if irregular := containers.irregular(container):
        raise InputError(
            f"{container.name}/{files.visible(irregular[0].path)}: is a {irregular[0].kind}, which cannot be "
            "stored; replace it by what it leads to, or remove it, then make the bag again"
        )
    sizes = container.files
    for path in sizes:
        if not _is_unicode(path):
            raise InputError(
                f"{container.name}/{files.visible(path)}: its name is not UTF-8, and an inventory cannot "
                "hold it; rename the file, then make the bag again"
            )
    digests: dict[str, dict[str, str]] = {}
    for manifest in (*read.manifests, *read.tag_manifests):
        told = digests.setdefault(manifest.algorithm, {})
        told.update((path, digest.hex()) for path, digest in manifest.entries.items() if path in sizes)
    return Bag(name=container.name, sizes=sizes, digests=digests, info=read.info, open=container.open)


def _is_unicode(text: str) -> bool:
    with contextlib.suppress(UnicodeError):
        text.encode()
        return True
    return False


def _tag_manifests(bag: Bag, algorithm: str) -> Iterator[tuple[str, str]]:
    """Yield names and digests of the tag manifests, which no other manifest lists."""
    for path in sorted(bag.sizes):
        if re.fullmatch(r"(?i)tagmanifest-[^/]+\.txt", path):
            with bag.open(path) as file:
                yield path, hashlib.new(algorithm, file.read()).hexdigest()


def _empty_folders(container: Container) -> Iterator[str]:
    """Say which folders have nothing in them: a store keeps files."""
    holding = {folder for path in containers.paths_in(container) for folder in files.folders_above(path)}
    empty = [
        path
        for path, each in container.others.items()
        if each.kind is Kind.FOLDER and path not in holding and path != bagit.PAYLOAD
    ]
    if empty:
        yield f"folders without files are not kept: {files.visible(', '.join(sorted(empty)[:3]))}"
