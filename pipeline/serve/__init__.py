"""A folder, or values made at once, over HTTP/1.1 on the loopback address: for a look at what will be public.

Nothing outside this machine is answered. `Site` says what is found at a path; `running` serves it.
"""

from pipeline.serve.resources import (
    INDEX,
    FolderSite,
    Moved,
    Resource,
    Site,
    caching,
    is_public,
    made,
    media_type,
)
from pipeline.serve.server import Running, running

__all__ = [
    "INDEX",
    "FolderSite",
    "Moved",
    "Resource",
    "Running",
    "Site",
    "caching",
    "is_public",
    "made",
    "media_type",
    "running",
]
