"""What a deposit will do: the next version of an object, as values. Nothing is read or written here.

In every version the bag lies under ``bag/``, path by path as it was deposited, and what happened to it since
it was sealed under ``events/``, one PREMIS document for each deposit. So a bag of any shape is given back as
it was, whatever stands beside it.

Source: OCFL 1.1, section 3.5.3 (states), implementation notes, forward delta.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace

from pipeline.ocfl import inventory
from pipeline.ocfl.inventory import Inventory, User, Version
from pipeline.specs import ocfl

BAG = "bag"
EVENTS = "events"


@dataclass(frozen=True, slots=True, kw_only=True)
class Changes:
    """How a bag differs from the one before it: paths in the bag."""

    added: tuple[str, ...] = ()
    changed: tuple[str, ...] = ()
    """The same path, other bytes."""
    renamed: tuple[tuple[str, str], ...] = ()
    """The same bytes under another path: the old, the new."""
    removed: tuple[str, ...] = ()
    kept: int = 0
    """How many files are as they were."""

    def __str__(self) -> str:
        """Return them as people say it: ``2 files added, 1 renamed, 20 kept``."""
        counts = (
            (len(self.added), "added"),
            (len(self.changed), "changed"),
            (len(self.renamed), "renamed"),
            (len(self.removed), "removed"),
            (self.kept, "kept"),
        )
        first, *others = [(count, what) for count, what in counts if count] or [(0, "added")]
        noun = "file" if first[0] == 1 else "files"
        said = [f"{first[0]:,} {noun} {first[1]}", *(f"{count:,} {what}" for count, what in others)]
        return ", ".join(said)


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """The next version of an object."""

    inventory: Inventory
    changes: Changes
    copied: Mapping[str, str]
    """Content path → path in the bag: files whose bytes are new to the object."""
    documents: Mapping[str, bytes]
    """Content path → bytes of what stands beside the bag."""

    @property
    def version(self) -> str:
        """The name of the new version."""
        return self.inventory.head

    @property
    def is_bag_kept(self) -> bool:
        """True if the bag is wholly as it was."""
        return self.changes == Changes(kept=self.changes.kept)

    @property
    def is_first(self) -> bool:
        """True if the object is not there yet."""
        return len(self.inventory.versions) == 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Details:
    """What stands in a version beside its files."""

    created: str
    """RFC 3339, as `inventory.timestamp` gives it."""
    user: User
    message: Callable[[Changes], str]
    events: Callable[[str, Changes], bytes]
    """The PREMIS document of a version of that name."""


def changes(before: Mapping[str, str], after: Mapping[str, str]) -> Changes:
    """Compare two bags: path → digest. Of bytes that moved, the old paths are matched to the new in order."""
    gone: dict[str, list[str]] = {}
    for path in sorted(before.keys() - after.keys(), reverse=True):
        gone.setdefault(before[path], []).append(path)
    added, renamed = [], []
    for path in sorted(after.keys() - before.keys()):
        if gone.get(after[path]):
            renamed.append((gone[after[path]].pop(), path))
        else:
            added.append(path)
    both = before.keys() & after.keys()
    changed = sorted(path for path in both if before[path] != after[path])
    return Changes(
        added=tuple(added),
        changed=tuple(changed),
        renamed=tuple(renamed),
        removed=tuple(sorted(path for paths in gone.values() for path in paths)),
        kept=len(both) - len(changed),
    )


def bag_in(known: Inventory, version: str) -> dict[str, str]:
    """Return the bag of a version: path in the bag → digest. Raises KeyError for an unknown version."""
    start = f"{BAG}/"
    paths = known.versions[version].paths
    return {path.removeprefix(start): digest for path, digest in paths.items() if path.startswith(start)}


def plan(bag: Mapping[str, str], known: Inventory | None, object_id: str, details: Details) -> Plan | None:
    """Return the next version of an object, which holds `bag`: path → digest.

    None if the last version holds the same bag: then there is nothing to do.
    """
    before = bag_in(known, known.head) if known else {}
    if known and before == bag:
        return None
    return _next(bag, known, object_id, details, changes(before, bag))


def plan_beside(known: Inventory, details: Details) -> Plan:
    """Return the next version of an object, with the same bag, and events beside it."""
    bag = bag_in(known, known.head)
    return _next(bag, known, known.id, details, Changes(kept=len(bag)))


def _next(
    bag: Mapping[str, str], known: Inventory | None, object_id: str, details: Details, found: Changes
) -> Plan:
    start = known or _empty(object_id)
    version = start.next_version() if known else "v1"
    events = details.events(version, found)
    documents = {f"{EVENTS}/{version}.xml": events}
    digests = {
        **_beside(known),
        **{f"{BAG}/{path}": digest for path, digest in bag.items()},
        **{path: inventory.digest_of(data, start.digest_algorithm) for path, data in documents.items()},
    }
    new = dict(_new_content(digests, start, f"{version}/{start.content_name}"))
    made = _with_version(start, version, digests, new, details, found)
    return Plan(
        inventory=made,
        changes=found,
        copied={
            content: path.removeprefix(f"{BAG}/") for content, path in new.items() if path not in documents
        },
        documents={content: documents[path] for content, path in new.items() if path in documents},
    )


def _empty(object_id: str) -> Inventory:
    return Inventory(id=object_id, head="", manifest={}, versions={})


def _beside(known: Inventory | None) -> dict[str, str]:
    """What stands beside the bag in the last version, which the next one keeps."""
    if known is None:
        return {}
    paths = known.versions[known.head].paths
    return {path: digest for path, digest in paths.items() if not path.startswith(f"{BAG}/")}


def _new_content(digests: Mapping[str, str], known: Inventory, folder: str) -> Iterator[tuple[str, str]]:
    """Yield content path and logical path of bytes that the object does not have; equal ones once."""
    seen = {digest.lower() for digest in known.manifest}
    for path in sorted(digests):
        if digests[path].lower() not in seen:
            seen.add(digests[path].lower())
            yield f"{folder}/{path}", path


def _with_version(
    known: Inventory,
    version: str,
    digests: Mapping[str, str],
    new: Mapping[str, str],
    details: Details,
    found: Changes,
) -> Inventory:
    spelt = {digest.lower(): digest for digest in known.manifest}
    state: dict[str, tuple[str, ...]] = {}
    for path in sorted(digests):
        digest = spelt.get(digests[path].lower(), digests[path])
        state[digest] = (*state.get(digest, ()), path)
    made = Version(created=details.created, state=state, message=details.message(found), user=details.user)
    return replace(
        known,
        head=version,
        manifest={**known.manifest, **{digests[path]: (content,) for content, path in new.items()}},
        versions={**known.versions, version: made},
    )


def object_files(plan: Plan) -> dict[str, bytes]:
    """Return the small files of a version by their paths in the object, in the order of writing.

    Those of the version come first, then what declares the object, then the root's digest file and inventory.
    """
    algorithm = plan.inventory.digest_algorithm
    data = inventory.to_bytes(plan.inventory)
    beside = ocfl.sidecar_name(algorithm)
    digest_file = inventory.sidecar(data, algorithm)
    declaration, declared = ocfl.object_declaration(plan.inventory.spec_version)
    return {
        f"{plan.version}/{beside}": digest_file,
        f"{plan.version}/{ocfl.INVENTORY}": data,
        **({declaration: declared} if plan.is_first else {}),
        beside: digest_file,
        ocfl.INVENTORY: data,
    }
