"""Addresses of stores: which kind of store one names, and how it is shown."""

from __future__ import annotations

import re
from pathlib import Path
from urllib.parse import unquote, urlsplit

from pipeline.errors import InputError
from pipeline.stores.folder import FolderStore
from pipeline.stores.store import Store


def open_store(address: str) -> Store:
    """Return the store at an address: a folder's path, ``file:///…``, or ``s3://bucket/prefix``.

    Nothing is created, and nothing is asked of the store yet. Raises InputError for an address of another
    kind, ToolError if what reaches object storage is not installed.
    """
    scheme = re.match(r"([A-Za-z][A-Za-z0-9+.-]+):", address)
    if scheme is None:
        return FolderStore(Path(address))
    if scheme[1].lower() == "file":
        return FolderStore(_file_path(address))
    raise InputError(f'"{shown(address)}": {_EXPECTED}')


_EXPECTED = "is no address of a store; expected a folder, or s3://bucket/prefix"


def _file_path(address: str) -> Path:
    parts = urlsplit(address)
    if parts.netloc not in ("", "localhost") or not parts.path:
        raise InputError(f'"{shown(address)}": names no folder of this machine; expected file:///path')
    return Path(unquote(parts.path))


def shown(address: str) -> str:
    """Return an address without user name, password, query and fragment: any of them may be a secret."""
    return re.sub(r"[?#].*", "", re.sub(r"(?<=://)[^/?#]*@", "", address))
