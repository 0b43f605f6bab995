"""Inventories of one object held against each other: sections 3.3.1 and 3.7."""

from __future__ import annotations

from collections.abc import Iterator

from pipeline.findings import Remark
from pipeline.ocfl.reading import InventoryFile, ObjectFacts
from pipeline.ocfl.validating.inventory_rules import MAKE_ANEW, parsed, shown
from pipeline.ocfl.validating.register import object_rule
from pipeline.specs import ocfl

_WHICH = (
    "Find out which of the two is right: compare both with other copies of the object and with the receipts."
)


def _earlier(facts: ObjectFacts) -> list[InventoryFile]:
    """Inventories of versions that differ from the believed one, the first first."""
    current = facts.current
    return [each for each in parsed(facts) if current and each.folder and each.digests != current.digests]


@object_rule("E019", MAKE_ANEW)
def the_content_folder_was_named_from_the_first_version_on(facts: ObjectFacts) -> Iterator[Remark]:
    """If the last inventory names a content folder, the first names the same."""
    current, earlier = facts.current, _earlier(facts)
    if current is None or not earlier or "contentDirectory" not in current.document:
        return
    first = earlier[0].document.get("contentDirectory")
    if first != current.document["contentDirectory"]:
        where = f"{current.place}, contentDirectory"
        limit = f"{shown(first) if first is not None else 'no such key'}, as {earlier[0].place} has it"
        yield Remark(place=where, value=shown(current.document["contentDirectory"]), limit=limit)


@object_rule("E020", MAKE_ANEW)
def the_content_folder_keeps_its_name(facts: ObjectFacts) -> Iterator[Remark]:
    """Versions between the first and the last name the content folder as the first does."""
    earlier = _earlier(facts)
    for each in earlier[1:]:
        if each.content_name != earlier[0].content_name:
            where = f"{each.place}, contentDirectory"
            yield Remark(place=where, value=shown(each.content_name), limit=shown(earlier[0].content_name))


@object_rule("E066", _WHICH)
def versions_are_told_alike(facts: ObjectFacts) -> Iterator[Remark]:
    """Every inventory leads from a version's paths to the same content as the last one does."""
    current = facts.current
    for file in _earlier(facts):
        for version in file.states:
            is_told = (
                current is not None and version not in current.states and version in facts.version_folders
            )
            if current is not None and not is_told and (fault := _state_fault(file, current, version)):
                where = f"{file.place}, versions, {version}, state"
                yield Remark(place=where, value=fault, limit=f"as in {current.place}")


def _state_fault(file: InventoryFile, current: InventoryFile, version: str) -> str:
    """What differs; digests are compared where the algorithms agree, else the content that they lead to."""
    if file.states[version] == current.states.get(version) and file.algorithm == current.algorithm:
        return ""
    if version not in current.states:
        return "a version that the last inventory does not have"
    ours, theirs = file.paths_of(version), current.paths_of(version)
    if others := sorted(ours.keys() ^ theirs.keys()):
        return f"{shown(others[0])} and {len(others) - 1:,} more paths in one of them alone"
    same = _same_digest if file.algorithm == current.algorithm else _same_content
    differing = [path for path in ours if not same(file, ours[path], current, theirs[path])]
    return f"other content for {shown(differing[0])} and {len(differing) - 1:,} more" if differing else ""


def _same_digest(_: InventoryFile, one: str, __: InventoryFile, other: str) -> bool:
    return one.lower() == other.lower()


def _same_content(file: InventoryFile, one: str, current: InventoryFile, other: str) -> bool:
    return set(file.manifest.get(one, ())) <= set(current.manifest.get(other, ()))


@object_rule("W010", "New versions get an inventory of their own. One cannot be added to an older version.")
def every_version_has_its_inventory(facts: ObjectFacts) -> Iterator[Remark]:
    """Each version's folder has an inventory."""
    for folder in facts.version_folders:
        is_misspelt = any(path.lower() == f"{folder}/{ocfl.INVENTORY}" for path in facts.entries)
        if folder not in facts.inventories and not is_misspelt:
            yield Remark(place=f"{folder}/", value="no inventory", limit="an inventory")


@object_rule("W011", "The last inventory counts. Know that the two tell the version's making differently.")
def versions_are_dated_alike(facts: ObjectFacts) -> Iterator[Remark]:
    """Date, message and user of a version are the same in every inventory."""
    current = facts.current
    for file in _earlier(facts):
        for version, block in file.version_blocks.items():
            known = current.version_blocks.get(version) if current else None
            keys = [
                key for key in ("created", "message", "user") if known and block.get(key) != known.get(key)
            ]
            if keys and current:
                where = f"{file.place}, versions, {version}"
                yield Remark(place=where, value=f"another {', '.join(keys)}", limit=f"as in {current.place}")


@object_rule("E103", MAKE_ANEW)
def versions_never_go_back_to_an_older_ocfl(facts: ObjectFacts) -> Iterator[Remark]:
    """Each version is of the OCFL of the one before it, or a later one."""
    before = ""
    for folder in facts.version_folders:
        file = facts.inventories.get(folder)
        own = file.spec_version if file else ""
        if file and own and own < before:
            yield Remark(place=f"{file.place}, type", value=f"OCFL {own}", limit=f"OCFL {before} or later")
        before = max(before, own)
