"""Digests by the names that OCFL gives them: those of section 3.4 and of extension 0009."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from typing import Any

from pipeline.specs import ocfl

_BLAKE2B = "blake2b-"


def hasher(algorithm: str) -> Any:
    """Return a new hash object, as of `hashlib`. Raises ValueError for an algorithm not known here."""
    if algorithm not in ocfl.HEX_LENGTHS:
        raise ValueError(f"{algorithm} is not a digest algorithm of OCFL")
    if algorithm.startswith(_BLAKE2B):
        return hashlib.blake2b(digest_size=int(algorithm.removeprefix(_BLAKE2B)) // 8)
    return hashlib.new(algorithm.replace("/", "_"), usedforsecurity=False)


class Hashers:
    """Several digests of one stream, fed together."""

    def __init__(self, algorithms: Iterable[str]) -> None:
        self._hashes = {each: hasher(each) for each in sorted(algorithms)}
        self.size_bytes = 0

    def update(self, data: bytes | memoryview) -> None:
        """Take in the next bytes of the stream."""
        for each in self._hashes.values():
            each.update(data)
        self.size_bytes += len(data)

    def digests(self) -> dict[str, str]:
        """Return the digests of all bytes so far in lower-case hexadecimal, by algorithm."""
        return {name: each.hexdigest() for name, each in self._hashes.items()}
