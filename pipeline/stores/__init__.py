"""Stores: where bytes are kept for long, a folder or object storage, behind one small interface.

This package is the only door to the libraries that speak to object storage. A store's `url` is what people
are shown, and never holds credentials.
"""

from pipeline.errors import AlreadyThere, NotInStore, StoreError
from pipeline.stores.addresses import open_store
from pipeline.stores.connection import Patience
from pipeline.stores.folder import FolderStore
from pipeline.stores.redacting import redacted, shown
from pipeline.stores.s3 import ObjectStore, Upload
from pipeline.stores.store import Entry, Kind, Store

__all__ = [
    "AlreadyThere",
    "Entry",
    "FolderStore",
    "Kind",
    "NotInStore",
    "ObjectStore",
    "Patience",
    "Store",
    "StoreError",
    "Upload",
    "open_store",
    "redacted",
    "shown",
]
