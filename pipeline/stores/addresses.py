"""Addresses of stores: which kind of store one names."""

from __future__ import annotations

import re
from pathlib import Path
from urllib.parse import unquote, urlsplit

from pipeline.errors import InputError
from pipeline.stores.connection import Patience
from pipeline.stores.folder import FolderStore
from pipeline.stores.redacting import shown
from pipeline.stores.s3 import ObjectStore
from pipeline.stores.store import Store


def open_store(address: str, *, patience: Patience | None = None) -> Store:
    """Return the store at an address: a folder's path, ``file:///…``, or ``s3://bucket/prefix``.

    Nothing is created, and nothing is asked of the store yet. Raises InputError for a file, for an address
    of another kind, or with credentials in it.
    """
    scheme = re.match(r"([A-Za-z][A-Za-z0-9+.-]+):", address)
    if scheme is None:
        if not address:
            raise InputError(f'"": {_EXPECTED}')
        return _folder(Path(address))
    if scheme[1].lower() == "file":
        return _folder(_file_path(address))
    if scheme[1].lower() == "s3":
        return _object_store(address, patience)
    raise InputError(f'"{shown(address)}": {_EXPECTED}')


_EXPECTED = "is no address of a store; expected a folder, or s3://bucket/prefix"


def _folder(path: Path) -> FolderStore:
    if path.is_file():
        raise InputError(f'"{path}": is a file; expected a folder, or s3://bucket/prefix')
    return FolderStore(path)


def _file_path(address: str) -> Path:
    parts = urlsplit(address)
    if parts.netloc not in ("", "localhost") or not parts.path:
        raise InputError(f'"{shown(address)}": names no folder of this machine; expected file:///path')
    return Path(unquote(parts.path))


def _object_store(address: str, patience: Patience | None) -> ObjectStore:
    bucket, _, prefix = address.partition("://")[2].partition("/")
    if ":" in bucket or any(each in address for each in "@?#"):
        raise InputError(
            f'"{shown(address)}": credentials do not belong in an address, and nothing else follows the '
            "prefix; set AWS_ACCESS_KEY_ID and AWS_SECRET_ACCESS_KEY, or use a profile in ~/.aws"
        )
    if not bucket:
        raise InputError(f'"{address}": {_EXPECTED}')
    return ObjectStore(bucket, prefix, patience=patience)
