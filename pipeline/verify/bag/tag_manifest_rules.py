"""Rules over tag manifests, and the tag files that they list.

Source: RFC 8493, section 2.2.1.
"""

from __future__ import annotations

from collections.abc import Iterator

from pipeline.findings import Level, Remark
from pipeline.verify import sources
from pipeline.verify.bag.facts import BAG, IS_BAG, IS_READABLE, BagFacts
from pipeline.verify.bag.matching import is_payload
from pipeline.verify.sources import RFC_8493


@BAG.rule(
    "B040",
    Level.WARNING,
    "There is no tag manifest",
    source=RFC_8493 + "2.2.1",
    advice="Add tagmanifest-sha512.txt: without it a changed manifest or bag-info.txt goes unnoticed.",
    requires=IS_BAG,
)
def there_is_a_tag_manifest(facts: BagFacts) -> Iterator[Remark]:
    """Tag manifests are optional; the manifests themselves are unprotected without."""
    if not facts.bag.tag_manifests:
        yield Remark(place=facts.bundle.place, value="no tag manifest", limit="one")


@BAG.rule(
    "B041",
    Level.ERROR,
    "A tag manifest does not list a payload manifest",
    source=RFC_8493 + "2.2.1",
    advice="Make the tag manifests again, last of all.",
    requires={*IS_READABLE, "B010"},
)
def tag_manifests_list_the_manifests(facts: BagFacts) -> Iterator[Remark]:
    """Each tag manifest lists every payload manifest; a warning in the drafts."""
    level = None if facts.bag.declaration.is_final else Level.WARNING
    for tag_manifest in facts.bag.tag_manifests:
        for manifest in facts.bag.manifests:
            if manifest.file not in tag_manifest.entries:
                value = f"{manifest.file} is not in it"
                yield Remark(
                    place=tag_manifest.file, value=value, limit="every payload manifest", level=level
                )


@BAG.rule(
    "B042",
    Level.ERROR,
    "A tag manifest lists what it must not",
    source=RFC_8493 + "2.2.1",
    advice="List neither payload files nor tag manifests in a tag manifest.",
    requires=IS_READABLE,
)
def tag_manifests_list_tag_files_alone(facts: BagFacts) -> Iterator[Remark]:
    """No tag manifest is listed, no payload file."""
    tag_manifests = {each.file for each in facts.bag.tag_manifests}
    for manifest in facts.bag.tag_manifests:
        for path in manifest.entries:
            if path in tag_manifests or is_payload(path):
                yield Remark(place=manifest.file, value=path, limit="tag files but tag manifests")


@BAG.rule(
    "B043",
    Level.WARNING,
    "A tag file is not listed",
    source=RFC_8493 + "2.2.1",
    advice="List every tag file but the tag manifests in every tag manifest; what is not listed can change "
    "unnoticed.",
    requires={*IS_READABLE, "B010", "B040"},
)
def tag_files_are_listed(facts: BagFacts) -> Iterator[Remark]:
    """Tag manifests should list all other tag files, and all the same."""
    if not facts.bag.tag_manifests:
        return
    tag_manifests = {each.file for each in facts.bag.tag_manifests}
    manifests = {each.file for each in facts.bag.manifests}  # B041 tells of these
    spelt = set(facts.matching.spelt.values())
    for path in sorted(facts.bag.tags.keys() - tag_manifests - manifests - spelt):
        lacking = [each.file for each in facts.bag.tag_manifests if path not in each.entries]
        if lacking:
            yield Remark(place=path, value=f"not in {', '.join(lacking)}", limit="in every tag manifest")


@BAG.rule(
    "B044",
    Level.ERROR,
    "A listed tag file is missing",
    source=RFC_8493 + "2.2.1",
    advice="Deliver the file, or the whole bag again. If it was left out on purpose, make the tag manifests "
    "again.",
    requires=IS_READABLE,
)
def listed_tag_files_are_there(facts: BagFacts) -> Iterator[Remark]:
    """Every file in a tag manifest lies in the bag. If it is the only payload manifest B006 tells."""
    for path in facts.matching.missing_tags:
        is_only_manifest = not facts.bag.manifests and path.startswith("manifest-")
        if not facts.is_out_of_reach(path) and not is_only_manifest:
            yield Remark(place=path, value="not in the bag", limit="the file")


@BAG.rule(
    "B045",
    Level.WARNING,
    "Tag manifests use other algorithms than payload manifests",
    source=RFC_8493 + "2.2.1",
    advice="Make a tag manifest for each payload manifest, with the same algorithm.",
    requires={*IS_READABLE, "B006", "B040"},
)
def tag_manifests_use_the_same_algorithms(facts: BagFacts) -> Iterator[Remark]:
    """The algorithms should be the same."""
    payload = {each.algorithm for each in facts.bag.manifests if each.is_known}
    tags = {each.algorithm for each in facts.bag.tag_manifests if each.is_known}
    if tags and payload and tags != payload:
        value, limit = ", ".join(sorted(tags)), ", ".join(sorted(payload))
        yield Remark(place=facts.bundle.place, value=value, limit=limit)


@BAG.rule(
    "B046",
    Level.WARNING,
    "A folder of tag files in an old draft",
    source=sources.BAGIT_DRAFT + "changes since 0.96",
    advice="Declare version 0.97 at least, better 1.0.",
    requires=IS_BAG,
)
def old_drafts_have_no_tag_folders(facts: BagFacts) -> Iterator[Remark]:
    """Before 0.97 `data` is the only folder."""
    if facts.bag.declaration.version < (0, 97):
        for folder in sorted({path.partition("/")[0] for path in facts.bag.tags if "/" in path}):
            yield Remark(place=folder, value="a folder beside data", limit="data alone before version 0.97")
