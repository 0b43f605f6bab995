"""The inventory of an OCFL object: frozen values ⇄ bytes, and the digest that stands beside it.

Writing is the same every time: keys sorted, paths sorted, LF, UTF-8. Reading is strict: what is not an
inventory of the specification raises InputError with the places that are wrong, duplicate keys included.
Why something is wrong, by code, is said by `pipeline.ocfl.validating`.

Source: OCFL 1.1, sections 3.5 and 3.6.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import itertools
import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from pipeline import jsondoc
from pipeline.errors import InputError, Problem
from pipeline.files import folders_above, visible
from pipeline.specs import ocfl

MOST_BYTES = 64 * 1024 * 1024
"""Of an inventory: two hundred thousand files, each with a path of a hundred characters."""
MOST_SIDECAR_BYTES = 4096


@dataclass(frozen=True, slots=True, kw_only=True)
class User:
    """Who made a version."""

    name: str
    address: str = ""
    """A mailto: or other URI; empty if none is told."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Version:
    """One version of an object: every logical path of it, and who made it, when and why."""

    created: str
    """RFC 3339 with seconds and zone, as it stands in the file; `timestamp` makes one."""
    state: Mapping[str, tuple[str, ...]]
    """Digest, spelt as in the manifest, → logical paths."""
    message: str | None = None
    user: User | None = None

    @property
    def paths(self) -> dict[str, str]:
        """Logical path → digest."""
        return {path: digest for digest, paths in self.state.items() for path in paths}


@dataclass(frozen=True, slots=True, kw_only=True)
class Inventory:
    """All versions of an object and where their content lies."""

    id: str
    head: str
    manifest: Mapping[str, tuple[str, ...]]
    """Digest → content paths, relative to the object's root."""
    versions: Mapping[str, Version]
    """By name, the first first."""
    digest_algorithm: str = ocfl.SHA512
    spec_version: str = ocfl.VERSION
    content_directory: str | None = None
    """As the file names it; None if it does not, and `content` is meant."""
    fixity: Mapping[str, Mapping[str, tuple[str, ...]]] = field(default_factory=dict)
    """Algorithm → digest → content paths."""

    @property
    def content_name(self) -> str:
        """The name of the content folder of every version."""
        return self.content_directory or ocfl.CONTENT

    @property
    def digests(self) -> dict[str, str]:
        """Content path → digest of the manifest."""
        return {path: digest for digest, paths in self.manifest.items() for path in paths}

    def content_of(self, version: str) -> dict[str, str]:
        """Logical path → one content path of that version. Raises KeyError for an unknown version."""
        state = self.versions[version].state
        return {path: self.manifest[digest][0] for digest, paths in state.items() for path in paths}

    def fixity_of(self, path: str) -> dict[str, str]:
        """Algorithm → further digest of a content path."""
        return {
            algorithm: digest
            for algorithm, block in self.fixity.items()
            for digest, paths in block.items()
            if path in paths
        }

    def next_version(self) -> str:
        """The name of the version after the head, padded as the head is. Raises InputError if there is none.

        Source: OCFL 1.1, section 3.3: a padded number keeps its length and its leading zero.
        """
        number = ocfl.version_number(self.head) + 1
        if not self.head.startswith("v0"):
            return f"v{number}"
        name = f"v{number:0{len(self.head) - 1}d}"
        if len(name) > len(self.head) or not name.startswith("v0"):
            raise InputError(
                f"{self.id}: has no room for a version after {self.head}: its numbers are padded"
            )
        return name


def timestamp(moment: dt.datetime) -> str:
    """Return a moment as `created` needs it: RFC 3339, whole seconds, UTC as Z (section 3.5.3.1)."""
    return moment.astimezone(dt.UTC).replace(microsecond=0).isoformat().replace("+00:00", "Z")


_RFC_3339 = re.compile(
    r"(\d{4}-\d\d-\d\d)[Tt](\d\d):(\d\d):(\d\d)(?:\.\d{1,30})?(?:[Zz]|[+-](\d\d):(\d\d))", re.ASCII
)


def is_timestamp(text: str) -> bool:
    """True for a date and time with seconds and zone that calendar and clock have (RFC 3339, section 5.6)."""
    match = _RFC_3339.fullmatch(text)
    if match is None:
        return False
    day, hour, minute, second, zone_hour, zone_minute = match.groups(default="0")
    try:
        dt.date.fromisoformat(day)
    except ValueError:
        return False
    in_range = int(hour) < 24 and int(minute) < 60 and int(second) <= 60  # 60 is a leap second
    return in_range and int(zone_hour) < 24 and int(zone_minute) < 60


# -------------------------------------------------------------------------------------------- writing


def to_bytes(inventory: Inventory) -> bytes:
    """Return the content of ``inventory.json``: the same inventory always gives the same bytes."""
    versions = {name: _version_document(each) for name, each in inventory.versions.items()}
    document: dict[str, Any] = {
        "digestAlgorithm": inventory.digest_algorithm,
        "head": inventory.head,
        "id": inventory.id,
        "manifest": _sorted_block(inventory.manifest),
        "type": ocfl.INVENTORY_TYPES[inventory.spec_version],
        "versions": {name: versions[name] for name in sorted(versions, key=ocfl.version_number)},
    }
    if inventory.content_directory is not None:
        document["contentDirectory"] = inventory.content_directory
    if inventory.fixity:
        document["fixity"] = {
            algorithm: _sorted_block(block) for algorithm, block in sorted(inventory.fixity.items())
        }
    return jsondoc.to_bytes(dict(sorted(document.items())))


def _version_document(version: Version) -> dict[str, Any]:
    document: dict[str, Any] = {"created": version.created}
    if version.message is not None:
        document["message"] = version.message
    document["state"] = _sorted_block(version.state)
    if version.user is not None:
        address = {"address": version.user.address} if version.user.address else {}
        document["user"] = {**address, "name": version.user.name}
    return document


def _sorted_block(block: Mapping[str, tuple[str, ...]]) -> dict[str, list[str]]:
    return {digest: sorted(paths) for digest, paths in sorted(block.items())}


def digest_of(data: bytes, algorithm: str = ocfl.SHA512) -> str:
    """Return the digest of an inventory's bytes, in lower-case hexadecimal."""
    return hashlib.new(algorithm, data).hexdigest()


def sidecar(data: bytes, algorithm: str = ocfl.SHA512) -> bytes:
    """Return the content of the digest file for an inventory's bytes (section 3.6)."""
    return f"{digest_of(data, algorithm)} {ocfl.INVENTORY}\n".encode()


_SIDECAR = re.compile(rb"([0-9A-Fa-f]+)[ \t]+inventory\.json(?:\r?\n)?")


def sidecar_digest(data: bytes) -> str | None:
    """Return the digest that a digest file holds, in lower case; None if it is not written as it must be."""
    match = _SIDECAR.fullmatch(data)
    return match[1].decode().lower() if match else None


# -------------------------------------------------------------------------------------------- reading


def parse(data: bytes, name: str = ocfl.INVENTORY) -> dict[str, Any]:
    """Return the JSON object that an inventory's bytes hold, nothing judged but that.

    Raises InputError if it is no JSON object of UTF-8, beyond our limits, or has a key twice.
    """
    try:
        data.decode()
    except UnicodeDecodeError as error:
        raise InputError(f"{name}: is not UTF-8 (byte {error.start:,})") from error
    document = jsondoc.parse(data, name, most_bytes=MOST_BYTES, object_of=_object_of)
    if not isinstance(document, dict):
        raise InputError(f"{name}: is not a JSON object")
    return document


def _object_of(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    made = dict(pairs)
    if len(made) < len(pairs):
        seen: set[str] = set()
        twice = next(key for key, _ in pairs if key in seen or seen.add(key))  # type: ignore[func-returns-value]
        raise ValueError(f'the key "{visible(twice[:80])}" stands there twice')
    return made


def read(data: bytes, name: str = ocfl.INVENTORY) -> Inventory:
    """Return the inventory that `data` holds; `name` is what messages call it.

    Raises InputError with every place that is not as the specification has it.
    """
    return from_checked(parse(data, name), name)


def from_checked(document: Mapping[str, Any], name: str = ocfl.INVENTORY) -> Inventory:
    """Do as `read` does, with a JSON object that was parsed already."""
    if problems := list(itertools.islice(_problems(document, name), _MOST_PROBLEMS)):
        raise InputError(f"{name}: is not an inventory of {ocfl.DOCUMENT}", problems=problems)
    return from_document(document)


_MOST_PROBLEMS = 50


def from_document(document: Mapping[str, Any]) -> Inventory:
    """Return the values of a document whose structure is known to be right."""
    types = {uri: version for version, uri in ocfl.INVENTORY_TYPES.items()}
    return Inventory(
        id=document["id"],
        head=document["head"],
        manifest=_block(document["manifest"]),
        versions={
            name: _version(document["versions"][name])
            for name in sorted(document["versions"], key=ocfl.version_number)
        },
        digest_algorithm=document["digestAlgorithm"],
        spec_version=types[document["type"]],
        content_directory=document.get("contentDirectory"),
        fixity={algorithm: _block(block) for algorithm, block in document.get("fixity", {}).items()},
    )


def _block(block: Mapping[str, list[str]]) -> dict[str, tuple[str, ...]]:
    return {digest: tuple(paths) for digest, paths in block.items()}


def _version(document: Mapping[str, Any]) -> Version:
    user = document.get("user")
    return Version(
        created=document["created"],
        state=_block(document["state"]),
        message=document.get("message"),
        user=User(name=user["name"], address=user.get("address") or "") if user else None,
    )


def _problems(document: Mapping[str, Any], name: str) -> Iterator[Problem]:
    """What keeps a document from being an inventory; later checks lean on earlier ones."""
    shape = list(_shape_problems(document, name))
    yield from shape
    if not shape:
        yield from _meaning_problems(from_document(document), name)


_KEYS = {
    "id": str,
    "type": str,
    "digestAlgorithm": str,
    "head": str,
    "manifest": dict,
    "versions": dict,
    "contentDirectory": str,
    "fixity": dict,
}
_OPTIONAL = frozenset({"contentDirectory", "fixity"})
_VERSION_KEYS = {"created": str, "state": dict, "message": str, "user": dict}
_OPTIONAL_IN_VERSION = frozenset({"message", "user"})
_USER_KEYS = {"name": str, "address": str}
_KINDS: dict[type, str] = {str: "text", dict: "an object"}


def _shape_problems(document: Mapping[str, Any], name: str) -> Iterator[Problem]:
    top = list(_key_problems(document, _KEYS, _OPTIONAL, name))
    yield from top
    if top:
        return
    if document["type"] not in ocfl.INVENTORY_TYPES.values():
        yield Problem(where=f"{name}, type", found=_shown(document["type"]), expected="OCFL 1.0 or 1.1")
    if document["digestAlgorithm"] not in ocfl.CONTENT_ALGORITHMS:
        found = _shown(document["digestAlgorithm"])
        yield Problem(where=f"{name}, digestAlgorithm", found=found, expected="sha512 or sha256")
    yield from _block_problems(document["manifest"], f"{name}, manifest")
    for version, block in document["versions"].items():
        yield from _version_problems(version, block, f"{name}, versions, {visible(version[:40])}")
    for algorithm, block in document.get("fixity", {}).items():
        where = f"{name}, fixity, {visible(algorithm[:40])}"
        if isinstance(block, dict):
            yield from _block_problems(block, where)
        else:
            yield Problem(where=where, found=_shown(block), expected="an object")


def _key_problems(
    document: Mapping[str, Any], keys: Mapping[str, type], optional: Iterable[str], where: str
) -> Iterator[Problem]:
    for key in document.keys() - keys.keys():
        found = f'the key "{visible(key[:80])}"'
        yield Problem(where=where, found=found, expected=f"one of {', '.join(keys)}")
    for key, kind in keys.items():
        if key not in document:
            if key not in optional:
                yield Problem(where=where, found=f"no key {key}", expected=_KINDS[kind])
        elif not isinstance(document[key], kind):
            yield Problem(where=f"{where}, {key}", found=_shown(document[key]), expected=_KINDS[kind])


def _version_problems(version: str, block: Any, where: str) -> Iterator[Problem]:
    if not ocfl.version_number(version):
        yield Problem(where=where, found=_shown(version), expected="v1, v2, …")
    if not isinstance(block, dict):
        yield Problem(where=where, found=_shown(block), expected="an object")
        return
    keys = list(_key_problems(block, _VERSION_KEYS, _OPTIONAL_IN_VERSION, where))
    yield from keys
    if keys:
        return
    if not is_timestamp(block["created"]):
        found, expected = _shown(block["created"]), "a date and time with seconds and zone (RFC 3339)"
        yield Problem(where=f"{where}, created", found=found, expected=expected)
    yield from _block_problems(block["state"], f"{where}, state")
    if "user" in block:
        yield from _key_problems(block["user"], _USER_KEYS, ("address",), f"{where}, user")


def _block_problems(block: Mapping[str, Any], where: str) -> Iterator[Problem]:
    for digest, paths in block.items():
        if not isinstance(paths, list) or not all(isinstance(path, str) for path in paths):
            yield Problem(where=f"{where}, {digest[:12]}…", found=_shown(paths), expected="an array of paths")


def _meaning_problems(inventory: Inventory, name: str) -> Iterator[Problem]:
    if not inventory.id:
        yield Problem(where=f"{name}, id", found='""', expected="an identifier")
    if inventory.content_name in ("", ".", "..") or "/" in inventory.content_name:
        found = _shown(inventory.content_name)
        yield Problem(where=f"{name}, contentDirectory", found=found, expected="the name of a folder")
    yield from _numbering_problems(inventory, name)
    yield from _digest_problems(inventory, name)
    content = [path for paths in inventory.manifest.values() for path in paths]
    yield from _path_problems(content, f"{name}, manifest")
    yield from _content_problems(inventory, content, f"{name}, manifest")
    for version, block in inventory.versions.items():
        where = f"{name}, versions, {version}, state"
        yield from _path_problems([path for paths in block.state.values() for path in paths], where)
        for digest in block.state.keys() - inventory.manifest.keys():
            yield Problem(where=where, found=f"{digest[:12]}…", expected="a digest of the manifest")


def _numbering_problems(inventory: Inventory, name: str) -> Iterator[Problem]:
    names = list(inventory.versions)
    numbers = [ocfl.version_number(each) for each in names]
    if numbers != list(range(1, len(numbers) + 1)) or not numbers:
        found, expected = ", ".join(names[:20]) or "none", "v1 and so on without a gap"
        yield Problem(where=f"{name}, versions", found=found, expected=expected)
    elif inventory.head != names[-1]:
        yield Problem(where=f"{name}, head", found=_shown(inventory.head), expected=names[-1])


_HEX = re.compile(r"[0-9a-fA-F]+")


def is_digest(text: str, algorithm: str) -> bool:
    """True for hexadecimal digits of the algorithm's length; any text, if the algorithm is not known here."""
    length = ocfl.HEX_LENGTHS.get(algorithm)
    return length is None or (len(text) == length and _HEX.fullmatch(text) is not None)


def _digest_problems(inventory: Inventory, name: str) -> Iterator[Problem]:
    where = f"{name}, manifest"
    for digest in inventory.manifest:
        if not is_digest(digest, inventory.digest_algorithm):
            expected = f"a {inventory.digest_algorithm} digest in hexadecimal"
            yield Problem(where=where, found=_shown(digest), expected=expected)
    if len({digest.lower() for digest in inventory.manifest}) < len(inventory.manifest):
        yield Problem(where=where, found="a digest twice, in capitals and not", expected="each once")
    for digest, paths in inventory.manifest.items():
        if not paths:
            yield Problem(where=f"{where}, {digest[:12]}…", found="no path", expected="a content path")


def _content_problems(inventory: Inventory, content: list[str], where: str) -> Iterator[Problem]:
    for path in content:
        version, folder, rest = ([*path.split("/", 2), "", ""])[:3]
        if version not in inventory.versions or folder != inventory.content_name or not rest:
            expected = f"a path in the folder {inventory.content_name} of a version"
            yield Problem(where=where, found=_shown(path), expected=expected)


def path_fault(path: str) -> str:
    """Return what is wrong with a logical or content path, if anything (sections 3.5.2, 3.5.3.1)."""
    if not path:
        return "an empty path"
    if path.startswith("/") or path.endswith("/"):
        return "a slash at its beginning or end"
    if any(part in ("", ".", "..") for part in path.split("/")):
        return "an empty part or a dot"
    return "a NUL" if "\0" in path else ""


def conflicts(paths: Iterable[str]) -> Iterator[tuple[str, str]]:
    """Yield paths that stand there twice or are also a folder of another path, each with why."""
    seen: set[str] = set()
    listed = tuple(paths)
    for path in listed:
        if path in seen:
            yield path, "stands there twice"
        seen.add(path)
    for path in seen:
        if above := next((each for each in folders_above(path) if each in seen), ""):
            yield above, f'is also a folder, of "{path}"'


def _path_problems(paths: list[str], where: str) -> Iterator[Problem]:
    for path in paths:
        if fault := path_fault(path):
            yield Problem(where=where, found=f"{_shown(path)} with {fault}", expected="parts joined by /")
    for path, why in conflicts(paths):
        yield Problem(where=where, found=f"{_shown(path)}, which {why}", expected="paths that do not clash")


def _shown(value: Any) -> str:
    """A value of a stranger's document, short and on one line."""
    if isinstance(value, str):
        return f'"{visible(value[:100])}"'
    names = {dict: "an object", list: "an array", bool: "true or false", type(None): "null"}
    return names.get(type(value), str(value)[:40])


def with_version(
    inventory: Inventory, version: Version, *, content: Mapping[str, tuple[str, ...]]
) -> Inventory:
    """Return the inventory with one version more; `content` has the new entries of the manifest.

    Nothing that stands in the manifest is ever removed (OCFL 1.1, section 3.5.2). Raises InputError if the
    object's padded numbers have run out.
    """
    name = inventory.next_version()
    return replace(
        inventory,
        head=name,
        manifest={**inventory.manifest, **content},
        versions={**inventory.versions, name: version},
    )
