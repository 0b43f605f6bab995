"""What lies in one object, read without judging: entries, declarations, inventories with their digests.

Only the small files are read here. Content is read by who proves it: `claims` says which digests are needed
of which file, `with_digests` takes them in. Links are told and never followed.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from pipeline.errors import InputError
from pipeline.ocfl import inventory
from pipeline.ocfl.inventory import Inventory
from pipeline.specs import ocfl
from pipeline.stores import Entry, Kind, NotInStore, Store, StoreError

Paths = Mapping[str, tuple[str, ...]]
"""Digest → paths, of a manifest, a state or one algorithm of a fixity block."""

MOST_DECLARATION_BYTES = 4096


@dataclass(frozen=True, slots=True, kw_only=True)
class InventoryFile:
    """One inventory as it lies there. What is malformed is left out of the tolerant views, not guessed."""

    folder: str
    """``""`` for the object's root, else the version's folder."""
    digests: Mapping[str, str]
    """sha512 and sha256 of its bytes."""
    document: Mapping[str, Any]
    """Empty if it cannot be parsed: then `fault` says why."""
    fault: str = ""
    sidecars: Mapping[str, bytes] = field(default_factory=dict)
    """Name → content of the digest files beside it."""
    manifest: Paths = field(default_factory=dict)
    states: Mapping[str, Paths] = field(default_factory=dict)
    fixity: Mapping[str, Paths] = field(default_factory=dict)

    @property
    def place(self) -> str:
        """Its path in the object."""
        return in_folder(self.folder, ocfl.INVENTORY)

    @property
    def algorithm(self) -> str:
        """The digest algorithm that it names; empty for one that content cannot be addressed by."""
        named = self.document.get("digestAlgorithm")
        return named if isinstance(named, str) and named in ocfl.CONTENT_ALGORITHMS else ""

    @property
    def content_name(self) -> str:
        """The name of the content folder that it means."""
        named = self.document.get("contentDirectory")
        return (isinstance(named, str) and named.partition("/")[0]) or ocfl.CONTENT

    @property
    def spec_version(self) -> str:
        """The version of the specification that its type names; empty for none that is known."""
        named = self.document.get("type")
        return next((version for version, uri in ocfl.INVENTORY_TYPES.items() if uri == named), "")

    @property
    def version_blocks(self) -> Mapping[str, Mapping[str, Any]]:
        """The version blocks that are objects, by name."""
        return objects_in(self.document.get("versions"))

    @property
    def paths(self) -> set[str]:
        """Every content path of its manifest."""
        return {path for paths in self.manifest.values() for path in paths}

    @property
    def is_proved(self) -> bool:
        """True if the digest file of its own algorithm is there and matches its bytes."""
        sidecar = self.sidecars.get(ocfl.sidecar_name(self.algorithm))
        said = inventory.sidecar_digest(sidecar) if sidecar is not None else None
        return said is not None and said == self.digests.get(self.algorithm)

    @property
    def is_contradicted(self) -> bool:
        """True if a digest beside it is of other bytes: either it or its digest file is damaged."""
        right = ocfl.sidecar_name(self.algorithm)
        said = (
            (name.removeprefix(f"{ocfl.INVENTORY}."), inventory.sidecar_digest(content))
            for name, content in self.sidecars.items()
            if name == right or not self.algorithm
        )
        return any(
            digest is not None and algorithm in self.digests and digest != self.digests[algorithm]
            for algorithm, digest in said
        )

    def paths_of(self, state: str) -> dict[str, str]:
        """Logical path → digest of one version."""
        return {path: digest for digest, paths in self.states.get(state, {}).items() for path in paths}


@dataclass(frozen=True, slots=True, kw_only=True)
class RootFacts:
    """What an object must agree with in its storage root; nothing is known of an object that stands alone."""

    spec_version: str = ""
    layout_path: str | None = None
    """Where the layout puts an object of this identifier; None if the layout is unknown."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ObjectFacts:
    """One object as it lies there."""

    place: str
    """The path of the object's root in the store."""
    entries: Mapping[str, Entry]
    """By path in the object: files, links, special files, empty folders."""
    declarations: Mapping[str, bytes] = field(default_factory=dict)
    """Name → content of the files that declare the object, well or badly."""
    inventories: Mapping[str, InventoryFile] = field(default_factory=dict)
    """By folder: ``""`` for the object's root, which comes first, then the versions in their order."""
    lone_sidecars: Mapping[str, Mapping[str, bytes]] = field(default_factory=dict)
    """Folder → name → content of digest files whose inventory is not there."""
    digests: Mapping[str, Mapping[str, str]] | None = None
    """Content path → algorithm → digest, as read; None if content was not read."""
    unread: Mapping[str, str] = field(default_factory=dict)
    """Content path → why the store did not give it. Neither proved nor damaged."""
    root: RootFacts = field(default_factory=RootFacts)

    @property
    def current(self) -> InventoryFile | None:
        """The inventory to believe: the root's, or where its digest denies it the latest version's."""
        latest_first = sorted(self.inventories.values(), key=_precedence)
        usable = [each for each in latest_first if each.manifest or each.states]
        return next((each for each in usable if not each.is_contradicted), next(iter(usable), None))

    @property
    def is_current_proved(self) -> bool:
        """True if a digest file proves the believed inventory, or another of the same bytes."""
        current = self.current
        return current is not None and any(
            each.is_proved and each.digests == current.digests for each in self.inventories.values()
        )

    @property
    def object_id(self) -> str:
        """The identifier that the believed inventory gives; empty if there is none."""
        current = self.current
        named = current.document.get("id") if current else None
        return named if isinstance(named, str) else ""

    @property
    def head(self) -> str:
        """The version that the believed inventory calls the last; empty if there is none."""
        current = self.current
        named = current.document.get("head") if current else None
        return named if isinstance(named, str) else ""

    @property
    def spec_version(self) -> str:
        """The version of OCFL that the declaration names; empty for none or several."""
        names = [each[1] for name in self.declarations if (each := ocfl.OBJECT_DECLARATION.fullmatch(name))]
        return names[0] if len(names) == 1 else ""

    @property
    def version_folders(self) -> list[str]:
        """The folders of the object's root that are named like versions, in their order."""
        return sorted({name for name in self.folders if ocfl.version_number(name)}, key=_in_order)

    @property
    def folders(self) -> set[str]:
        """The names of all folders directly in the object's root."""
        below = {path.partition("/")[0] for path in self.entries if "/" in path}
        return below | {path for path, each in self.entries.items() if each.is_folder and "/" not in path}

    @property
    def size_bytes(self) -> int:
        """All files together."""
        return sum(each.size_bytes or 0 for each in self.entries.values())

    def is_file(self, path: str) -> bool:
        """True for a regular file."""
        entry = self.entries.get(path)
        return entry is not None and entry.kind is Kind.FILE

    def content_files(self) -> Iterator[str]:
        """Yield every path below the content folder of any version."""
        names = {each.content_name for each in self.inventories.values()} or {ocfl.CONTENT}
        for path, entry in self.entries.items():
            version, name, rest = ([*path.split("/", 2), "", ""])[:3]
            if rest and name in names and ocfl.version_number(version) and not entry.is_folder:
                yield path


def _in_order(name: str) -> tuple[int, str]:
    return ocfl.version_number(name), name


def _precedence(file: InventoryFile) -> int:
    """The root's inventory first, then the latest version's."""
    return -ocfl.version_number(file.folder) if file.folder else -(1 << 62)


def in_folder(folder: str, name: str) -> str:
    """Return the path of a name in a folder; ``""`` is the folder that paths are relative to."""
    return f"{folder}/{name}" if folder else name


# ----------------------------------------------------------------------------------- looking at an object


def look(
    store: Store, place: str, *, root: RootFacts | None = None, entries: Iterable[Entry] | None = None
) -> ObjectFacts:
    """Return what lies in the object at `place`, its content unread.

    `entries` are those of the object, if they were listed already. Raises StoreError for a store that does
    not answer: nothing is then known of the object.
    """
    found = store.walk(place) if entries is None else entries
    cut = len(place) + 1 if place else 0
    known = {each.path[cut:]: each for each in found}
    return ObjectFacts(
        place=place,
        entries=known,
        declarations=_declarations(store, place, known),
        inventories=_inventories(store, place, known),
        lone_sidecars=_lone_sidecars(store, place, known),
        root=root or RootFacts(),
    )


def declares(name: str) -> bool:
    """True for a file name that declares an object, or was meant to."""
    return name.startswith(ocfl.NAMASTE) or ocfl.OBJECT_VALUE.rstrip("_") in name


def _declarations(store: Store, place: str, entries: Mapping[str, Entry]) -> dict[str, bytes]:
    names = [path for path, each in entries.items() if "/" not in path and declares(path)]
    return {
        name: content
        for name in names
        if entries[name].kind is Kind.FILE
        and (content := _read(store, in_folder(place, name), MOST_DECLARATION_BYTES)) is not None
    }


def _read(store: Store, path: str, limit_bytes: int) -> bytes | None:
    """A small file; None if it went away since it was listed, one byte too long if it is too large."""
    try:
        with store.open(path) as stream:
            return _at_most(stream, limit_bytes)
    except NotInStore:
        return None
    except OSError as error:
        raise StoreError(f"{store.url}/{path}: cannot be read ({error.strerror or error})") from error


def _at_most(stream: Any, limit_bytes: int) -> bytes:
    parts, left = [], limit_bytes + 1
    while left and (part := stream.read(min(left, 1 << 20))):
        parts.append(part)
        left -= len(part)
    return b"".join(parts)


def _inventories(store: Store, place: str, entries: Mapping[str, Entry]) -> dict[str, InventoryFile]:
    folders = {path.partition("/")[0] for path in entries if path.endswith(f"/{ocfl.INVENTORY}")}
    versions = sorted((each for each in folders if ocfl.version_number(each)), key=_in_order)
    found: dict[str, InventoryFile] = {}
    for folder in ("", *versions):
        path = in_folder(folder, ocfl.INVENTORY)
        if path in entries and entries[path].kind is Kind.FILE:
            data = _read(store, in_folder(place, path), inventory.MOST_BYTES)
            if data is not None:
                sidecars = _sidecars(store, place, folder, entries)
                found[folder] = _known_or_parsed(data, folder, sidecars, found)
    return found


def _sidecars(store: Store, place: str, folder: str, entries: Mapping[str, Entry]) -> dict[str, bytes]:
    start = f"{in_folder(folder, ocfl.INVENTORY)}."
    named = {path: path[path.rfind("/") + 1 :] for path in entries if path.startswith(start)}
    return {
        name: content
        for path, name in named.items()
        if entries[path].kind is Kind.FILE
        and (content := _read(store, in_folder(place, path), inventory.MOST_SIDECAR_BYTES)) is not None
    }


def _lone_sidecars(store: Store, place: str, entries: Mapping[str, Entry]) -> dict[str, dict[str, bytes]]:
    above = (path.rpartition("/") for path in entries if f"{ocfl.INVENTORY}." in path)
    folders = {
        folder
        for folder, _, name in above
        if name.startswith(f"{ocfl.INVENTORY}.") and (not folder or ocfl.version_number(folder))
    }
    lone = [each for each in sorted(folders) if in_folder(each, ocfl.INVENTORY) not in entries]
    return {folder: _sidecars(store, place, folder, entries) for folder in lone}


def _known_or_parsed(
    data: bytes, folder: str, sidecars: Mapping[str, bytes], found: Mapping[str, InventoryFile]
) -> InventoryFile:
    """Do not parse again what is the same as another inventory of the object, as the head's mostly is."""
    digests = {name: inventory.digest_of(data, name) for name in ocfl.CONTENT_ALGORITHMS}
    for each in found.values():
        if each.digests == digests:
            return replace(each, folder=folder, sidecars=sidecars)
    return inventory_file(data, folder, sidecars, digests)


def inventory_file(
    data: bytes, folder: str, sidecars: Mapping[str, bytes], digests: Mapping[str, str]
) -> InventoryFile:
    """Return an inventory's bytes with their tolerant views."""
    try:
        document = inventory.parse(data)
    except InputError as error:
        fault = error.message.removeprefix(f"{ocfl.INVENTORY}: ")
        return InventoryFile(folder=folder, digests=digests, document={}, fault=fault, sidecars=sidecars)
    return InventoryFile(
        folder=folder,
        digests=digests,
        document=document,
        sidecars=sidecars,
        manifest=paths_in(document.get("manifest")),
        states={
            name: paths_in(block.get("state")) for name, block in objects_in(document.get("versions")).items()
        },
        fixity={name: paths_in(block) for name, block in objects_in(document.get("fixity")).items()},
    )


def objects_in(value: Any) -> dict[str, dict[str, Any]]:
    """Return the members of a JSON object that are objects themselves."""
    if not isinstance(value, dict):
        return {}
    return {key: each for key, each in value.items() if isinstance(each, dict)}


def paths_in(value: Any) -> dict[str, tuple[str, ...]]:
    """Return the members of a JSON object that are arrays of text."""
    if not isinstance(value, dict):
        return {}
    return {
        key: tuple(each)
        for key, each in value.items()
        if isinstance(each, list) and all(isinstance(path, str) for path in each)
    }


# --------------------------------------------------------------------------------------- proving content


def claims(facts: ObjectFacts) -> dict[str, dict[str, frozenset[str]]]:
    """Return which digests are said of every content file that is there: path → algorithm → digests.

    Every inventory's claims count, for earlier ones may use another algorithm; so do fixity blocks.
    Algorithms that are not known here are left out (OCFL 1.1, section 3.4).
    """
    wanted: dict[str, dict[str, frozenset[str]]] = {}
    for each in _distinct(facts):
        blocks = [(each.algorithm, each.manifest), *each.fixity.items()]
        for algorithm, block in blocks:
            if algorithm not in ocfl.HEX_LENGTHS:
                continue
            for digest, paths in block.items():
                for path in paths:
                    if facts.is_file(path):
                        said = wanted.setdefault(path, {})
                        said[algorithm] = said.get(algorithm, _NONE) | {digest.lower()}
    return wanted


_NONE: frozenset[str] = frozenset()


def _distinct(facts: ObjectFacts) -> list[InventoryFile]:
    """Inventories of different bytes."""
    return list({each.digests[ocfl.SHA512]: each for each in facts.inventories.values()}.values())


def with_digests(
    facts: ObjectFacts,
    digests: Mapping[str, Mapping[str, str]],
    *,
    unread: Mapping[str, str] | None = None,
    gone: Iterable[str] = (),
) -> ObjectFacts:
    """Return the facts with what was read of content.

    `unread` has the files that the store did not give, with why; `gone` those that were listed and are not
    there any more.
    """
    lost = set(gone)
    entries = (
        {path: each for path, each in facts.entries.items() if path not in lost} if lost else facts.entries
    )
    return replace(facts, digests=digests, unread=unread or {}, entries=entries)


def without_begun(facts: ObjectFacts, version: str = "") -> ObjectFacts:
    """Return an object without the version that somebody has begun to write, as readers see it.

    That is the one after the head of its proved inventory; with `version`, only if it is that one.
    """
    root = facts.inventories.get("")
    if root is None or not root.is_proved:
        return facts
    after = ocfl.version_number(str(root.document.get("head"))) + 1
    begun = {
        name for name in facts.version_folders if ocfl.version_number(name) == after and version in ("", name)
    }
    return replace(
        facts,
        entries={path: each for path, each in facts.entries.items() if path.partition("/")[0] not in begun},
        inventories={name: each for name, each in facts.inventories.items() if name not in begun},
        lone_sidecars={name: each for name, each in facts.lone_sidecars.items() if name not in begun},
    )


def sound(facts: ObjectFacts) -> Inventory | None:
    """Return the object's inventory as values, if its bytes are proved and it is wholly as specified."""
    file = facts.inventories.get("")
    if file is None or not file.is_proved or file.fault:
        return None
    try:
        return inventory.from_checked(file.document, file.place)
    except InputError:
        return None
