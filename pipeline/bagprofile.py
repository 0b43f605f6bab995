"""BagIt profiles: what a bag must be like beyond being a bag, judged from its facts.

A judge without files: whoever makes a bag and whoever verifies one gather the facts each in their own
way. Source: BagIt Profiles Specification 1.4.0. Where its text leaves a choice (`docs/bags.md`):
``*`` in a pattern stands for any characters, ``/`` too; files that BagIt itself defines need not be
allowed; labels that RFC 8493 reserves are compared without regard to case.
"""

from __future__ import annotations

import functools
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from pipeline import jsondoc
from pipeline.errors import Problem
from pipeline.specs import bagit

Profile = Mapping[str, Any]
"""A profile as its JSON document has it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class BagFacts:
    """What a profile is about. Paths are relative to the bag."""

    version: str
    """``BagIt-Version``."""
    info: tuple[tuple[str, str], ...]
    """Labels and values of `bag-info.txt`, unfolded, in order."""
    manifests: tuple[str, ...]
    """Algorithms of the payload manifests."""
    tag_manifests: tuple[str, ...]
    tag_files: tuple[str, ...]
    """Tag files beside those that BagIt itself defines."""
    payload: tuple[tuple[str, int], ...]
    """Payload files, beginning with ``data/``, and their sizes in bytes."""
    has_fetch: bool = False
    serialization: str = ""
    """The media type of the archive that the bag came in; empty for a folder."""


def our_profile(identifier: str) -> Profile | None:
    """Return our profile of that identifier, or None. Nothing is ever fetched."""
    name = bagit.PROFILE_FILES.get(identifier)
    return None if name is None else _document(name)


@functools.cache
def _document(name: str) -> Profile:
    document: Profile = jsondoc.read(jsondoc.schemas_folder() / name)
    return document


def profile_problems(facts: BagFacts, profile: Profile) -> tuple[Problem, ...]:
    """Return everything in which a bag does not conform to a profile.

    A wrong version or kind of archive ends the judgement, as the specification wants.
    """
    fatal = (*_version(facts, profile), *_serialization(facts, profile))
    if fatal:
        return fatal
    return (
        *_info(facts, profile),
        *_algorithms(facts.manifests, profile, "Manifests", "payload manifest"),
        *_algorithms(facts.tag_manifests, profile, "Tag-Manifests", "tag manifest"),
        *_fetch(facts, profile),
        *_emptiness(facts, profile),
        *_files(facts.tag_files, profile, "Tag-Files"),
        *_files([path for path, _ in facts.payload], profile, "Payload-Files"),
    )


# ----------------------------------------------------------------------------------------- bag-info.txt


def _info(facts: BagFacts, profile: Profile) -> Iterator[Problem]:
    identifier = profile["BagIt-Profile-Info"][bagit.Label.PROFILE_IDENTIFIER]
    named = _values(facts.info, bagit.Label.PROFILE_IDENTIFIER)
    if identifier not in named:
        yield _problem(bagit.Label.PROFILE_IDENTIFIER, _listed(named), identifier)
    for label, rule in profile.get("Bag-Info", {}).items():
        yield from _element(label, _values(facts.info, label), rule)


def _element(label: str, values: Sequence[str], rule: Mapping[str, Any]) -> Iterator[Problem]:
    if rule.get("required", False) and not values:
        yield _problem(label, "no such element", "one")
    if not rule.get("repeatable", True) and len(values) > 1:
        yield _problem(label, f"it {len(values)} times", "it once at most")
    if allowed := rule.get("values"):
        for value in values:
            if value not in allowed:
                yield _problem(label, f'"{value}"', f"one of {_listed(allowed)}")


def _values(info: Iterable[tuple[str, str]], label: str) -> list[str]:
    if label.title() in bagit.RESERVED_LABELS:
        return [value for each, value in info if each.lower() == label.lower()]
    return [value for each, value in info if each == label]


# ---------------------------------------------------------------------------------- manifests and files


def _algorithms(present: Sequence[str], profile: Profile, key: str, noun: str) -> Iterator[Problem]:
    for algorithm in profile.get(f"{key}-Required", ()):
        if algorithm not in present:
            yield _problem(f"{key}-Required", f"no {noun} with {algorithm}", "one")
    allowed = profile.get(f"{key}-Allowed")
    for algorithm in present:
        if allowed is not None and algorithm not in allowed:
            yield _problem(f"{key}-Allowed", f"a {noun} with {algorithm}", f"one of {_listed(allowed)}")


def _files(paths: Sequence[str], profile: Profile, key: str) -> Iterator[Problem]:
    there = set(paths)
    for required in profile.get(f"{key}-Required", ()):
        is_folder = required.endswith("/")
        if not (any(path.startswith(required) for path in paths) if is_folder else required in there):
            yield _problem(f"{key}-Required", f"no {required}", "a file in it" if is_folder else "it")
    allowed = profile.get(f"{key}-Allowed", ("*",))
    pattern = _pattern(tuple(allowed))
    for path in paths:
        if not pattern.fullmatch(path):
            yield _problem(f"{key}-Allowed", path, f"files that match one of {_listed(allowed)}")


@functools.cache
def _pattern(globs: tuple[str, ...]) -> re.Pattern[str]:
    wholes = (".*".join(re.escape(part) for part in glob.split("*")) for glob in globs)
    return re.compile("|".join(wholes) if globs else "(?!)", re.DOTALL)


def _fetch(facts: BagFacts, profile: Profile) -> Iterator[Problem]:
    if facts.has_fetch and not profile.get("Allow-Fetch.txt", True):
        yield _problem("Allow-Fetch.txt", bagit.FETCH_FILE, "none")
    if not facts.has_fetch and profile.get("Fetch.txt-Required", False):
        yield _problem("Fetch.txt-Required", f"no {bagit.FETCH_FILE}", "one")


def _emptiness(facts: BagFacts, profile: Profile) -> Iterator[Problem]:
    sizes = [size_bytes for _, size_bytes in facts.payload]
    if profile.get("Data-Empty", False) and sizes not in ([], [0]):
        yield _problem("Data-Empty", f"{len(sizes)} payload files", "none, or one of 0 bytes")


# -------------------------------------------------------------------------------------- what is fatal


def _version(facts: BagFacts, profile: Profile) -> Iterator[Problem]:
    accepted = profile["Accept-BagIt-Version"]
    if facts.version not in accepted:
        yield _problem("Accept-BagIt-Version", facts.version, f"one of {_listed(accepted)}")


def _serialization(facts: BagFacts, profile: Profile) -> Iterator[Problem]:
    wanted = profile.get("Serialization", "optional")
    if not facts.serialization:
        if wanted == "required":
            yield _problem("Serialization", "a folder", f"an archive, {_listed(_accepted(profile))}")
    elif wanted == "forbidden":
        yield _problem("Serialization", facts.serialization, "a folder")
    elif _usual(facts.serialization) not in map(_usual, _accepted(profile)):
        yield _problem("Accept-Serialization", facts.serialization, f"one of {_listed(_accepted(profile))}")


def _accepted(profile: Profile) -> Sequence[str]:
    accepted: Sequence[str] = profile.get("Accept-Serialization", ())
    return accepted


def _usual(media_type: str) -> str:
    return bagit.SERIALIZATIONS.get(media_type, media_type)


# ------------------------------------------------------------------------------- the profile itself


def profile_faults(profile: Profile) -> tuple[Problem, ...]:
    """Return what is wrong with a profile itself, before any bag is judged by it."""
    return (
        *_about(profile),
        *_own_algorithms(profile),
        *_own_files(profile),
        *_own_switches(profile),
    )


_ABOUT = (
    bagit.Label.PROFILE_IDENTIFIER,
    "BagIt-Profile-Version",
    bagit.Label.SOURCE_ORGANIZATION,
    bagit.Label.EXTERNAL_DESCRIPTION,
    "Version",
)


def _about(profile: Profile) -> Iterator[Problem]:
    about = profile.get("BagIt-Profile-Info", {})
    for key in _ABOUT:
        if not about.get(key):
            yield _problem(f"BagIt-Profile-Info, {key}", "nothing", "a text")
    if not profile.get("Accept-BagIt-Version"):
        yield _problem("Accept-BagIt-Version", "none", "one version at least")


def _own_algorithms(profile: Profile) -> Iterator[Problem]:
    for key in ("Manifests", "Tag-Manifests"):
        allowed = profile.get(f"{key}-Allowed")
        for algorithm in profile.get(f"{key}-Required", ()):
            if allowed is not None and algorithm not in allowed:
                yield _problem(f"{key}-Required", algorithm, f"one of those allowed, {_listed(allowed)}")


def _own_files(profile: Profile) -> Iterator[Problem]:
    for key in ("Tag-Files", "Payload-Files"):
        pattern = _pattern(tuple(profile.get(f"{key}-Allowed", ("*",))))
        for required in profile.get(f"{key}-Required", ()):
            if not pattern.fullmatch(required):
                yield _problem(f"{key}-Required", required, f"what {key}-Allowed covers")


def _own_switches(profile: Profile) -> Iterator[Problem]:
    if profile.get("Fetch.txt-Required", False) and not profile.get("Allow-Fetch.txt", True):
        yield _problem("Fetch.txt-Required", "true", "false, as Allow-Fetch.txt is false")
    wanted = profile.get("Serialization", "optional")
    if wanted not in ("forbidden", "required", "optional"):
        yield _problem("Serialization", str(wanted), "forbidden, required or optional")
    if wanted == "required" and not _accepted(profile):
        yield _problem("Accept-Serialization", "none", "one media type at least")


# ---------------------------------------------------------------------------------------------- words


def _problem(key: str, found: str, expected: str) -> Problem:
    return Problem(where=key, found=found, expected=expected)


def _listed(values: Iterable[str]) -> str:
    return ", ".join(values) or "none"
