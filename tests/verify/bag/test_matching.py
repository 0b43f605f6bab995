"""Which files the manifests mean: by their spelling first, by Unicode form, by a sloppy encoding."""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable, Mapping

from hypothesis import given
from hypothesis import strategies as st

from pipeline.verify.bag.matching import clashes, match
from pipeline.verify.evidence import Bag, Declaration, Manifest

NFC, NFD = (unicodedata.normalize(form, "data/é") for form in ("NFC", "NFD"))


def manifest(entries: Iterable[str] | Mapping[str, bytes], file: str = "manifest-sha512.txt") -> Manifest:
    named = entries if isinstance(entries, Mapping) else dict.fromkeys(entries, b"digest")
    return Manifest(file=file, algorithm="sha512", is_known=True, entries=named)


def bag(
    listed: Iterable[str] | Mapping[str, bytes],
    there: Iterable[str],
    *more: Iterable[str],
    tags: Iterable[str] = (),
    tag_files: Iterable[str] = (),
    version: tuple[int, int] = (1, 0),
) -> Bag:
    others = tuple(manifest(each, f"manifest-{number}.txt") for number, each in enumerate(more))
    return Bag(
        declaration=Declaration(version=version, encoding="UTF-8"),
        manifests=(manifest(listed), *others),
        tag_manifests=(manifest(tags, "tagmanifest-sha512.txt"),),
        info=(),
        info_file="",
        info_faults=(),
        long_lines=(),
        fetch=(),
        fetch_faults=(),
        has_fetch=False,
        undecodable=(),
        payload=dict.fromkeys(there, 1),
        tags=dict.fromkeys(tag_files, 1),
    )


def test_what_is_spelt_alike_matches_without_a_word() -> None:
    found = match(bag([NFC, "data/a"], ["data/a", NFC], tags=["notes.txt"], tag_files=["notes.txt"]))
    assert [*found.spelt, *found.missing, *found.missing_tags, *found.unlisted] == []
    assert found.actual(NFC) == NFC


def test_another_form_of_a_name_is_taken_for_it() -> None:
    found = match(bag([NFD], [NFC]))
    assert found.spelt == {NFD: NFC}
    assert (found.actual(NFD), found.missing, dict(found.unlisted)) == (NFC, (), {})
    assert [*clashes(bag([NFD], [NFC]), found)] == []


def test_two_files_of_other_forms_are_ambiguous() -> None:
    between = "data/ạ\u0302"
    both = [unicodedata.normalize(form, between) for form in ("NFC", "NFD")]
    found = match(bag([between], both))
    assert {*found.ambiguous[between]} == set(both)
    assert (found.spelt, found.missing, dict(found.unlisted)) == ({}, (), {})


def test_an_encoded_name_on_the_disk_is_taken_for_the_decoded_one_since_1_0() -> None:
    assert match(bag(["data/50%"], ["data/50%25"])).encoded == {"data/50%": "data/50%25"}
    assert match(bag(["data/50%"], ["data/50%25"], version=(0, 97))).missing == ("data/50%",)


def test_the_literal_name_wins_over_the_encoded_one() -> None:
    found = match(bag(["data/50%"], ["data/50%", "data/50%25"]))
    assert found.encoded == {}
    assert [*found.unlisted] == ["data/50%25"]


def test_an_entry_that_differs_in_case_alone_is_a_twin_if_its_digest_is_the_same() -> None:
    same = {"data/a": b"1", "data/A": b"1"}
    assert match(bag(same, ["data/a"])).twins == {"data/A": "data/a"}
    assert match(bag(same | {"data/A": b"2"}, ["data/a"])).missing == ("data/A",)
    assert match(bag({"data/A": b"1"}, ["data/a"])).missing == ("data/A",)


def test_what_lies_on_the_wrong_side_is_neither_missing_nor_unlisted() -> None:
    found = match(
        bag(["bag-info.txt", "data/a"], ["data/a"], tags=["data/a", "data/b"], tag_files=["bag-info.txt"])
    )
    assert (found.missing, found.missing_tags, dict(found.unlisted)) == ((), (), {})


def test_each_manifest_that_lacks_a_file_is_named() -> None:
    found = match(bag(["data/a", "data/b"], ["data/a", "data/b", "data/c"], ["data/a"]))
    assert dict(found.unlisted) == {
        "data/b": ("manifest-0.txt",),
        "data/c": ("manifest-sha512.txt", "manifest-0.txt"),
    }


NAMES = st.sets(st.text("aAéÉe\u0301%25\n", min_size=1, max_size=4).map("data/{}".format), max_size=8)


@given(NAMES, NAMES)
def test_every_listed_name_and_every_file_is_accounted_for_once(listed: set[str], there: set[str]) -> None:
    found = match(bag(listed, there))
    meant = [name for name in listed if name in there]
    groups = [meant, found.spelt, found.encoded, found.ambiguous, found.twins, found.missing]
    assert sorted(name for group in groups for name in group) == sorted(listed)
    covered = {found.actual(name) for name in listed} | {
        path for paths in found.ambiguous.values() for path in paths
    }
    assert set(found.unlisted) == there - covered


@given(NAMES)
def test_names_clash_if_and_only_if_a_file_system_could_take_them_for_one(names: set[str]) -> None:
    one = bag(names, names)
    folds = {unicodedata.normalize("NFC", name).casefold() for name in names}
    assert len([*clashes(one, match(one))]) == len(names) - len(
        {unicodedata.normalize("NFC", fold) for fold in folds}
    )
