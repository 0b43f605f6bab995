"""Digest algorithms, and several digests in one read."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Iterable
from pathlib import Path

from pipeline.model import Algorithm, Fixity

CHUNK_BYTES = 1 << 20

HEX_LENGTHS = {Algorithm.SHA512: 128, Algorithm.SHA256: 64, Algorithm.SHA1: 40, Algorithm.MD5: 32}


DIGEST_BYTES = {
    **{name: int(name[3:]) // 8 for name in ("sha224", "sha256", "sha384", "sha512")},
    **{f"sha3{bits}": bits // 8 for bits in (224, 256, 384, 512)},
    "md5": 16,
    "sha1": 20,
    "blake2b512": 64,
    "blake2s256": 32,
}
"""Lengths of all digests that can be computed, in bytes, by the names that bag manifests give them."""

_LIBRARY_NAMES = {
    **{f"sha3{bits}": f"sha3_{bits}" for bits in (224, 256, 384, 512)},
    "blake2b512": "blake2b",
    "blake2s256": "blake2s",
}


class Digester:
    """Several digests of one stream, fed together. Algorithms are keys of `DIGEST_BYTES`."""

    def __init__(self, algorithms: Iterable[str]) -> None:
        self._hashes = {
            each: hashlib.new(_LIBRARY_NAMES.get(each, str(each)), usedforsecurity=False)
            for each in algorithms
        }
        self.size_bytes = 0

    def update(self, data: bytes | memoryview) -> None:
        """Take in the next bytes of the stream."""
        for each in self._hashes.values():
            each.update(data)
        self.size_bytes += len(data)

    def fixity(self) -> tuple[Fixity, ...]:
        """Return the digests of all bytes so far, in the order in which the algorithms were given."""
        return tuple(Fixity(Algorithm(name), each.hexdigest()) for name, each in self._hashes.items())

    def digests(self) -> dict[str, bytes]:
        """Return the digests of all bytes so far, as bytes, by algorithm."""
        return {name: each.digest() for name, each in self._hashes.items()}


def digest_file(path: Path, algorithms: Iterable[Algorithm]) -> tuple[int, tuple[Fixity, ...]]:
    """Return the size in bytes and the digests of a file, from one read. Raises OSError."""
    digester = Digester(algorithms)
    with path.open("rb", buffering=0) as file:
        size_bytes = os.fstat(file.fileno()).st_size
        buffer = memoryview(bytearray(min(CHUNK_BYTES, size_bytes + 4096)))  # tiles are many and small
        while count := file.readinto(buffer):
            digester.update(buffer[:count])
    return digester.size_bytes, digester.fixity()


def digest_bytes(data: bytes, algorithms: Iterable[Algorithm]) -> tuple[Fixity, ...]:
    """Return the digests of `data`."""
    digester = Digester(algorithms)
    digester.update(data)
    return digester.fixity()
