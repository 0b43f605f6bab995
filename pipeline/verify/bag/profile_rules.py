"""Rules over BagIt profiles: those that a bag names, and those that a delivery asks for.

Source: BagIt Profiles specification 1.4.0.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from pipeline import bagprofile
from pipeline.errors import Problem
from pipeline.findings import Level, Remark
from pipeline.specs import bagit
from pipeline.verify import sources
from pipeline.verify.bag.declaration_rules import the_version_is_known
from pipeline.verify.bag.facts import BAG, FEW, IS_READABLE, BagFacts
from pipeline.verify.bag.payload_rules import nothing_is_left_to_fetch


@BAG.rule(
    "B080",
    Level.ERROR,
    "The bag does not conform to its profile",
    source=sources.BAGIT_PROFILES + "Implementation details",
    advice="Make the bag as its profile wants it; the key of the profile is named with each place.",
    requires=IS_READABLE,
)
def profiles_are_kept(facts: BagFacts) -> Iterator[Remark]:
    """Profiles that the bag names and we know, and those that the delivery asks for.

    What is missing counts as there, and what is not listed is not told of again: other rules do.
    """
    for profile in _profiles(facts):
        about: Mapping[str, Any] = profile["BagIt-Profile-Info"]
        source = f"{about.get('External-Description', '')} ({about[bagit.Label.PROFILE_IDENTIFIER]})"
        alike: dict[tuple[str, str], list[str]] = {}
        for problem in bagprofile.profile_problems(_profile_facts(facts), profile):
            if not _is_told_already(facts, problem):
                alike.setdefault((problem.where, problem.expected), []).append(problem.found)
        for (where, expected), found in alike.items():
            more = f"; and {len(found) - 1:,} more" if len(found) > FEW else ""
            for value in found[:1] if more else found:
                place = f"{facts.bundle.place}, {where}"
                yield Remark(place=place, value=value + more, limit=expected, source=source)


def _is_told_already(facts: BagFacts, problem: Problem) -> bool:
    """True if B003, B021 or B022 tells of it."""
    match problem.where:
        case "Accept-BagIt-Version":
            return any(the_version_is_known(facts))
        case "Allow-Fetch.txt":
            return any(nothing_is_left_to_fetch(facts))
        case "Payload-Files-Allowed":
            return problem.found in facts.matching.unlisted
    return False


def _profiles(facts: BagFacts) -> list[bagprofile.Profile]:
    named = facts.bag.values(bagit.Label.PROFILE_IDENTIFIER)
    ours = [profile for each in named if (profile := bagprofile.our_profile(each))]
    return [*ours, *(each for each in facts.profiles if each not in ours)]


def _profile_facts(facts: BagFacts) -> bagprofile.BagFacts:
    bag = facts.bag
    own = {
        bagit.DECLARATION_FILE,
        bagit.FETCH_FILE,
        bag.info_file,
        *(each.file for each in (*bag.manifests, *bag.tag_manifests)),
    }
    payload = {**dict.fromkeys(facts.matching.missing, 1), **bag.payload}
    major, minor = bag.declaration.version
    return bagprofile.BagFacts(
        version=f"{major}.{minor}",
        info=bag.info,
        manifests=tuple(each.algorithm for each in bag.manifests),
        tag_manifests=tuple(each.algorithm for each in bag.tag_manifests),
        tag_files=tuple(sorted(bag.tags.keys() - own)),
        payload=tuple(payload.items()),
        has_fetch=bag.has_fetch,
        serialization=facts.bundle.container.media_type,
    )


@BAG.rule(
    "B081",
    Level.WARNING,
    "The bag names a profile that is not known here",
    source=sources.BAGIT_PROFILES + "Bag-Info",
    advice="Get the profile from its publisher and name its file in the delivery specification. It is not "
    "fetched from the address that the bag gives.",
    requires=IS_READABLE,
)
def profiles_are_known(facts: BagFacts) -> Iterator[Remark]:
    """Profiles are known by their identifiers, and never fetched."""
    given = {each["BagIt-Profile-Info"][bagit.Label.PROFILE_IDENTIFIER] for each in facts.profiles}
    for identifier in facts.bag.values(bagit.Label.PROFILE_IDENTIFIER):
        if identifier not in given and bagprofile.our_profile(identifier) is None:
            place = f"{facts.bag.info_file}, {bagit.Label.PROFILE_IDENTIFIER}"
            yield Remark(place=place, value=identifier, limit="a profile that is known here")
