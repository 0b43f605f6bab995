from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from pipeline import bagprofile, wrap
from pipeline.bagprofile import BagFacts, profile_faults, profile_problems
from pipeline.specs import bagit
from tests import make_bags

IDENTIFIER = "https://profiles.example.org/any-1.0.json"

STRICT: Mapping[str, Any] = {
    "BagIt-Profile-Info": {
        "BagIt-Profile-Identifier": IDENTIFIER,
        "BagIt-Profile-Version": "1.4.0",
        "Source-Organization": "Aldermoor Library",
        "External-Description": "A profile that uses every key",
        "Version": "1.0",
    },
    "Bag-Info": {
        "External-Identifier": {"required": True, "repeatable": False},
        "Capture-Standard": {"required": False, "values": ["A", "B"]},
    },
    "Manifests-Required": ["sha512"],
    "Manifests-Allowed": ["sha512", "sha256"],
    "Tag-Manifests-Required": ["sha512"],
    "Tag-Manifests-Allowed": ["sha512", "sha256"],
    "Allow-Fetch.txt": False,
    "Serialization": "optional",
    "Accept-Serialization": ["application/x-tar", "application/zip"],
    "Accept-BagIt-Version": ["1.0"],
    "Tag-Files-Required": ["notes/mets.xml"],
    "Tag-Files-Allowed": ["notes/*"],
    "Payload-Files-Required": ["data/masters/", "data/list.csv"],
    "Payload-Files-Allowed": ["data/masters/*", "data/list.csv"],
}

FITTING = BagFacts(
    version="1.0",
    info=(("External-Identifier", "MS B 14"), ("BagIt-Profile-Identifier", IDENTIFIER)),
    manifests=("sha512",),
    tag_manifests=("sha512",),
    tag_files=("notes/mets.xml", "notes/deep/er.txt"),
    payload=(("data/masters/a.tif", 3), ("data/masters/deep/b.tif", 3), ("data/list.csv", 1)),
)


def _with_info(*elements: tuple[str, str]) -> BagFacts:
    return replace(FITTING, info=(*FITTING.info, *elements))


def test_a_bag_that_fits_has_no_problems() -> None:
    assert profile_faults(STRICT) == ()
    assert profile_problems(FITTING, STRICT) == ()
    assert profile_problems(_with_info(("Capture-Standard", "B"), ("Anything", "else")), STRICT) == ()


BROKEN = {
    "another version": (replace(FITTING, version="0.97"), ["Accept-BagIt-Version"]),
    "an archive of another kind": (
        replace(FITTING, serialization="application/gzip"),
        ["Accept-Serialization"],
    ),
    "no identifier of the profile": (
        replace(FITTING, info=FITTING.info[:1]),
        ["BagIt-Profile-Identifier"],
    ),
    "another profile": (
        replace(FITTING, info=(FITTING.info[0], ("BagIt-Profile-Identifier", "https://example.org/"))),
        ["BagIt-Profile-Identifier"],
    ),
    "a required element is missing": (replace(FITTING, info=FITTING.info[1:]), ["External-Identifier"]),
    "an element is repeated": (_with_info(("External-Identifier", "2")), ["External-Identifier"]),
    "an element is repeated in other letters": (
        _with_info(("external-identifier", "2")),
        ["External-Identifier"],
    ),
    "a value that is not listed": (_with_info(("Capture-Standard", "C")), ["Capture-Standard"]),
    "a manifest is missing": (replace(FITTING, manifests=("sha256",)), ["Manifests-Required"]),
    "a manifest that is not allowed": (
        replace(FITTING, manifests=("sha512", "md5")),
        ["Manifests-Allowed"],
    ),
    "a tag manifest is missing": (replace(FITTING, tag_manifests=()), ["Tag-Manifests-Required"]),
    "a tag manifest that is not allowed": (
        replace(FITTING, tag_manifests=("sha512", "sha1")),
        ["Tag-Manifests-Allowed"],
    ),
    "files to fetch": (replace(FITTING, has_fetch=True), ["Allow-Fetch.txt"]),
    "a tag file is missing": (replace(FITTING, tag_files=()), ["Tag-Files-Required"]),
    "a tag file that is not allowed": (
        replace(FITTING, tag_files=("notes/mets.xml", "other.xml")),
        ["Tag-Files-Allowed"],
    ),
    "a folder is empty": (
        replace(FITTING, payload=(("data/list.csv", 1),)),
        ["Payload-Files-Required"],
    ),
    "a payload file is missing": (
        replace(FITTING, payload=FITTING.payload[:2]),
        ["Payload-Files-Required"],
    ),
    "a payload file that is not allowed": (
        replace(FITTING, payload=(*FITTING.payload, ("data/masters.tif", 1))),
        ["Payload-Files-Allowed"],
    ),
}


@pytest.mark.parametrize("case", BROKEN)
def test_whatever_breaks_a_profile_is_found(case: str) -> None:
    facts, expected = BROKEN[case]
    assert [problem.where for problem in profile_problems(facts, STRICT)] == expected


def test_all_that_is_not_fatal_is_told_together() -> None:
    facts = replace(FITTING, info=FITTING.info[1:], manifests=("md5",), tag_files=())
    assert [problem.where for problem in profile_problems(facts, STRICT)] == [
        "External-Identifier",
        "Manifests-Required",
        "Manifests-Allowed",
        "Tag-Files-Required",
    ]


def test_what_is_fatal_ends_the_judgement() -> None:
    facts = replace(FITTING, version="0.97", manifests=())
    assert [problem.where for problem in profile_problems(facts, STRICT)] == ["Accept-BagIt-Version"]


def test_other_switches_of_a_profile() -> None:
    archive = replace(FITTING, serialization="application/zip")
    cases = [
        (FITTING, {**STRICT, "Serialization": "required"}, ["Serialization"]),
        (archive, {**STRICT, "Serialization": "required"}, []),
        (archive, {**STRICT, "Serialization": "forbidden"}, ["Serialization"]),
        (replace(FITTING, serialization="application/tar"), STRICT, []),
        (FITTING, {**STRICT, "Allow-Fetch.txt": True, "Fetch.txt-Required": True}, ["Fetch.txt-Required"]),
        (replace(FITTING, has_fetch=True), {**STRICT, "Allow-Fetch.txt": True}, []),
        (FITTING, {**STRICT, "Data-Empty": True}, ["Data-Empty"]),
        (FITTING, {**STRICT, "Tag-Files-Allowed": []}, ["Tag-Files-Allowed"] * 2),
    ]
    for facts, profile, expected in cases:
        assert [problem.where for problem in profile_problems(facts, profile)] == expected


@pytest.mark.parametrize(
    ("payload", "fits"),
    [((), True), ((("data/.keep", 0),), True), ((("data/a", 1),), False), ((("data/a", 0),) * 2, False)],
)
def test_an_empty_payload_may_be_asked_for(payload: tuple[tuple[str, int], ...], fits: bool) -> None:
    """BagIt Profiles 1.4.0, Data-Empty."""
    profile = {key: value for key, value in STRICT.items() if not key.startswith("Payload-Files")}
    facts = replace(FITTING, payload=payload)
    assert (profile_problems(facts, {**profile, "Data-Empty": True}) == ()) is fits


def test_patterns_know_the_asterisk_alone() -> None:
    profile = {**STRICT, "Payload-Files-Allowed": ["data/list?[1].csv"], "Payload-Files-Required": []}
    for path, fits in (("data/list?[1].csv", True), ("data/listx1.csv", False)):
        facts = replace(FITTING, payload=((path, 1),))
        assert (profile_problems(facts, profile) == ()) is fits


FAULTY = {
    "no key about itself": ({**STRICT, "BagIt-Profile-Info": {}}, 5),
    "no version accepted": ({**STRICT, "Accept-BagIt-Version": []}, 1),
    "a manifest both required and not allowed": ({**STRICT, "Manifests-Required": ["md5"]}, 1),
    "a tag manifest both required and not allowed": ({**STRICT, "Tag-Manifests-Required": ["md5"]}, 1),
    "a tag file both required and not allowed": ({**STRICT, "Tag-Files-Required": ["mets.xml"]}, 1),
    "a payload file both required and not allowed": ({**STRICT, "Payload-Files-Required": ["data/x/"]}, 1),
    "fetching both required and forbidden": ({**STRICT, "Fetch.txt-Required": True}, 1),
    "no such serialization": ({**STRICT, "Serialization": "perhaps"}, 1),
    "an archive required, but of no kind": (
        {**STRICT, "Serialization": "required", "Accept-Serialization": []},
        1,
    ),
}


@pytest.mark.parametrize("case", FAULTY)
def test_a_profile_that_contradicts_itself_is_found(case: str) -> None:
    profile, count = FAULTY[case]
    assert len(profile_faults(profile)) == count


# -------------------------------------------------------------------------------------- our profiles


def facts_of(bag: Path) -> BagFacts:
    """The facts of a bag as the bagit library and the folder give them."""
    info = [
        (label, value)
        for label, values in make_bags.library_info(bag).items()
        for value in ([values] if isinstance(values, str) else values)
    ]
    files = [path.relative_to(bag).as_posix() for path in bag.rglob("*") if path.is_file()]
    known = {"bagit.txt", "bag-info.txt", "fetch.txt"}
    return BagFacts(
        version="1.0",
        info=tuple(info),
        manifests=tuple(each.stem[9:] for each in bag.glob("manifest-*.txt")),
        tag_manifests=tuple(each.stem[12:] for each in bag.glob("tagmanifest-*.txt")),
        tag_files=tuple(
            f for f in files if not f.startswith(("data/", "manifest-", "tagm")) and f not in known
        ),
        payload=tuple((f, (bag / f).stat().st_size) for f in files if f.startswith("data/")),
        has_fetch="fetch.txt" in files,
    )


@pytest.fixture(scope="module")
def sealed(tmp_path_factory: pytest.TempPathFactory) -> Mapping[str, BagFacts]:
    folder = tmp_path_factory.mktemp("bags")
    plans = (make_bags.publication_plan(), make_bags.preservation_plan(folder / "item", make_bags.TWO))
    for plan in plans:
        wrap.seal(plan, folder)
    names = (bagit.PUBLICATION_PROFILE, bagit.PRESERVATION_PROFILE)
    return {name: facts_of(folder / plan.name) for name, plan in zip(names, plans, strict=True)}


def _ours(identifier: str) -> Mapping[str, Any]:
    profile = bagprofile.our_profile(identifier)
    assert profile is not None
    return profile


@pytest.mark.parametrize("identifier", bagit.PROFILE_FILES)
def test_both_kinds_of_bag_fit_our_profiles(identifier: str, sealed: Mapping[str, BagFacts]) -> None:
    profile = _ours(identifier)
    assert profile_faults(profile) == ()
    assert profile_problems(sealed[identifier], profile) == ()


@pytest.mark.parametrize("form", ["application/x-tar", "application/gzip", "application/zip"])
@pytest.mark.parametrize("identifier", bagit.PROFILE_FILES)
def test_our_bags_may_come_in_every_archive_that_is_read(
    identifier: str, form: str, sealed: Mapping[str, BagFacts]
) -> None:
    assert profile_problems(replace(sealed[identifier], serialization=form), _ours(identifier)) == ()


@pytest.mark.parametrize("identifier", bagit.PROFILE_FILES)
def test_our_profiles_miss_whatever_they_require(identifier: str, sealed: Mapping[str, BagFacts]) -> None:
    profile, facts = _ours(identifier), sealed[identifier]
    for label, rule in profile["Bag-Info"].items():
        without = replace(facts, info=tuple(pair for pair in facts.info if pair[0] != label))
        found = [problem.where for problem in profile_problems(without, profile)]
        assert found == ([label] if rule["required"] else [])
        twice = replace(facts, info=(*facts.info, *(pair for pair in facts.info if pair[0] == label)))
        assert (profile_problems(twice, profile) == ()) is rule["repeatable"]
    for required in profile["Payload-Files-Required"]:
        without = replace(facts, payload=tuple(p for p in facts.payload if not p[0].startswith(required)))
        assert [problem.where for problem in profile_problems(without, profile)] == ["Payload-Files-Required"]


@pytest.mark.parametrize("identifier", bagit.PROFILE_FILES)
def test_our_profiles_object_to_what_they_do_not_allow(
    identifier: str, sealed: Mapping[str, BagFacts]
) -> None:
    profile, facts = _ours(identifier), sealed[identifier]
    odd = replace(
        facts,
        manifests=(*facts.manifests, "crc32"),
        tag_manifests=(*facts.tag_manifests, "crc32"),
        tag_files=("notes.txt",),
        payload=(*facts.payload, ("data/notes.txt", 1)),
        has_fetch=True,
    )
    assert [problem.where for problem in profile_problems(odd, profile)] == [
        "Manifests-Allowed",
        "Tag-Manifests-Allowed",
        "Allow-Fetch.txt",
        "Tag-Files-Allowed",
        "Payload-Files-Allowed",
    ]


def test_each_bag_fails_the_profile_of_the_other(sealed: Mapping[str, BagFacts]) -> None:
    assert profile_problems(sealed[bagit.PUBLICATION_PROFILE], _ours(bagit.PRESERVATION_PROFILE))
    assert profile_problems(sealed[bagit.PRESERVATION_PROFILE], _ours(bagit.PUBLICATION_PROFILE))


def test_a_profile_that_is_not_ours_is_not_looked_for() -> None:
    assert bagprofile.our_profile(IDENTIFIER) is None
