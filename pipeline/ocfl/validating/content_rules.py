"""Bytes held against what is said of them: content, fixity, and the digests beside inventories."""

from __future__ import annotations

import posixpath
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from pipeline.findings import Remark
from pipeline.ocfl import inventory
from pipeline.ocfl.reading import InventoryFile, ObjectFacts, Paths, in_folder
from pipeline.ocfl.validating.inventory_rules import distinct, parsed, shown
from pipeline.ocfl.validating.register import object_rule
from pipeline.specs import ocfl

BRING_BACK = (
    "Bring the file back from another copy of the object: `solander audit --replica` shows one that can mend "
    "it. Change nothing else, and find out what happened to the disk."
)

# ------------------------------------------------------------------------------- digests of inventories


@object_rule("E063", "Look for the inventory in the last version's folder, or in another copy of the object.")
def there_is_an_inventory(facts: ObjectFacts) -> Iterator[Remark]:
    """The object's folder has an inventory; one with another name is told by its own code."""
    misspelt = any("/" not in path and path.lower() == ocfl.INVENTORY for path in facts.entries)
    if "" not in facts.inventories and not misspelt:
        versions = [each.place for each in facts.inventories.values()]
        value = f"none; there is {versions[-1]}" if versions else "none"
        yield Remark(place=ocfl.INVENTORY, value=value, limit="an inventory")


@object_rule("E058", "Compare the inventory with that of the last version; if they agree, write its digest.")
def inventories_have_digests_beside_them(facts: ObjectFacts) -> Iterator[Remark]:
    """Beside each inventory lies a file with its digest."""
    for file in facts.inventories.values():
        if not file.sidecars:
            name = ocfl.sidecar_name(file.algorithm or ocfl.SHA512)
            yield Remark(place=in_folder(file.folder, name), value="not there", limit="the digest file")


@object_rule("E059", "The digest file is named by the algorithm that the inventory names.")
def inventories_digests_are_of_their_algorithm(facts: ObjectFacts) -> Iterator[Remark]:
    """The digest file is of the inventory's algorithm."""
    for file in facts.inventories.values():
        expected = ocfl.sidecar_name(file.algorithm)
        if file.algorithm and file.sidecars and expected not in file.sidecars:
            found = ", ".join(sorted(file.sidecars))
            yield Remark(place=in_folder(file.folder, found), value=found, limit=expected)


@object_rule("E061", "The file holds the digest, a blank, and inventory.json.")
def inventories_digests_are_in_form(facts: ObjectFacts) -> Iterator[Remark]:
    """A digest file is the digest, blanks, and the inventory's name."""
    for file, name, content in _sidecars(facts):
        if inventory.sidecar_digest(content) is None:
            value = content[:60].decode("utf-8", "backslashreplace")
            place = in_folder(file.folder, name)
            yield Remark(place=place, value=shown(value), limit="the digest, a blank, inventory.json")


@object_rule(
    "E060",
    "Either the inventory or its digest is damaged. Compare both with those of the last version's folder and "
    "of other copies; bring back what differs.",
)
def inventories_match_their_digests(facts: ObjectFacts) -> Iterator[Remark]:
    """The digest file holds the digest of the inventory's bytes."""
    for file, name, content in _sidecars(facts):
        said = inventory.sidecar_digest(content)
        algorithm = name.removeprefix(f"{ocfl.INVENTORY}.")
        if said is not None and algorithm in file.digests and said != file.digests[algorithm]:
            value = f"{file.digests[algorithm][:16]}…{_twin(facts, file, said, algorithm)}"
            yield Remark(place=file.place, value=value, limit=f"{said[:16]}…, as {name} says")


def _sidecars(facts: ObjectFacts) -> Iterator[tuple[InventoryFile, str, bytes]]:
    """The digest file of each inventory that counts: that of its algorithm, or any if it names none."""
    for file in facts.inventories.values():
        right = ocfl.sidecar_name(file.algorithm)
        for name, content in file.sidecars.items():
            if name == right or not file.algorithm:
                yield file, name, content


def _twin(facts: ObjectFacts, file: InventoryFile, said: str, algorithm: str) -> str:
    """What another inventory of the object shows about which of the two is damaged."""
    for each in facts.inventories.values():
        if each.folder != file.folder and each.digests[algorithm] == said:
            return f"; {each.place} has the digest that is said, so this inventory is the damaged one"
        if each.folder != file.folder and each.digests[algorithm] == file.digests[algorithm]:
            return f"; {each.place} is the same, so the digest file is the damaged one"
    return ""


@object_rule(
    "E064", "Look whether a deposit was cut off. The last version's inventory, if proved, is the right one."
)
def the_root_has_the_heads_inventory(facts: ObjectFacts) -> Iterator[Remark]:
    """The inventory in the object's folder is byte for byte that of the last version."""
    root = facts.inventories.get("")
    last = next(reversed(facts.version_folders), "")
    head = facts.inventories.get(last)
    if root is None or head is None or root.digests == head.digests:
        return
    is_told = root.document.get("head") != last  # that the root is behind, or names no such version
    if not is_told and not any(_is_broken(each) for each in (root, head)):
        yield Remark(place=root.place, value=f"differs from {head.place}", limit="the same bytes")


def _is_broken(file: InventoryFile) -> bool:
    """True for an inventory whose damage another code tells."""
    return bool(file.fault) or file.is_contradicted


# -------------------------------------------------------------------------------------------- content


@dataclass(frozen=True, slots=True, kw_only=True)
class Damage:
    """One content file that is not what an inventory says."""

    path: str
    algorithm: str
    expected: str
    found: str
    """Empty for a file that is not there."""
    said_by: str
    """The inventory's place."""


def missing_content(facts: ObjectFacts) -> Iterator[Damage]:
    """Yield the files that a manifest lists and that are not there, each once."""
    told: set[str] = set()
    for file in parsed(facts):
        for digest, path in _listed(file.manifest):
            if path not in told and not facts.is_file(path) and not _is_link(facts, path):
                told.add(path)
                yield Damage(
                    path=path, algorithm=file.algorithm, expected=digest, found="", said_by=file.place
                )


def damaged_content(facts: ObjectFacts) -> Iterator[Damage]:
    """Yield the files whose bytes do not have the digest of a manifest, each once."""
    told: set[str] = set()
    for file in parsed(facts):
        for each in _mismatches(facts, file.algorithm, file.manifest, file.place):
            if each.path not in told:
                told.add(each.path)
                yield each


def damaged_fixity(facts: ObjectFacts) -> Iterator[Damage]:
    """Yield the files whose bytes do not have a digest of a fixity block, and do have the manifest's."""
    broken = {each.path for each in damaged_content(facts)}
    told: set[tuple[str, str]] = set()
    for file in parsed(facts):
        for algorithm, block in file.fixity.items():
            for each in _mismatches(facts, algorithm, block, f"{file.place}, fixity"):
                if each.path not in broken and (each.path, algorithm) not in told:
                    told.add((each.path, algorithm))
                    yield each


def _mismatches(facts: ObjectFacts, algorithm: str, block: Paths, said_by: str) -> Iterator[Damage]:
    read = facts.digests or {}
    for digest, path in _listed(block):
        found = read.get(path, {}).get(algorithm)
        if found is not None and found != digest.lower() and inventory.is_digest(digest, algorithm):
            yield Damage(
                path=path, algorithm=algorithm, expected=digest.lower(), found=found, said_by=said_by
            )


def _listed(block: Mapping[str, tuple[str, ...]]) -> Iterator[tuple[str, str]]:
    """Digest and path, for every path that can be one."""
    for digest, paths in block.items():
        yield from ((digest, path) for path in paths if not inventory.path_fault(path))


def _is_link(facts: ObjectFacts, path: str) -> bool:
    """True for what is there and is no file: told by its own code."""
    entry = facts.entries.get(path)
    return entry is not None and not entry.is_folder


def unlisted_content(facts: ObjectFacts) -> Iterator[str]:
    """Yield files in content folders that the believed inventory does not list."""
    current = facts.current
    if current is not None:
        listed = current.paths
        known = listed | {
            posixpath.normpath(path).strip("/") for path in listed if inventory.path_fault(path)
        }
        yield from (path for path in facts.content_files() if path not in known)


def lost_versions(facts: ObjectFacts) -> dict[str, int]:
    """Versions whose content folder is not there at all, with how many files it had."""
    lost: dict[str, int] = {}
    for each in missing_content(facts):
        version = each.path.partition("/")[0]
        lost[version] = lost.get(version, 0) + 1
    held = {path.partition("/")[0] for path in facts.content_files()}
    return {version: count for version, count in lost.items() if version not in held}


def logical_names(facts: ObjectFacts, path: str) -> str:
    """Return what a content file is called in the versions: ``"data/a.tif" in v1 to v3``."""
    current = facts.current
    digest = next((each for each, paths in current.manifest.items() if path in paths), "") if current else ""
    names: dict[str, list[str]] = {}
    for version, state in current.states.items() if current and digest else ():
        for name in state.get(digest, ()):
            names.setdefault(name, []).append(version)
    told = [f"{shown(name)} in {_span(versions)}" for name, versions in list(names.items())[:3]]
    return ", ".join(told)


def _span(versions: list[str]) -> str:
    return versions[0] if len(versions) == 1 else f"{versions[0]} to {versions[-1]}"


@object_rule("E016", BRING_BACK)
def versions_with_files_have_content(facts: ObjectFacts) -> Iterator[Remark]:
    """A version that adds files has its content folder."""
    for version, count in lost_versions(facts).items():
        if version in facts.version_folders:
            value = f"not there, and {count:,} files with it"
            yield Remark(place=f"{version}/{_content_name(facts)}/", value=value, limit="the folder")


def _content_name(facts: ObjectFacts) -> str:
    return facts.current.content_name if facts.current else ocfl.CONTENT


@object_rule("E023", "Find out where it comes from. Nothing proves it; it is not part of the object.")
def content_is_in_the_manifest(facts: ObjectFacts) -> Iterator[Remark]:
    """Every file in a content folder is in the manifest, also in that of its own version and later ones."""
    for path in unlisted_content(facts):
        yield Remark(place=path, value="not in the manifest", limit="the files of the manifest")
    known = facts.current.paths if facts.current else set()
    for file in parsed(facts):
        own = file.paths
        for path in sorted(known - own):
            if file.folder and _number(path) <= ocfl.version_number(file.folder):
                yield Remark(place=path, value=f"not in {file.place}", limit="in every manifest since")


def _number(path: str) -> int:
    return ocfl.version_number(path.partition("/")[0]) or (1 << 62)


@object_rule("E092", BRING_BACK)
def content_is_there_and_whole(facts: ObjectFacts) -> Iterator[Remark]:
    """Every file of a manifest is there and has its digest; manifests list arrays of paths."""
    yield from _malformed_manifests(facts)
    gone = {version for version in lost_versions(facts) if version in facts.version_folders}
    for each in missing_content(facts):
        if each.path.partition("/")[0] not in gone:
            value = _with_names("not there", facts, each.path)
            yield Remark(place=each.path, value=value, limit=_said(each))
    for each in damaged_content(facts):
        value = _with_names(f"{each.algorithm} {each.found[:16]}…", facts, each.path)
        yield Remark(place=each.path, value=value, limit=_said(each))


def _malformed_manifests(facts: ObjectFacts) -> Iterator[Remark]:
    for file in parsed(facts):
        found = file.document.get("manifest")
        for digest, paths in found.items() if isinstance(found, dict) else ():
            if digest not in file.manifest or not paths:
                where = f"{file.place}, manifest, {digest[:16]}…"
                yield Remark(place=where, value=shown(paths), limit="an array of content paths")


def _said(damage: Damage) -> str:
    return f"{damage.algorithm} {damage.expected[:16]}…, as {damage.said_by} says"


def _with_names(said: str, facts: ObjectFacts, path: str) -> str:
    names = logical_names(facts, path)
    return f"{said} ({names})" if names else said


@object_rule(
    "E093",
    "If the manifest's digest holds, the file is whole and the fixity block is wrong; else bring it back.",
)
def fixity_holds(facts: ObjectFacts) -> Iterator[Remark]:
    """Every file of a fixity block is in the manifest and has the digest that the block gives."""
    for file in distinct(facts):
        known = file.paths
        for algorithm, block in file.fixity.items():
            for _, path in _listed(block):
                if path not in known:
                    where = f"{file.place}, fixity, {algorithm}"
                    yield Remark(place=where, value=shown(path), limit="a content path of the manifest")
    for each in damaged_fixity(facts):
        value = f"{each.algorithm} {each.found[:16]}…"
        yield Remark(place=each.path, value=value, limit=_said(each))
