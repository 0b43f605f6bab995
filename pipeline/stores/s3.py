"""A store in object storage that speaks the S3 protocol.

Source: Amazon S3 API reference, version 2006-03-01: PutObject and conditional writes, multipart uploads,
ListObjectsV2.
"""

from __future__ import annotations

import base64
import contextlib
import datetime as dt
import hashlib
import io
import os
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any, BinaryIO, NamedTuple

from pipeline.errors import AlreadyThere, InputError, NotInStore, NotSupported, StoreError, ToolError
from pipeline.stores.connection import Answer, Connection, Patience
from pipeline.stores.store import Entry, Kind, Unlisted, checked_path

MIB = 1 << 20
PART_BYTES = 16 * MIB
"""A larger file goes up in parts of this size, and comes down in such pieces."""
MOST_PARTS = 10_000
"""Of one upload (multipart upload limits)."""
PAGE_ENTRIES = 1000
"""Of one answer to a list (ListObjectsV2)."""
KEY_BYTES = 1024
"""The longest name of an object (object key naming)."""


class Upload(NamedTuple):
    """A large file on its way into a bucket: nobody sees it before its end, and it is paid for."""

    path: str
    upload_id: str
    begun: dt.datetime


class ObjectStore:
    """A prefix in a bucket. Folders are parts of names."""

    has_renames = False

    def __init__(
        self,
        bucket: str,
        prefix: str,
        *,
        patience: Patience | None = None,
        part_bytes: int = PART_BYTES,
    ) -> None:
        self._bucket = bucket
        self._name = prefix.strip("/")
        self._before = f"{self._name}/" if self._name else ""
        self._part_bytes = part_bytes
        self._connection = Connection(bucket, patience or Patience())
        self.url = f"s3://{bucket}/{self._name}".rstrip("/")

    def _key(self, path: str) -> str:
        key = f"{self._before}{checked_path(path, self.url)}"
        if len(key.encode(errors="surrogateescape")) > KEY_BYTES:
            raise StoreError(f"{self.url}/{path}: object storage takes names of {KEY_BYTES} bytes at most")
        return key

    def _ask(self, act: str, path: str, operation: str, **arguments: Any) -> Answer:
        key = self._key(path)
        return self._connection.ask(act, key, operation, Key=key, **arguments)

    # ------------------------------------------------------------------------------------- looking

    def entries(self, folder: str = "") -> Iterator[Entry]:
        """Do as `Store.entries` does."""
        found = sorted(self._listed(folder, Delimiter="/"))
        if not found and folder:
            raise NotInStore(f"{self.url}/{folder}: is not there; give a path that the store has")
        yield from found

    def walk(self, folder: str = "", *, unlisted: Unlisted | None = None) -> Iterator[Entry]:
        """Do as `Store.walk` does."""
        if unlisted is None:
            yield from self._listed(folder)
        else:
            yield from self._listed_in_parts(folder, "", folder, unlisted)

    def _listed_in_parts(self, folder: str, after: str, top: str, unlisted: Unlisted) -> Iterator[Entry]:
        """Yield what is listed below a folder, past a path; folder by folder if that fails in one go.

        Raises StoreError if `top` cannot be listed: then it is the store that does not answer.
        """
        try:
            for each in self._listed(folder):
                if each.path > after:
                    after = each.path
                    yield each
            return
        except StoreError:
            pass
        try:
            level = sorted(self._listed(folder, Delimiter="/"), key=_in_flat_order)
        except StoreError as error:
            if folder == top:
                raise
            next(self._listed(top, Delimiter="/"), None)
            unlisted(folder, error)
            return
        for each in level:
            if each.is_folder:
                if f"{each.path}/" > after or after.startswith(f"{each.path}/"):
                    yield from self._listed_in_parts(each.path, after, top, unlisted)
            elif each.path > after:
                yield each

    def _listed(self, folder: str, **further: Any) -> Iterator[Entry]:
        """Yield what is listed below a folder; with a delimiter, one level."""
        prefix = f"{self._key(folder)}/" if folder else self._before
        while True:
            answer = self._connection.ask(
                "list", prefix, "list_objects_v2", Prefix=prefix, MaxKeys=PAGE_ENTRIES, **further
            )
            for each in answer.get("CommonPrefixes", ()):
                yield Entry(each["Prefix"][len(self._before) : -1], Kind.FOLDER)
            for each in answer.get("Contents", ()):
                if each["Key"] != prefix:
                    yield self._entry(each["Key"], each["Size"])
            if not answer.get("IsTruncated"):
                return
            further["ContinuationToken"] = answer["NextContinuationToken"]

    def _entry(self, key: str, size_bytes: int) -> Entry:
        path = key[len(self._before) :]
        if key.endswith("/"):  # what some programs put in the place of an empty folder
            return Entry(path.rstrip("/"), Kind.FOLDER)
        return Entry(path, Kind.FILE, size_bytes)

    def open(self, path: str) -> BinaryIO:
        """Do as `Store.open` does."""
        return io.BufferedReader(_Reading(self._piece, path, self._part_bytes), buffer_size=MIB)

    def read(self, path: str, *, limit_bytes: int) -> bytes:
        """Do as `Store.read` does."""
        data, size_bytes, _ = self._piece(path, 0, limit_bytes + 1, "")
        if size_bytes > limit_bytes:
            raise StoreError(f"{self.url}/{path}: has more than {limit_bytes:,} bytes, which is too much")
        return data

    def _piece(self, path: str, start: int, size_bytes: int, tag: str) -> tuple[bytes, int, str]:
        """Return a piece of a file, the size of the whole, and the tag of these bytes of it.

        With a tag, the file must still be what it was.
        """
        condition = {"IfMatch": tag} if tag else {}
        asked = f"bytes={start}-{start + size_bytes - 1}"
        try:
            answer = self._ask("read", path, "get_object", Range=asked, **condition)
        except AlreadyThere as error:
            raise StoreError(f"{self.url}/{path}: was changed while it was read; try again") from error
        except StoreError as error:
            if "InvalidRange" in error.message and not start:  # nothing begins in an empty file
                return b"", 0, ""
            raise
        whole = answer.get("ContentRange", "").rpartition("/")[2]
        return answer["Body"], int(whole) if whole.isdigit() else len(answer["Body"]), answer.get("ETag", "")

    def size(self, path: str) -> int:
        """Do as `Store.size` does."""
        return int(self._ask("look at", path, "head_object")["ContentLength"])

    def exists(self, path: str) -> bool:
        """Do as `Store.exists` does."""
        return self._is_file(path) or any(True for _ in self._listed(path, Delimiter="/"))

    def _is_file(self, path: str) -> bool:
        with contextlib.suppress(NotInStore):
            self.size(path)
            return True
        return False

    # ------------------------------------------------------------------------------------- writing

    def put(self, path: str, data: bytes, *, if_absent: bool = False) -> None:
        """Do as `Store.put` does."""
        self._refuse_if_there(path, if_absent)
        self._put(path, data, if_absent)

    def put_file(
        self, path: str, source: Path | BinaryIO, *, if_absent: bool = False, size_bytes: int = 0
    ) -> None:
        """Do as `Store.put_file` does."""
        if isinstance(source, Path):
            try:
                file = source.open("rb")
            except OSError as error:
                raise InputError(f"{source}: cannot be read ({error.strerror or error})") from error
            with file:
                self.put_file(path, file, if_absent=if_absent, size_bytes=_size(file))
            return
        self._refuse_if_there(path, if_absent)
        part_bytes = max(self._part_bytes, size_bytes // MOST_PARTS + 1)
        first = _read_full(source, part_bytes)
        if len(first) < part_bytes:
            self._put(path, first, if_absent)
        else:
            self._put_parts(path, first, source, if_absent)

    def refuses_second(self, path: str) -> bool:
        """Return whether the server itself keeps a file that is there from being replaced.

        Asked by trying to write the same bytes once more: a server without conditional writes changes nothing
        by that.
        """
        data = self.read(path, limit_bytes=MIB)
        try:
            self._ask("write", path, "put_object", Body=data, ContentMD5=_md5(data), IfNoneMatch="*")
        except AlreadyThere:
            self._connection.knows_conditions = True
            return True
        except NotSupported:
            pass
        self._connection.knows_conditions = False
        return False

    def replace(self, path: str, before: bytes, after: bytes) -> bool:
        """Write a small file if it still holds what it held before; return whether it did.

        A server without conditional writes may let two do so at once.
        """
        data, _, tag = self._piece(path, 0, len(before) + 1, "")
        if data != before:
            return False
        try:
            self._ask("write", path, "put_object", Body=after, ContentMD5=_md5(after), IfMatch=tag)
        except AlreadyThere:
            return self.read(path, limit_bytes=MIB) == after
        except NotSupported:
            self._ask("write", path, "put_object", Body=after, ContentMD5=_md5(after))
        return True

    def _refuse_if_there(self, path: str, if_absent: bool) -> None:
        if if_absent and not self._connection.knows_conditions and self._is_file(path):
            raise AlreadyThere(f"{self.url}/{path}: is there already, and must not be replaced")

    def _put(self, path: str, data: bytes, if_absent: bool) -> None:
        def is_ours() -> bool:
            return self.size(path) == len(data) and self.read(path, limit_bytes=len(data)) == data

        self._conclude(path, "put_object", if_absent, is_ours, Body=data, ContentMD5=_md5(data))

    def _put_parts(self, path: str, first: bytes, source: BinaryIO, if_absent: bool) -> None:
        upload = self._ask("write", path, "create_multipart_upload")["UploadId"]
        try:
            parts, size_bytes = self._upload(path, upload, first, source)
            self._conclude(
                path,
                "complete_multipart_upload",
                if_absent,
                lambda: self.size(path) == size_bytes,
                UploadId=upload,
                MultipartUpload={"Parts": parts},
            )
        except BaseException:
            with contextlib.suppress(ToolError):  # what was raised first matters more
                self._ask("write", path, "abort_multipart_upload", UploadId=upload)
            raise

    def _upload(
        self, path: str, upload: str, first: bytes, source: BinaryIO
    ) -> tuple[list[dict[str, Any]], int]:
        """Send all parts; return what the end of the upload must name, and how many bytes they have."""
        parts: list[dict[str, Any]] = []
        size_bytes, data = 0, first
        while data:
            number = len(parts) + 1
            answer = self._ask(
                *("write", path, "upload_part"),
                UploadId=upload,
                PartNumber=number,
                Body=data,
                ContentMD5=_md5(data),
            )
            parts.append({"ETag": answer["ETag"], "PartNumber": number})
            size_bytes += len(data)
            data = _read_full(source, len(first))
        return parts, size_bytes

    def _conclude(
        self, path: str, operation: str, if_absent: bool, is_ours: Callable[[], bool], **arguments: Any
    ) -> None:
        """Make a file visible. If it is ours that is there already, its answer was lost on the way."""
        if not if_absent or self._connection.knows_conditions is False:
            self._ask("write", path, operation, **arguments)
            return
        try:
            self._ask("write", path, operation, IfNoneMatch="*", **arguments)
        except NotSupported:
            self._connection.knows_conditions = False
            self._ask("write", path, operation, **arguments)
        except AlreadyThere:
            if not is_ours():
                raise

    def unfinished(self, folder: str = "") -> Iterator[Upload]:
        """Yield uploads of large files below a folder that were begun and have not ended."""
        prefix = f"{self._key(folder)}/" if folder else self._before
        further: dict[str, str] = {}
        while True:
            answer = self._connection.ask("list", prefix, "list_multipart_uploads", Prefix=prefix, **further)
            for each in answer.get("Uploads", ()):
                path = each["Key"][len(self._before) :]
                yield Upload(path, each["UploadId"], each["Initiated"])
            if not answer.get("IsTruncated"):
                return
            further["KeyMarker"] = answer["NextKeyMarker"]
            further["UploadIdMarker"] = answer["NextUploadIdMarker"]

    def drop_unfinished(self, folder: str) -> None:
        """Take away uploads below a folder that were begun and never ended: they would be paid for."""
        for each in tuple(self.unfinished(folder)):
            with contextlib.suppress(NotInStore):
                self._ask("remove", each.path, "abort_multipart_upload", UploadId=each.upload_id)

    def rename(self, source: str, to: str) -> None:
        """Do as `Store.rename` does: object storage has no renames."""
        raise StoreError(f"{self.url}/{source}: object storage cannot rename a folder")

    def delete(self, path: str) -> None:
        """Do as `Store.delete` does."""
        self.size(path)
        self._ask("remove", path, "delete_object")

    def beside(self, suffix: str) -> ObjectStore:
        """Do as `Store.beside` does."""
        if not self._name:
            raise StoreError(
                f"{self.url}: is a whole bucket, and what is half-done must lie beside the store; "
                f"give a prefix, such as {self.url}/store"
            )
        made = ObjectStore(self._bucket, f"{self._name}{suffix}", part_bytes=self._part_bytes)
        made._connection = self._connection
        return made


def _in_flat_order(entry: Entry) -> str:
    """Sort key of folders and files, as a flat list has what is in them."""
    return f"{entry.path}/" if entry.is_folder else entry.path


Piece = Callable[[str, int, int, str], tuple[bytes, int, str]]


class _Reading(io.RawIOBase):
    """A file that is read once from its beginning, piece by piece."""

    def __init__(self, piece: Piece, path: str, piece_bytes: int) -> None:
        self._piece, self._path, self._piece_bytes = piece, path, piece_bytes
        self._data, self._size_bytes, self._tag = piece(path, 0, piece_bytes, "")
        self._fetched, self._taken = len(self._data), 0

    def readable(self) -> bool:
        return True

    def readinto(self, buffer: memoryview) -> int:  # type: ignore[override]
        if self._taken == len(self._data) and self._fetched < self._size_bytes:
            wanted = min(self._piece_bytes, self._size_bytes - self._fetched)
            self._data, _, _ = self._piece(self._path, self._fetched, wanted, self._tag)
            self._fetched, self._taken = self._fetched + len(self._data), 0
        count = min(len(buffer), len(self._data) - self._taken)
        buffer[:count] = self._data[self._taken : self._taken + count]
        self._taken += count
        return count


def _size(file: BinaryIO) -> int:
    return os.fstat(file.fileno()).st_size


def _read_full(source: BinaryIO, size_bytes: int) -> bytes:
    """Return that many bytes, or as many as there are."""
    parts = []
    while size_bytes and (data := source.read(size_bytes)):
        parts.append(data)
        size_bytes -= len(data)
    return parts[0] if len(parts) == 1 else b"".join(parts)


def _md5(data: bytes) -> str:
    """Return what the server checks a body by (RFC 1864)."""
    return base64.b64encode(hashlib.md5(data, usedforsecurity=False).digest()).decode()
