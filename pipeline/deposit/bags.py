"""What is deposited: a bag as it was verified, and where its bytes come from."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import BinaryIO

from pipeline.specs.bagit import Label


@dataclass(frozen=True, slots=True, kw_only=True)
class Bag:
    """A valid bag, in a folder or an archive."""

    name: str
    """Of its base directory."""
    sizes: Mapping[str, int]
    """Size in bytes of every file, by path in the bag."""
    digests: Mapping[str, Mapping[str, str]]
    """Algorithm → path → digest in small hexadecimal, so far as manifests tell them."""
    info: tuple[tuple[str, str], ...]
    """Labels and values of ``bag-info.txt``."""
    open: Callable[[str], BinaryIO]
    """Opens a file of the bag by its path. Raises OSError."""

    def values(self, label: Label) -> tuple[str, ...]:
        """The values of a label, without regard to case (RFC 8493, section 2.2.2)."""
        return tuple(value for each, value in self.info if each.lower() == label.lower() and value)

    @property
    def size_bytes(self) -> int:
        """All files together."""
        return sum(self.sizes.values())
