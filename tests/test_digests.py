from __future__ import annotations

import hashlib
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline import digests
from pipeline.digests import Digester, digest_bytes, digest_file
from pipeline.model import Algorithm, Fixity

ALL = tuple(Algorithm)


@pytest.mark.parametrize(
    ("algorithm", "digest"),
    [
        (Algorithm.MD5, "900150983cd24fb0d6963f7d28e17f72"),
        (Algorithm.SHA1, "a9993e364706816aba3e25717850c26c9cd0d89d"),
        (Algorithm.SHA256, "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"),
        (
            Algorithm.SHA512,
            "ddaf35a193617abacc417349ae20413112e6fa4e89a97ea20a9eeee64b55d39a"
            "2192992a274fc1a836ba3c23a3feebbd454d4423643ce80e2a9ac94fa54ca49f",
        ),
    ],
)
def test_digests_of_the_worked_example(algorithm: Algorithm, digest: str) -> None:
    """ "abc": RFC 1321, section A.5, and FIPS 180-4's examples of the secure hash standard."""
    assert digest_bytes(b"abc", [algorithm]) == (Fixity(algorithm, digest),)


@pytest.mark.parametrize("algorithm", Algorithm)
def test_lengths_are_those_of_the_algorithms(algorithm: Algorithm) -> None:
    assert digests.HEX_LENGTHS[algorithm] == len(hashlib.new(algorithm).hexdigest())


@given(st.lists(st.binary(max_size=100)), st.permutations(ALL))
def test_a_stream_may_come_in_any_pieces(pieces: list[bytes], algorithms: list[Algorithm]) -> None:
    digester = Digester(algorithms)
    for piece in pieces:
        digester.update(memoryview(piece))
    whole = b"".join(pieces)
    assert digester.size_bytes == len(whole)
    assert digester.fixity() == digest_bytes(whole, algorithms)
    assert [each.algorithm for each in digester.fixity()] == algorithms


SIZES = [0, 1, 1000, *(digests.CHUNK_BYTES * n + more for n in (1, 2) for more in (-1, 0, 1))]


@pytest.mark.parametrize("size_bytes", SIZES)
def test_a_file_is_digested_to_its_end(size_bytes: int, tmp_path: Path) -> None:
    data = bytes(range(251)) * (size_bytes // 251 + 1)
    (tmp_path / "a").write_bytes(data[:size_bytes])
    assert digest_file(tmp_path / "a", ALL) == (size_bytes, digest_bytes(data[:size_bytes], ALL))


def test_a_file_that_tells_no_size_is_digested_too() -> None:
    """What the system makes up as it is read says that it has no bytes."""
    path = Path("/proc/self/status")
    if not path.exists():
        pytest.skip("this system has no such files")
    assert digest_file(path, ALL)[0] > 0


def test_a_file_that_is_not_there_is_an_error_of_the_system(tmp_path: Path) -> None:
    with pytest.raises(FileNotFoundError):
        digest_file(tmp_path / "a", ALL)
