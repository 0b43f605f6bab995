"""Wrap: seal what was made into a bag, and prove it (RFC 8493).

A `BagPlan` says what the bag holds, with the digests that are known from the one read of each file. `seal`
makes the bag beside its place, reads every file of it back, and only then gives it its name. Whoever
looks at that name finds a whole bag or none; a run that was killed leaves hidden folders beside it, which
the next run takes up or away (`recover`).
"""

from __future__ import annotations

import contextlib
import datetime as dt
import hashlib
import os
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path, PurePosixPath

from pipeline import bagprofile, files
from pipeline.digests import CHUNK_BYTES, digest_bytes, digest_file
from pipeline.errors import FixityError, InputError, Problem, SettingsError, ToolError
from pipeline.model import Algorithm, Fixity, Item, Settings
from pipeline.progress import SILENT, Progress
from pipeline.specs import bagit
from pipeline.specs.bagit import Label


@dataclass(frozen=True, slots=True, kw_only=True)
class PayloadEntry:
    """One file of the payload: where it lies in the bag, where its bytes are, what is known of them."""

    path: PurePosixPath
    """Relative to the payload folder."""
    source: Path | bytes
    """A file on disk, which is only read; or the bytes of a document."""
    size_bytes: int
    fixity: tuple[Fixity, ...]
    """By every algorithm of the plan at least."""
    link: bool = True
    """A hard link may stand for a copy of the file."""


@dataclass(frozen=True, slots=True, kw_only=True)
class BagPlan:
    """All that a bag will hold."""

    name: str
    """Of its folder."""
    payload: tuple[PayloadEntry, ...]
    info: tuple[tuple[str, str], ...]
    """Labels and values of `bag-info.txt`, in order: see `bag_info`."""
    algorithms: tuple[Algorithm, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class SealedBag:
    """What a receipt keeps of a sealed bag."""

    name: str
    tagmanifest_digest: str
    """SHA-256 of the tag manifest of the first algorithm: stands for every byte of the bag."""
    payload_oxum: str
    reflinks: int
    """How many payload files share blocks with their sources; then how many are hard links or copies."""
    hard_links: int
    copies: int
    """Documents, which have no source on disk, count as copies."""


# ------------------------------------------------------------------------------------------- the plan


def bag_info(
    item: Item,
    settings: Settings,
    *,
    kind_description: str,
    profile_uri: str,
    payload: Sequence[PayloadEntry],
    now: dt.datetime,
    software_version: str,
) -> tuple[tuple[str, str], ...]:
    """Return the labels and values of `bag-info.txt`; what is not known is left out.

    Source: RFC 8493, section 2.2.2; BagIt Profiles 1.4.0 for the profile's identifier.
    """
    holder = settings.holder
    size_bytes = sum(entry.size_bytes for entry in payload)
    elements = (
        (Label.SOURCE_ORGANIZATION, holder.name.best("en")),
        (Label.ORGANIZATION_ADDRESS, holder.address),
        (Label.CONTACT_NAME, holder.contact_name),
        (Label.CONTACT_PHONE, holder.contact_phone),
        (Label.CONTACT_EMAIL, holder.contact_email),
        (Label.EXTERNAL_DESCRIPTION, f"{item.title.best('en')} ({item.shelfmark}). {kind_description}"),
        *((Label.EXTERNAL_IDENTIFIER, identifier) for identifier in _identifiers(item)),
        (Label.BAGGING_DATE, now.date().isoformat()),
        (Label.BAG_SIZE, readable_size(size_bytes)),
        (Label.PAYLOAD_OXUM, bagit.payload_oxum(size_bytes, len(payload))),
        (Label.BAG_GROUP_IDENTIFIER, item.identifier),
        (Label.SOFTWARE_AGENT, f"solander {software_version}"),
        (Label.PROFILE_IDENTIFIER, profile_uri),
    )
    return tuple((label.value, one_line) for label, value in elements if (one_line := _one_line(value)))


def _identifiers(item: Item) -> Iterator[str]:
    """Yield the item's id, which names it in our own places, then what others know it by."""
    yield from dict.fromkeys((item.identifier, item.shelfmark))
    yield from (f"{each.scheme}:{each.value}" for each in item.identifiers)


def _one_line(text: str) -> str:
    """Return `text` with single blanks for all white space, which is all that a folded value keeps."""
    return " ".join("".join(char for char in text if char.isspace() or char.isprintable()).split())


def readable_size(size_bytes: int) -> str:
    """Return a size for people, in decimal units: ``1.3 GB``."""
    size, units = float(size_bytes), ["bytes", "kB", "MB", "GB", "TB", "PB"]
    while round(size, 1) >= 1000 and len(units) > 1:
        size, units = size / 1000, units[1:]
    return f"{size_bytes} bytes" if units[0] == "bytes" else f"{size:.1f} {units[0]}"


def tag_files(plan: BagPlan) -> dict[str, bytes]:
    """Return the tag files of a bag by their names, in the order of writing: tag manifests last.

    Pure: the same plan gives the same bytes, whatever the order of its payload. Source: RFC 8493,
    sections 2.1 and 2.2. Raises ValueError if a digest is missing.
    """
    payload = {f"{bagit.PAYLOAD}/{entry.path}": entry.fixity for entry in plan.payload}
    tags = {bagit.manifest_name(algorithm): _manifest(payload, algorithm) for algorithm in plan.algorithms}
    tags[bagit.INFO_FILE] = "".join(_element(label, value) for label, value in plan.info).encode()
    tags[bagit.DECLARATION_FILE] = bagit.DECLARATION.encode()
    listed = {name: digest_bytes(data, plan.algorithms) for name, data in tags.items()}
    for algorithm in plan.algorithms:
        tags[bagit.tag_manifest_name(algorithm)] = _manifest(listed, algorithm)
    return tags


def _manifest(listed: Mapping[str, tuple[Fixity, ...]], algorithm: Algorithm) -> bytes:
    lines = []
    for path in sorted(listed, key=os.fsencode):
        digest = next((each.hex_digest for each in listed[path] if each.algorithm is algorithm), None)
        if digest is None:
            raise ValueError(f"{path}: no {algorithm} is known")
        lines.append(f"{digest}  {bagit.encode_path(path)}\n")
    return "".join(lines).encode()


def _element(label: str, value: str) -> str:
    """Return an element of `bag-info.txt`, folded at blanks; what has no blank may be longer."""
    first, *words = value.split(" ")
    lines = [f"{label}: {first}"]
    for word in words:
        if len(lines[-1]) + 1 + len(word) <= bagit.LINE_CHARACTERS:
            lines[-1] += f" {word}"
        else:
            lines.append(f" {word}")
    return "\n".join(lines) + "\n"


# --------------------------------------------------------------------------------- what is refused


def name_problems(plan: BagPlan) -> tuple[Problem, ...]:
    """Return every payload path that could not be written, or read back alike, on another system.

    Source: RFC 8493, section 6.1; the readers' habits that `docs/bags.md` tells of.
    """
    paths = [entry.path for entry in plan.payload]
    outside = [str(path) for path in paths if path.is_absolute() or ".." in path.parts or not path.parts]
    inside = [str(path) for path in paths if str(path) not in outside]
    faults = files.path_faults(inside, above=f"{plan.name}/{bagit.PAYLOAD}")
    return (
        *(_refused(path, "a path that leaves its folder") for path in outside),
        *(_refused(path, fault) for path, fault in faults),
    )


def _refused(path: str, found: str) -> Problem:
    return Problem(
        where=ascii(path) if not path.isprintable() else path,
        found=found,
        expected="a name that every file system can hold",
        advice="rename the file",
    )


def _refuse(plan: BagPlan) -> None:
    """Raise for what must not become a bag."""
    if (Label.PAYLOAD_OXUM, _oxum(plan)) not in plan.info:
        raise ValueError(f"{plan.name}: bag-info.txt does not tell of this payload")
    if problems := name_problems(plan):
        raise InputError(f"{plan.name}: there are names that a bag should not have", problems=problems)
    if problems := _profile_problems(plan):
        raise SettingsError(f"{plan.name}: the bag would not fit its profile", problems=problems)


def _profile_problems(plan: BagPlan) -> tuple[Problem, ...]:
    named = [value for label, value in plan.info if label == Label.PROFILE_IDENTIFIER]
    profiles = [profile for each in named if (profile := bagprofile.our_profile(each))]
    facts = bagprofile.BagFacts(
        version=bagit.VERSION,
        info=plan.info,
        manifests=plan.algorithms,
        tag_manifests=plan.algorithms,
        tag_files=(),
        payload=tuple((f"{bagit.PAYLOAD}/{entry.path}", entry.size_bytes) for entry in plan.payload),
    )
    return tuple(problem for each in profiles for problem in bagprofile.profile_problems(facts, each))


# ------------------------------------------------------------------------------------------- sealing


def seal(plan: BagPlan, bundles: Path, *, progress: Progress = SILENT) -> SealedBag:
    """Make the bag of a plan in the folder `bundles`, prove it, and put it in its place.

    A bag of that name is replaced when the new one is proved; until then it stays as it is. Progress is
    told of each payload file twice: placed, then proved.

    Raises InputError for names that a bag should not have and for what is in the way, SettingsError for a
    bag that would not fit its profile, FixityError for a file that is not what the plan says, ToolError
    when the disk fails us. Whatever is raised, nothing half-done is left.
    """
    _refuse(plan)
    tags = tag_files(plan)
    final, making, _ = _places(bundles, plan.name)
    if final.exists() and not (final / bagit.DECLARATION_FILE).is_file():
        raise InputError(f"{final}: is there and is not a bag; move it away or choose another folder")
    recover(bundles, plan.name)
    progress.start(f"bag {plan.name}", total=2 * len(plan.payload))
    try:
        ways = _make(plan, tags, making, progress)
        prove(plan, making, progress=progress)
        _put_in_place(bundles, plan.name)
    except BaseException:
        with contextlib.suppress(ToolError):  # what was raised first matters more
            files.remove_tree(making)
        raise
    finally:
        progress.finish()
    return _sealed(plan, tags, ways)


def _oxum(plan: BagPlan) -> str:
    return bagit.payload_oxum(sum(entry.size_bytes for entry in plan.payload), len(plan.payload))


def _places(bundles: Path, name: str) -> tuple[Path, Path, Path]:
    """Return where the bag will be, where it is made, and where an earlier one stands aside."""
    return bundles / name, bundles / f".{name}.making", bundles / f".{name}.replaced"


def recover(bundles: Path, name: str) -> None:
    """Take up what a killed run left: an earlier bag that stood aside goes back to its place.

    Half-made bags are removed. Raises ToolError.
    """
    final, making, aside = _places(bundles, name)
    files.remove_tree(making)
    if aside.exists() and not os.path.lexists(final):
        with files.writing(final):
            aside.rename(final)
            files.sync_folder(bundles)
    files.remove_tree(aside)


def _make(plan: BagPlan, tags: Mapping[str, bytes], making: Path, progress: Progress) -> Counter[str]:
    """Write the bag and flush it; return how many payload files were placed in which way."""
    ways: Counter[str] = Counter()
    written = [making / name for name in tags]
    with files.writing(making):
        _make_folders(making, plan)
        placer = files.Placer()
        for count, entry in enumerate(plan.payload, 1):
            way = _place(entry, making / bagit.PAYLOAD / entry.path, placer)
            ways[way] += 1
            if way == files.COPY:
                written.append(making / bagit.PAYLOAD / entry.path)
            _tell(progress, count, len(plan.payload))
        for name, data in tags.items():
            (making / name).write_bytes(data)
        files.flush(making, written)
        for path in written:
            files.forget_cached(path)
    return ways


def _make_folders(making: Path, plan: BagPlan) -> None:
    folders: set[str] = {bagit.PAYLOAD}
    for entry in plan.payload:
        for folder in files.folders_above(f"{bagit.PAYLOAD}/{entry.path}"):
            if folder in folders:
                break
            folders.add(folder)
    making.mkdir(parents=True)
    for folder in sorted(folders):
        (making / folder).mkdir()


def _place(entry: PayloadEntry, destination: Path, placer: files.Placer) -> str:
    if isinstance(entry.source, Path):
        return placer.place(entry.source, destination, link=entry.link)
    destination.write_bytes(entry.source)
    return files.COPY


def _put_in_place(bundles: Path, name: str) -> None:
    """Give a proved bag its name: at every instant there is a whole bag at a name that is known."""
    final, making, aside = _places(bundles, name)
    with files.writing(final):
        if os.path.lexists(final):
            final.rename(aside)
        making.rename(final)
        files.sync_folder(bundles)
    files.remove_tree(aside)


def _sealed(plan: BagPlan, tags: Mapping[str, bytes], ways: Counter[str]) -> SealedBag:
    return SealedBag(
        name=plan.name,
        tagmanifest_digest=hashlib.sha256(tags[bagit.tag_manifest_name(plan.algorithms[0])]).hexdigest(),
        payload_oxum=_oxum(plan),
        reflinks=ways[files.REFLINK],
        hard_links=ways[files.HARD_LINK],
        copies=ways[files.COPY],
    )


_TELL_EVERY = 100


def _tell(progress: Progress, count: int, total: int) -> None:
    """Advance in steps: tiles go by faster than anybody can look."""
    if count % _TELL_EVERY == 0:
        progress.advance(_TELL_EVERY)
    elif count == total:
        progress.advance(total % _TELL_EVERY)


# ------------------------------------------------------------------------------------------- proving


def prove(plan: BagPlan, bag: Path, *, progress: Progress = SILENT) -> None:
    """Read every file of a bag and compare it with the plan: the same files, sizes and digests.

    Raises FixityError naming every file that is missing, unexpected or not what it should be, ToolError
    when the disk fails us.
    """
    size_and_fixity = {
        name: (len(data), digest_bytes(data, plan.algorithms)) for name, data in tag_files(plan).items()
    }
    sources: dict[str, Path] = {}
    for entry in plan.payload:
        path = f"{bagit.PAYLOAD}/{entry.path}"
        known = {each.algorithm: each for each in entry.fixity}
        size_and_fixity[path] = (entry.size_bytes, tuple(known[each] for each in plan.algorithms))
        if isinstance(entry.source, Path):
            sources[path] = entry.source
    with files.writing(bag):
        problems = [
            *_set_problems(size_and_fixity.keys(), {str(path) for path in files.walk_files(bag)}),
            *_digest_problems(plan.algorithms, size_and_fixity, sources, bag, progress),
        ]
    if problems:
        raise FixityError(f"{plan.name}: the bag is not what it should be", problems=problems)


def _set_problems(expected: Iterable[str], found: set[str]) -> Iterator[Problem]:
    expected = set(expected)
    for path in sorted(expected - found):
        yield Problem(where=path, found="no file", expected="one", advice="run the build again")
    for path in sorted(found - expected):
        yield Problem(where=path, found="a file", expected="none", advice="run the build again")


def _digest_problems(
    algorithms: Sequence[Algorithm],
    expected: Mapping[str, tuple[int, tuple[Fixity, ...]]],
    sources: Mapping[str, Path],
    bag: Path,
    progress: Progress,
) -> Iterator[Problem]:
    total = sum(path.startswith(f"{bagit.PAYLOAD}/") for path in expected)
    count = 0
    for path, read in _read_back(bag, {path: size for path, (size, _) in expected.items()}, algorithms):
        if read is not None and read != expected[path]:
            yield _differing(path, read, expected[path], sources.get(path))
        if path.startswith(f"{bagit.PAYLOAD}/"):
            count += 1
            _tell(progress, count, total)


def _differing(
    path: str,
    read: tuple[int, tuple[Fixity, ...]],
    expected: tuple[int, tuple[Fixity, ...]],
    source: Path | None,
) -> Problem:
    sizes_differ = read[0] != expected[0]
    return Problem(
        where=path,
        found=f"{read[0]} bytes" if sizes_differ else _spelt(read[1][0]),
        expected=f"{expected[0]} bytes" if sizes_differ else _spelt(expected[1][0]),
        advice=f"{source} changed after it was read, or the disk fails: look at it, then run the build again"
        if source
        else "the disk fails: look at it, then run the build again",
    )


def _spelt(fixity: Fixity) -> str:
    return f"{fixity.algorithm} {fixity.hex_digest[:16]}…"


_READERS = min(4, os.cpu_count() or 1)

Read = tuple[int, tuple[Fixity, ...]] | None
"""Size and digests of a file as they are on disk; None for a file that is not there."""


def _read_back(
    bag: Path, sizes: Mapping[str, int], algorithms: Sequence[Algorithm]
) -> Iterator[tuple[str, Read]]:
    """Yield the path of every file and what was read of it.

    Large files are digested by threads. Small ones are not: the interpreter's lock would make it slower.
    """

    def read(path: str) -> Read:
        with contextlib.suppress(FileNotFoundError, NotADirectoryError):
            return digest_file(bag / path, algorithms)
        return None

    large = [path for path, size_bytes in sizes.items() if size_bytes > CHUNK_BYTES]
    pool = ThreadPoolExecutor(_READERS)
    try:
        waiting = [(path, pool.submit(read, path)) for path in large]
        for path, size_bytes in sizes.items():
            if size_bytes <= CHUNK_BYTES:
                yield path, read(path)
        for path, future in waiting:
            yield path, future.result()
    finally:
        pool.shutdown(cancel_futures=True)


def still_sealed(path: Path, tagmanifest_digest: str) -> bool:
    """Return whether a bag is, at a glance, the one that was sealed with that digest.

    Reads the tag files whole and asks for the presence and size of every payload file; the payload itself
    is not read, and a file that was added is not seen: that is what verifying is for.
    """
    try:
        return _tags_hold(path, tagmanifest_digest) and _sizes_hold(path)
    except (OSError, ValueError):
        return False


def _tags_hold(bag: Path, tagmanifest_digest: str) -> bool:
    for algorithm in Algorithm:
        tag_manifest = bag / bagit.tag_manifest_name(algorithm)
        if not tag_manifest.is_file():
            continue
        data = tag_manifest.read_bytes()
        if hashlib.sha256(data).hexdigest() == tagmanifest_digest:
            return all(
                digest_file(bag / path, [algorithm])[1] == (Fixity(algorithm, digest),)
                for digest, path in _lines(data)
            )
    return False


def _sizes_hold(bag: Path) -> bool:
    manifest = next(name for each in Algorithm if (name := bag / bagit.manifest_name(each)).is_file())
    base = str(bag)
    paths = [f"{base}/{path}" for _, path in _lines(manifest.read_bytes())]
    size_bytes = sum(os.stat(path).st_size for path in paths)  # noqa: PTH116, ten thousands of them
    oxum = f"{Label.PAYLOAD_OXUM}: {bagit.payload_oxum(size_bytes, len(paths))}\n"
    return oxum in (bag / bagit.INFO_FILE).read_text(encoding="utf-8")


def _lines(manifest: bytes) -> Iterator[tuple[str, str]]:
    for line in manifest.decode().split("\n")[:-1]:
        digest, _, path = line.partition("  ")
        yield digest, bagit.decode_path(path)
