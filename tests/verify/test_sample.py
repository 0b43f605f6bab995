"""Frames drawn for the eye: how many, from what, always the same ones."""

from __future__ import annotations

from collections import Counter

import pytest

from pipeline.delivery import Role, SamplingTerms
from pipeline.sampling import Severity
from pipeline.verify.roles import Picture
from pipeline.verify.sample import DEFAULT_AQL, draw


def frames(count: int, role: Role = Role.MASTERS, folder: str = "masters") -> list[Picture]:
    return [
        Picture(bundle="one", path=f"data/{folder}/b{n:04}.tif", stem=f"b{n:04}", role=role)
        for n in range(count)
    ]


# lots, AQL 1.0, level II, normal inspection: ISO 2859-1, tables 1 and 2-A
@pytest.mark.parametrize(
    ("lot", "size", "accept"), [(2, 2, 0), (100, 13, 0), (300, 50, 1), (600, 80, 2), (2000, 125, 3)]
)
def test_the_sample_has_the_size_and_numbers_of_the_standard(lot: int, size: int, accept: int) -> None:
    sample = draw(frames(lot), SamplingTerms(aql=1.0, seed="s"))
    assert sample
    assert (len(sample.frames), sample.accept, sample.reject) == (size, accept, accept + 1)
    assert sample.lot_size == lot


def test_the_same_frames_are_drawn_whatever_their_order() -> None:
    terms = SamplingTerms(aql=1.0, seed="s")
    one, other = draw(frames(300), terms), draw(reversed(frames(300)), terms)
    assert one
    assert other
    assert sorted(one.frames) == sorted(other.frames)
    assert list(one.frames) == sorted(one.frames)


def test_another_seed_draws_others() -> None:
    first, second = (draw(frames(300), SamplingTerms(aql=1.0, seed=seed)) for seed in "ab")
    assert first
    assert second
    assert set(first.frames) != set(second.frames)


def test_masters_are_drawn_and_surrogates_only_without_them() -> None:
    access = frames(3, Role.ACCESS, "access")
    both = draw([*access, *frames(3)], SamplingTerms())
    alone = draw([*access, *frames(3, Role.TARGETS, "targets")], SamplingTerms())
    assert both
    assert alone
    assert {path.split("/")[1] for path in both.frames} == {"masters"}
    assert {path.split("/")[1] for path in alone.frames} == {"access"}


def test_one_frame_counts_once_however_many_pictures_it_has() -> None:
    services = frames(5, Role.ACCESS, "iiif")
    sample = draw([*frames(5, Role.ACCESS, "access"), *services], SamplingTerms())
    assert sample
    assert sample.lot_size == 5


def test_without_terms_a_usual_limit_is_taken_and_said() -> None:
    sample = draw(frames(100), SamplingTerms())
    assert sample
    assert f"AQL {DEFAULT_AQL:g}" in sample.basis


def test_all_frames_are_drawn_if_it_was_agreed() -> None:
    sample = draw(frames(40), SamplingTerms(is_all=True))
    assert sample
    assert (len(sample.frames), sample.accept, sample.basis) == (40, 0, "every frame")


def test_each_session_has_its_share() -> None:
    pictures = frames(300)
    session_of = {each.path: "s1" if n < 200 else "s2" for n, each in enumerate(pictures)}
    sample = draw(pictures, SamplingTerms(aql=1.0, seed="s", is_by_session=True), session_of)
    assert sample
    assert sample.frames
    counts = Counter(session_of[path] for path in sample.frames)
    assert counts["s1"] in (33, 34)
    assert sum(counts.values()) == 50


def test_no_frames_no_sample() -> None:
    assert draw([], SamplingTerms(aql=1.0, severity=Severity.TIGHTENED)) is None
