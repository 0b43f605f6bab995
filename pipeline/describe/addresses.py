"""The ids of everything that a manifest names, under the base URL of the settings.

Canvases, ranges and annotations have paths of their own, without a fragment, so that an annotation made
elsewhere can point at a part of one (Presentation API 3.0, sections 3.3 and 5.3). They do not change
between runs: each is made from the identifiers of the record alone.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import PurePosixPath
from urllib.parse import quote

from pipeline import layout
from pipeline.model import Settings


@dataclass(frozen=True, slots=True, kw_only=True)
class Addresses:
    """Where one item is published."""

    item: str
    settings: Settings
    folder: str = field(init=False)
    """The URL that canvases and ranges have theirs below."""

    def __post_init__(self) -> None:
        """Work out the folder once: there are thousands of canvases in it."""
        object.__setattr__(self, "folder", self.of(layout.item_folder(self.item)))

    @property
    def manifest(self) -> str:
        """The manifest: the URL that it is served from."""
        return self.of(layout.manifest_path(self.item))

    def of(self, path: PurePosixPath) -> str:
        """The public URL of a path in the publication payload."""
        return layout.url(self.settings.base_url, path)

    def canvas(self, identifier: str) -> str:
        """A canvas; `identifier` may have several segments."""
        return f"{self.folder}/canvas/{quote(identifier)}"

    def range(self, identifier: str) -> str:
        """A range; `identifier` may have several segments."""
        return f"{self.folder}/range/{quote(identifier)}"

    def image_service(self, frame: str) -> str:
        """The image service of a frame, without a slash at its end (Image API 3.0, section 3).

        An image server finds a file by its path below the folder ``images``; the path is one segment of
        the URL, so its slash is percent-encoded (Image API 3.0, section 9).
        """
        suffix = layout.PYRAMID_SUFFIXES.get(self.settings.images)
        if suffix is None:
            return self.of(layout.image_folder(self.item, frame))
        below_images = layout.pyramid_path(self.item, frame, suffix).relative_to("images")
        server = self.settings.image_service_url or f"{self.settings.base_url}/images"
        return f"{server.rstrip('/')}/{quote(str(below_images), safe='')}"
