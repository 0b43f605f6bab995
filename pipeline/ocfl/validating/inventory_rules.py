"""Each inventory by itself: sections 3.4 and 3.5. Inventories of the same bytes are judged once."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator, Mapping
from typing import Any

from pipeline.files import visible
from pipeline.findings import Remark
from pipeline.ocfl import inventory
from pipeline.ocfl.reading import InventoryFile, ObjectFacts, in_folder
from pipeline.ocfl.validating.register import object_rule
from pipeline.specs import ocfl
from pipeline.stores import Kind

MAKE_ANEW = (
    "An inventory is never edited in place: bring the file back from another copy of the object, "
    "or deposit a new version."
)

_TOP_KEYS = frozenset(
    {"id", "type", "digestAlgorithm", "head", "contentDirectory", "manifest", "versions", "fixity"}
)
_VERSION_KEYS = frozenset({"created", "state", "message", "user"})
_USER_KEYS = frozenset({"name", "address"})


def distinct(facts: ObjectFacts) -> list[InventoryFile]:
    """Inventories of different bytes, the root's first."""
    found: dict[str, InventoryFile] = {}
    for each in facts.inventories.values():
        found.setdefault(each.digests[ocfl.SHA512], each)
    return list(found.values())


def parsed(facts: ObjectFacts) -> list[InventoryFile]:
    """Of those, the ones that are JSON objects."""
    return [each for each in distinct(facts) if not each.fault]


def shown(value: Any) -> str:
    """Return a value of a document, short and on one line."""
    if isinstance(value, str):
        return f'"{visible(value[:100])}"'
    names = {dict: "an object", list: "an array", bool: str(value).lower(), type(None): "null"}
    return names.get(type(value), str(value)[:40])


# ---------------------------------------------------------------------------------------- the document


@object_rule("E033", MAKE_ANEW)
def inventories_are_json(facts: ObjectFacts) -> Iterator[Remark]:
    """An inventory is a JSON object in UTF-8 in which no key stands twice. Damage is told by its own code."""
    for file in distinct(facts):
        if file.fault and not file.is_contradicted:
            yield Remark(place=file.place, value=file.fault, limit="a JSON object")


@object_rule("E034", "Name it inventory.json, in small letters.")
def inventories_are_named_so(facts: ObjectFacts) -> Iterator[Remark]:
    """The inventory's name is spelt exactly so."""
    for path, entry in facts.entries.items():
        folder, _, name = path.rpartition("/")
        is_there = "/" not in folder and (not folder or ocfl.version_number(folder))
        if not is_there or name == ocfl.INVENTORY or name.lower() != ocfl.INVENTORY:
            continue
        if entry.kind is Kind.FILE and in_folder(folder, ocfl.INVENTORY) not in facts.entries:
            yield Remark(place=path, value=name, limit=ocfl.INVENTORY)


@object_rule("E102", MAKE_ANEW)
def inventories_have_known_keys_alone(facts: ObjectFacts) -> Iterator[Remark]:
    """No key but those of the specification; misspelt blocks are told by their own codes."""
    for file in parsed(facts):
        misspelt = {_misspelt(file, "versions"), _misspelt(file, "fixity")}
        places = [(file.document, _TOP_KEYS | misspelt, file.place)]
        for name, block in file.version_blocks.items():
            where = f"{file.place}, versions, {visible(name)}"
            places.append((block, _VERSION_KEYS, where))
            if isinstance(block.get("user"), dict):
                places.append((block["user"], _USER_KEYS, f"{where}, user"))
        for document, known, place in places:
            for key in document.keys() - known:
                yield Remark(
                    place=place, value=f'the key "{visible(key[:80])}"', limit="specified keys alone"
                )


def _misspelt(file: InventoryFile, key: str) -> str:
    """The key that seems to stand for another that is not there."""
    if key in file.document:
        return key
    spellings = {key, key.removesuffix("s")}
    return next((each for each in file.document if each.lower().strip(" _") in spellings), key)


# ------------------------------------------------------------------------------------- basic structure


@object_rule("E036", MAKE_ANEW)
def inventories_have_their_keys(facts: ObjectFacts) -> Iterator[Remark]:
    """Identifier, type, digest algorithm and head are there."""
    for file in parsed(facts):
        for key in ("id", "type", "digestAlgorithm", "head"):
            if key not in file.document:
                yield Remark(place=file.place, value=f"no {key}", limit=key)


@object_rule("E037", "Find out which identifier is right; the object may have been mixed with another.")
def identifiers_are_text_and_one(facts: ObjectFacts) -> Iterator[Remark]:
    """The identifier is not empty, and the same in every inventory."""
    first: str | None = None
    for file in parsed(facts):
        named = file.document.get("id")
        if "id" in file.document and (not isinstance(named, str) or not named):
            yield Remark(place=f"{file.place}, id", value=shown(named), limit="an identifier")
        elif isinstance(named, str):
            first = named if first is None else first
            if named != first:
                yield Remark(place=f"{file.place}, id", value=shown(named), limit=shown(first))


_URI = re.compile(r"[A-Za-z][A-Za-z0-9+.-]*:\S+", re.ASCII)


@object_rule("W005", "Give new objects URIs as identifiers, such as urn:example:ms-17.")
def identifiers_are_uris(facts: ObjectFacts) -> Iterator[Remark]:
    """The identifier is a URI."""
    if facts.object_id and not _URI.fullmatch(facts.object_id):
        yield Remark(place=f"{ocfl.INVENTORY}, id", value=shown(facts.object_id), limit="a URI")


@object_rule("E038", MAKE_ANEW)
def types_match_the_declaration(facts: ObjectFacts) -> Iterator[Remark]:
    """The type is that of OCFL 1.0 or 1.1, in the object's folder that of the declaration."""
    for file in parsed(facts):
        if "type" not in file.document:
            continue
        expected = ocfl.INVENTORY_TYPES.get(facts.spec_version) if not file.folder else None
        found = file.document["type"]
        if not file.spec_version:
            limit = expected or " or ".join(ocfl.INVENTORY_TYPES.values())
            yield Remark(place=f"{file.place}, type", value=shown(found), limit=limit)
        elif expected is not None and found != expected:
            yield Remark(place=f"{file.place}, type", value=shown(found), limit=expected)


@object_rule("E025", MAKE_ANEW)
def content_is_addressed_by_strong_digests(facts: ObjectFacts) -> Iterator[Remark]:
    """The digest algorithm is sha512 or sha256."""
    for file in parsed(facts):
        if "digestAlgorithm" in file.document and not file.algorithm:
            value = shown(file.document["digestAlgorithm"])
            yield Remark(place=f"{file.place}, digestAlgorithm", value=value, limit="sha512 or sha256")


@object_rule("W004", "Nothing is wrong with SHA-256. New versions may change to sha512.")
def content_is_addressed_by_sha512(facts: ObjectFacts) -> Iterator[Remark]:
    """The digest algorithm is sha512."""
    for file in parsed(facts):
        if file.algorithm and file.algorithm != ocfl.SHA512:
            yield Remark(place=f"{file.place}, digestAlgorithm", value=file.algorithm, limit=ocfl.SHA512)


@object_rule("E040", MAKE_ANEW)
def heads_are_the_last_versions(facts: ObjectFacts) -> Iterator[Remark]:
    """The head is the highest version listed; in a version's folder, that version."""
    for file in facts.inventories.values():
        if file.fault or "head" not in file.document:
            continue
        listed = versions_named(file.document.get("versions"))
        last = max(listed, key=ocfl.version_number, default="")
        expected = file.folder or last
        if last and file.document["head"] != expected:
            value = shown(file.document["head"])
            yield Remark(place=f"{file.place}, head", value=value, limit=f'"{expected}"')


def versions_named(versions: Any) -> list[str]:
    """Return the keys of the versions that are named like versions, whatever stands under them."""
    return [name for name in versions if ocfl.version_number(name)] if isinstance(versions, dict) else []


@object_rule("E017", MAKE_ANEW)
def content_folders_have_no_slash(facts: ObjectFacts) -> Iterator[Remark]:
    """The name of the content folder is text without a slash."""
    yield from _content_names(facts, lambda name: not isinstance(name, str) or "/" in name)


@object_rule("E018", MAKE_ANEW)
def content_folders_are_no_dots(facts: ObjectFacts) -> Iterator[Remark]:
    """The name of the content folder is not one dot or two."""
    yield from _content_names(facts, lambda name: name in (".", ".."))


@object_rule("E108", MAKE_ANEW)
def content_folders_are_named(facts: ObjectFacts) -> Iterator[Remark]:
    """The name of the content folder is one that a folder can have."""
    yield from _content_names(facts, lambda name: isinstance(name, str) and (not name or "\0" in name))


def _content_names(facts: ObjectFacts, is_wrong: Callable[[Any], bool]) -> Iterator[Remark]:
    for file in parsed(facts):
        name = file.document.get("contentDirectory", ocfl.CONTENT)
        if is_wrong(name):
            where = f"{file.place}, contentDirectory"
            yield Remark(place=where, value=shown(name), limit="the name of a folder in the version's folder")


@object_rule("E021", MAKE_ANEW)
def unnamed_content_folders_are_called_content(facts: ObjectFacts) -> Iterator[Remark]:
    """Without the key, every content path has ``content`` after the version."""
    for file in parsed(facts):
        others = sorted(_other_content_names(file))
        if "contentDirectory" not in file.document and len(others) == 1:
            yield Remark(place=file.place, value=f'content in "{others[0]}"', limit=ocfl.CONTENT)


def _other_content_names(file: InventoryFile) -> set[str]:
    """Second parts of content paths, if they are not what the inventory names."""
    parts = [path.split("/") for paths in file.manifest.values() for path in paths]
    return {each[1] for each in parts if len(each) > 2 and each[0] in file.version_blocks} - {
        file.content_name,
        "",
        ".",
        "..",
    }


# ------------------------------------------------------------------------------------------- manifest


@object_rule("E041", MAKE_ANEW)
def inventories_have_a_manifest(facts: ObjectFacts) -> Iterator[Remark]:
    """The manifest is there; missing versions are told by their own code."""
    for file in parsed(facts):
        if "manifest" not in file.document:
            yield Remark(place=file.place, value="no manifest", limit="manifest")


@object_rule("E106", MAKE_ANEW)
def manifests_are_objects(facts: ObjectFacts) -> Iterator[Remark]:
    """The manifest is a JSON object."""
    for file in parsed(facts):
        found = file.document.get("manifest", {})
        if not isinstance(found, dict):
            yield Remark(place=f"{file.place}, manifest", value=shown(found), limit="an object")


@object_rule("E096", MAKE_ANEW)
def manifests_have_digests_once(facts: ObjectFacts) -> Iterator[Remark]:
    """A digest stands in the manifest once, in small or capital letters."""
    for file in parsed(facts):
        for digest in _twice(file.manifest):
            yield Remark(place=f"{file.place}, manifest", value=_short(digest), limit="each digest once")


def _twice(digests: Iterable[str]) -> Iterator[str]:
    seen: set[str] = set()
    for digest in digests:
        if digest.lower() in seen:
            yield digest
        seen.add(digest.lower())


def _short(digest: str) -> str:
    return f"{visible(digest[:16])}…" if len(digest) > 20 else f'"{visible(digest)}"'


@object_rule("E039", MAKE_ANEW)
def manifests_are_of_the_named_algorithm(facts: ObjectFacts) -> Iterator[Remark]:
    """Digests of manifest and state have the length of the algorithm that is named."""
    for file in parsed(facts):
        wrong = [each for each in _content_digests(file) if _is_of_another(each, file.algorithm)]
        if wrong:
            value = f"{len(wrong):,} digests of another length, such as {_short(wrong[0])}"
            yield Remark(place=file.place, value=value, limit=f"digests of {file.algorithm}")


def _content_digests(file: InventoryFile) -> list[str]:
    return list(dict.fromkeys((*file.manifest, *(each for state in file.states.values() for each in state))))


def _is_of_another(digest: str, algorithm: str) -> bool:
    if not algorithm or inventory.is_digest(digest, algorithm):
        return False
    return any(inventory.is_digest(digest, other) for other in ocfl.CONTENT_ALGORITHMS)


@object_rule("E029", MAKE_ANEW)
def sha1_digests_are_hexadecimal(facts: ObjectFacts) -> Iterator[Remark]:
    """SHA-1 digests are 40 hexadecimal digits."""
    yield from _malformed(facts, ("sha1",))


@object_rule("E030", MAKE_ANEW)
def sha256_digests_are_hexadecimal(facts: ObjectFacts) -> Iterator[Remark]:
    """SHA-256 digests are 64 hexadecimal digits."""
    yield from _malformed(facts, ("sha256",))


@object_rule("E031", MAKE_ANEW)
def sha512_digests_are_hexadecimal(facts: ObjectFacts) -> Iterator[Remark]:
    """SHA-512 digests are 128 hexadecimal digits."""
    yield from _malformed(facts, ("sha512",))


@object_rule("E032", MAKE_ANEW)
def blake2b_digests_are_hexadecimal(facts: ObjectFacts) -> Iterator[Remark]:
    """BLAKE2b digests are hexadecimal digits of the length of their kind."""
    yield from _malformed(facts, tuple(name for name in ocfl.HEX_LENGTHS if name.startswith("blake2b")))


def _malformed(facts: ObjectFacts, algorithms: tuple[str, ...]) -> Iterator[Remark]:
    """Digests that are not of their algorithm, but for those of the other content algorithm."""
    for file in parsed(facts):
        if file.algorithm in algorithms:
            for digest in _content_digests(file):
                is_one = inventory.is_digest(digest, file.algorithm)
                if not is_one and not _is_of_another(digest, file.algorithm):
                    yield Remark(place=file.place, value=_short(digest), limit=_form(file.algorithm))
        for algorithm in file.fixity.keys() & set(algorithms):
            for digest in file.fixity[algorithm]:
                if not inventory.is_digest(digest, algorithm):
                    place = f"{file.place}, fixity, {algorithm}"
                    yield Remark(place=place, value=_short(digest), limit=_form(algorithm))


def _form(algorithm: str) -> str:
    return f"{ocfl.HEX_LENGTHS[algorithm]} hexadecimal digits"


@object_rule("E107", MAKE_ANEW)
def manifests_list_what_is_used(facts: ObjectFacts) -> Iterator[Remark]:
    """Every digest of the manifest is in the state of a version; since OCFL 1.1."""
    for file in parsed(facts):
        used = {digest for state in file.states.values() for digest in state}
        is_whole = all(isinstance(block.get("state"), dict) for block in file.version_blocks.values())
        if file.spec_version != "1.0" and is_whole:
            lowered = {digest.lower() for digest in used}
            for digest in file.manifest.keys() - used:
                if digest.lower() not in lowered:  # told where the state spells it otherwise
                    yield Remark(place=f"{file.place}, manifest", value=_short(digest), limit="used digests")


# ---------------------------------------------------------------------------------------- content paths


def _content_paths(facts: ObjectFacts) -> Iterator[tuple[InventoryFile, str, str]]:
    """Each inventory, the place of a block, and a content path in it."""
    for file in parsed(facts):
        blocks = [
            ("manifest", file.manifest),
            *((f"fixity, {name}", each) for name, each in file.fixity.items()),
        ]
        for name, block in blocks:
            for paths in block.values():
                yield from ((file, f"{file.place}, {visible(name)}", path) for path in paths)


@object_rule("E098", MAKE_ANEW)
def content_paths_are_paths(facts: ObjectFacts) -> Iterator[Remark]:
    """A content path is one part or more, joined by slashes, without a NUL."""
    for _, place, path in _content_paths(facts):
        if not path or "\0" in path:
            yield Remark(place=place, value=shown(path), limit="parts joined by /")


@object_rule("E100", MAKE_ANEW)
def content_paths_begin_and_end_with_names(facts: ObjectFacts) -> Iterator[Remark]:
    """No content path begins or ends with a slash."""
    for _, place, path in _content_paths(facts):
        if path and (path[0] == "/" or path[-1] == "/"):
            yield Remark(place=place, value=shown(path), limit="no slash at its beginning or end")


@object_rule("E099", MAKE_ANEW)
def content_paths_have_no_dots(facts: ObjectFacts) -> Iterator[Remark]:
    """No part of a content path is empty, a dot or two."""
    for _, place, path in _content_paths(facts):
        if path.strip("/") and any(part in ("", ".", "..") for part in path.strip("/").split("/")):
            yield Remark(place=place, value=shown(path), limit="no empty part, . or ..")


@object_rule("E035", MAKE_ANEW)
def content_paths_are_separated_by_slashes(facts: ObjectFacts) -> Iterator[Remark]:
    """Parts of content paths are not separated by backslashes."""
    for _, place, path in _content_paths(facts):
        if "\\" in path and "/" not in path:
            yield Remark(place=place, value=shown(path), limit="/ between the parts")


@object_rule("E042", MAKE_ANEW)
def content_paths_lead_into_versions(facts: ObjectFacts) -> Iterator[Remark]:
    """A content path is a version, its content folder, and a file in it."""
    for file, place, path in _content_paths(facts):
        if inventory.path_fault(path) or "\\" in path or not file.version_blocks:
            continue
        version, name, rest = ([*path.split("/", 2), "", ""])[:3]
        is_right = (
            version in (file.document.get("versions") or ()) and rest and _is_content_name(facts, file, name)
        )
        if is_right or (not rest and facts.is_file(path)):  # told as a stray file
            continue
        limit = f"{file.content_name} of a version"
        yield Remark(place=place, value=shown(path), limit=f"a path in the folder {limit}")


def _is_content_name(facts: ObjectFacts, file: InventoryFile, name: str) -> bool:
    """True also for a name that another code tells of: not named at all, changed, or no name."""
    named = file.document.get("contentDirectory")
    is_told = named is None or not isinstance(named, str) or "/" in named or named in ("", ".", "..")
    return name == file.content_name or is_told or name in {each.content_name for each in parsed(facts)}


@object_rule("E101", MAKE_ANEW)
def content_paths_do_not_clash(facts: ObjectFacts) -> Iterator[Remark]:
    """A content path stands in the manifest once, and is no folder of another."""
    for file in parsed(facts):
        paths = (path for listed in file.manifest.values() for path in listed)
        for path, why in inventory.conflicts(paths):
            yield Remark(
                place=f"{file.place}, manifest", value=f"{shown(path)} {why}", limit="each path once"
            )


# ------------------------------------------------------------------------------------------- versions


@object_rule("E043", MAKE_ANEW)
def inventories_have_versions(facts: ObjectFacts) -> Iterator[Remark]:
    """The versions are there."""
    for file in parsed(facts):
        if "versions" not in file.document and _misspelt(file, "versions") == "versions":
            yield Remark(place=file.place, value="no versions", limit="versions")


@object_rule("E044", MAKE_ANEW)
def versions_stand_under_their_key(facts: ObjectFacts) -> Iterator[Remark]:
    """The key of the versions is ``versions``."""
    for file in parsed(facts):
        if (key := _misspelt(file, "versions")) != "versions":
            yield Remark(place=file.place, value=f'the key "{visible(key)}"', limit="versions")


@object_rule("E045", MAKE_ANEW)
def versions_are_an_object(facts: ObjectFacts) -> Iterator[Remark]:
    """The versions are a JSON object."""
    for file in parsed(facts):
        found = file.document.get("versions", {})
        if not isinstance(found, dict):
            yield Remark(place=f"{file.place}, versions", value=shown(found), limit="an object")


@object_rule("E047", MAKE_ANEW)
def every_version_is_an_object(facts: ObjectFacts) -> Iterator[Remark]:
    """Each version is a JSON object."""
    for file in parsed(facts):
        found = file.document.get("versions", {})
        for name, block in found.items() if isinstance(found, dict) else ():
            if not isinstance(block, dict):
                where = f"{file.place}, versions, {visible(name)}"
                yield Remark(place=where, value=shown(block), limit="an object")


def _version_blocks(facts: ObjectFacts) -> Iterator[tuple[str, Mapping[str, Any]]]:
    for file in parsed(facts):
        for name, block in file.version_blocks.items():
            yield f"{file.place}, versions, {visible(name)}", block


@object_rule("E048", MAKE_ANEW)
def versions_have_date_and_state(facts: ObjectFacts) -> Iterator[Remark]:
    """Each version tells when it was made and what it holds."""
    for where, block in _version_blocks(facts):
        for key in ("created", "state"):
            if key not in block:
                yield Remark(place=where, value=f"no {key}", limit=key)


@object_rule("E049", MAKE_ANEW)
def versions_have_full_dates(facts: ObjectFacts) -> Iterator[Remark]:
    """Dates have seconds and a zone, as in 2026-03-10T09:00:00Z."""
    for where, block in _version_blocks(facts):
        found = block.get("created")
        if "created" in block and not (isinstance(found, str) and inventory.is_timestamp(found)):
            limit = "date, time with seconds, and zone"
            yield Remark(place=f"{where}, created", value=shown(found), limit=limit)


@object_rule("E050", MAKE_ANEW)
def states_use_digests_of_the_manifest(facts: ObjectFacts) -> Iterator[Remark]:
    """Every digest of a state is in the manifest, spelt alike."""
    for file in parsed(facts):
        for name, block in file.version_blocks.items():
            where = f"{file.place}, versions, {visible(name)}, state"
            state = block.get("state", {})
            if not isinstance(state, dict):
                yield Remark(place=where, value=shown(state), limit="an object")
            elif isinstance(file.document.get("manifest"), dict):
                for digest in state.keys() - file.document["manifest"].keys():
                    yield Remark(place=where, value=_short(digest), limit="a digest of the manifest")


@object_rule("E051", MAKE_ANEW)
def logical_paths_are_paths(facts: ObjectFacts) -> Iterator[Remark]:
    """A state lists logical paths: arrays of one part or more, joined by slashes."""
    for file in parsed(facts):
        for name, block in file.version_blocks.items():
            where = f"{file.place}, versions, {visible(name)}, state"
            state = block.get("state")
            for digest, paths in state.items() if isinstance(state, dict) else ():
                if digest not in file.states[name]:
                    yield Remark(place=where, value=shown(paths), limit="an array of paths")
                elif any(not path or "\0" in path for path in paths):
                    yield Remark(place=where, value="an empty path, or a NUL", limit="parts joined by /")


def _logical_paths(facts: ObjectFacts) -> Iterator[tuple[str, list[str]]]:
    for file in parsed(facts):
        for name, state in file.states.items():
            where = f"{file.place}, versions, {visible(name)}, state"
            yield where, [path for paths in state.values() for path in paths]


@object_rule("E053", MAKE_ANEW)
def logical_paths_begin_and_end_with_names(facts: ObjectFacts) -> Iterator[Remark]:
    """No logical path begins or ends with a slash."""
    for where, paths in _logical_paths(facts):
        for path in paths:
            if path and (path[0] == "/" or path[-1] == "/"):
                yield Remark(place=where, value=shown(path), limit="no slash at its beginning or end")


@object_rule("E052", MAKE_ANEW)
def logical_paths_have_no_dots(facts: ObjectFacts) -> Iterator[Remark]:
    """No part of a logical path is empty, a dot or two."""
    for where, paths in _logical_paths(facts):
        for path in paths:
            if path.strip("/") and any(part in ("", ".", "..") for part in path.strip("/").split("/")):
                yield Remark(place=where, value=shown(path), limit="no empty part, . or ..")


@object_rule("E095", MAKE_ANEW)
def logical_paths_do_not_clash(facts: ObjectFacts) -> Iterator[Remark]:
    """A logical path stands in a version once, and is no folder of another."""
    for where, paths in _logical_paths(facts):
        for path, why in inventory.conflicts(paths):
            yield Remark(place=where, value=f"{shown(path)} {why}", limit="each path once")


@object_rule("E094", MAKE_ANEW)
def messages_are_text(facts: ObjectFacts) -> Iterator[Remark]:
    """The message of a version is text."""
    for where, block in _version_blocks(facts):
        if not isinstance(block.get("message", ""), str):
            yield Remark(place=f"{where}, message", value=shown(block["message"]), limit="text")


@object_rule("E054", MAKE_ANEW)
def users_have_names(facts: ObjectFacts) -> Iterator[Remark]:
    """The user of a version has a name."""
    for where, block in _version_blocks(facts):
        if "user" in block:
            user = block["user"]
            name = user.get("name") if isinstance(user, dict) else None
            if not isinstance(name, str) or not name:
                value = shown(user) if not isinstance(user, dict) else "no name"
                yield Remark(place=f"{where}, user", value=value, limit="an object with a name")


@object_rule("W007", "Deposits say who and why. What an older version does not tell cannot be added to it.")
def versions_tell_who_and_why(facts: ObjectFacts) -> Iterator[Remark]:
    """A version has a message and a user."""
    for where, block in _version_blocks(facts):
        if missing := [key for key in ("message", "user") if key not in block]:
            yield Remark(place=where, value=f"no {' and no '.join(missing)}", limit="message and user")


@object_rule("W008", "Give the address of who deposits, such as mailto:imaging@adlersund.example.org.")
def users_have_addresses(facts: ObjectFacts) -> Iterator[Remark]:
    """The user of a version has an address."""
    for where, block in _version_blocks(facts):
        user = block.get("user")
        if isinstance(user, dict) and "address" not in user:
            yield Remark(place=f"{where}, user", value="no address", limit="an address")


@object_rule("W009", "Write the address as mailto: or another URI.")
def addresses_are_uris(facts: ObjectFacts) -> Iterator[Remark]:
    """The address of a user is a URI."""
    for where, block in _version_blocks(facts):
        user = block.get("user")
        if isinstance(user, dict) and "address" in user:
            address = user["address"]
            if not isinstance(address, str) or not _URI.fullmatch(address):
                yield Remark(place=f"{where}, user, address", value=shown(address), limit="a URI")


# -------------------------------------------------------------------------------------------- fixity


@object_rule("E055", MAKE_ANEW)
def fixity_stands_under_its_key(facts: ObjectFacts) -> Iterator[Remark]:
    """The key of the fixity block is ``fixity``."""
    for file in parsed(facts):
        if (key := _misspelt(file, "fixity")) != "fixity":
            yield Remark(place=file.place, value=f'the key "{visible(key)}"', limit="fixity")


@object_rule("E111", MAKE_ANEW)
def fixity_is_an_object(facts: ObjectFacts) -> Iterator[Remark]:
    """The fixity block is a JSON object; it may be empty."""
    for file in parsed(facts):
        found = file.document.get("fixity", {})
        if not isinstance(found, dict):
            yield Remark(place=f"{file.place}, fixity", value=shown(found), limit="an object")


def _fixity_blocks(facts: ObjectFacts) -> Iterator[tuple[str, str, Any]]:
    for file in parsed(facts):
        found = file.document.get("fixity")
        for name, block in found.items() if isinstance(found, dict) else ():
            yield f"{file.place}, fixity, {visible(name[:40])}", name, block


@object_rule("E056", "Digests of this algorithm prove nothing here. Ask who wrote them what they are.")
def fixity_algorithms_are_known(facts: ObjectFacts) -> Iterator[Remark]:
    """Algorithms are those of the specification, or of the extension that lists others."""
    for where, name, _ in _fixity_blocks(facts):
        if name not in ocfl.HEX_LENGTHS and name != ocfl.SIZE:
            yield Remark(place=where, value=shown(name), limit="an algorithm that a list has")


@object_rule("E057", MAKE_ANEW)
def fixity_is_shaped_like_a_manifest(facts: ObjectFacts) -> Iterator[Remark]:
    """Under each algorithm stand digests with arrays of content paths."""
    for where, name, block in _fixity_blocks(facts):
        if not isinstance(block, dict):
            yield Remark(place=where, value=shown(block), limit="an object")
            continue
        for digest, paths in block.items():
            if not isinstance(paths, list) or not all(isinstance(path, str) for path in paths):
                yield Remark(place=where, value=shown(paths), limit="an array of paths")
            elif name == "md5" and not inventory.is_digest(digest, name):
                yield Remark(place=where, value=_short(digest), limit=_form(name))


@object_rule("E097", MAKE_ANEW)
def fixity_has_digests_once(facts: ObjectFacts) -> Iterator[Remark]:
    """A digest stands under its algorithm once, in small or capital letters."""
    for file in parsed(facts):
        for algorithm, block in file.fixity.items():
            for digest in _twice(block):
                where = f"{file.place}, fixity, {visible(algorithm)}"
                yield Remark(place=where, value=_short(digest), limit="each digest once")
