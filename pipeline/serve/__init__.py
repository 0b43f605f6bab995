"""A folder, or values made at once, over HTTP/1.1 on the loopback address: for a look at what will be public.

Nothing outside this machine is answered. `Site` says what is found at a path; `running` serves it.
"""

from pipeline.serve.resources import FolderSite, Moved, Resource, Site, made, media_type, opened
from pipeline.serve.server import Running, running

__all__ = ["FolderSite", "Moved", "Resource", "Running", "Site", "made", "media_type", "opened", "running"]
