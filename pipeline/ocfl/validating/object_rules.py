"""What lies in an object's folder and in those of its versions: sections 3.1 to 3.3, 3.8, 3.9 and 4.6."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator

from pipeline.findings import Remark
from pipeline.ocfl.reading import InventoryFile, ObjectFacts, in_folder
from pipeline.ocfl.validating.inventory_rules import versions_named
from pipeline.ocfl.validating.register import object_rule
from pipeline.specs import ocfl
from pipeline.stores import Kind

_CLOSED_FOLDER = "the files that OCFL knows alone"

# ---------------------------------------------------------------------------------------- declaration


@object_rule(
    "E002", "A declaration is a file whose name begins with 0= and says what the folder is. Make it anew."
)
def declaration_is_a_file(facts: ObjectFacts) -> Iterator[Remark]:
    """The declaration is a file, not a folder of that name."""
    for name in sorted(facts.folders):
        if ocfl.OBJECT_DECLARATION.fullmatch(name):
            yield Remark(place=name, value="a folder", limit="a file")


_DECLARATION_LIKE = re.compile(r"(?P<tag>[^=]*)(?P<sign>=?)(?P<value>ocfl_object.*)")


@object_rule("E004", "Name it 0=ocfl_object_1.1, or the version that the object is of.")
def declaration_is_named_by_the_pattern(facts: ObjectFacts) -> Iterator[Remark]:
    """The name is a tag, an equals sign and a value."""
    for name in _misnamed(facts):
        match = _DECLARATION_LIKE.fullmatch(name)
        if match is None or not match["sign"]:
            yield Remark(place=name, value=name, limit="0=ocfl_object_ and the version")


@object_rule("E005", "Name it with the tag 0: 0=ocfl_object_1.1.")
def declaration_has_the_tag_0(facts: ObjectFacts) -> Iterator[Remark]:
    """The name begins with 0."""
    for name in _misnamed(facts):
        match = _DECLARATION_LIKE.fullmatch(name)
        if match and match["sign"] and match["tag"] != "0":
            yield Remark(place=name, value=f'the tag "{match["tag"]}"', limit="0")


@object_rule("E006", "Name it by the version of OCFL that the object follows: 0=ocfl_object_1.1.")
def declaration_names_a_version(facts: ObjectFacts) -> Iterator[Remark]:
    """The version of the specification is one that there is."""
    for name in facts.declarations:
        match = ocfl.OBJECT_DECLARATION.fullmatch(name)
        like = _DECLARATION_LIKE.fullmatch(name)
        is_unknown = match and match[1] not in ocfl.VERSIONS
        if is_unknown or (match is None and like and like["tag"] == "0" and like["sign"]):
            yield Remark(place=name, value=name, limit=f"{' or '.join(ocfl.VERSIONS)} at its end")


def _misnamed(facts: ObjectFacts) -> list[str]:
    return [name for name in facts.declarations if not ocfl.OBJECT_DECLARATION.fullmatch(name)]


@object_rule("E003", "Add the file 0=ocfl_object_1.1, or remove the one that does not fit the inventory.")
def there_is_one_declaration(facts: ObjectFacts) -> Iterator[Remark]:
    """Exactly one file declares the object; a misspelt one is told by its own code."""
    named = sorted(name for name in facts.declarations if ocfl.OBJECT_DECLARATION.fullmatch(name))
    is_told = len(named) < len(facts.declarations) or any(
        ocfl.OBJECT_DECLARATION.fullmatch(name) for name in facts.folders
    )
    if len(named) > 1 or (not named and not is_told):
        yield Remark(place="", value=", ".join(named) or "none", limit="one declaration")


@object_rule("E007", "Write the file anew: the part of its name after 0=, and one line feed.")
def declaration_holds_its_value(facts: ObjectFacts) -> Iterator[Remark]:
    """The file's content is its name after ``0=``, and a line feed."""
    for name, content in facts.declarations.items():
        match = ocfl.OBJECT_DECLARATION.fullmatch(name)
        if match and content != ocfl.object_declaration(match[1])[1]:
            expected = f'"{name[2:]}" and a line feed'
            yield Remark(place=name, value=_quoted(content), limit=expected)


def _quoted(content: bytes) -> str:
    shown = content[:40].decode("utf-8", "backslashreplace")
    return f'"{shown}"' if shown.strip() == shown else f"{content[:40]!r}"


# -------------------------------------------------------------------------------------- the object's folder


@object_rule(
    "E001", "Find out where it comes from; then move it out of the object. Nothing may be added to objects."
)
def nothing_else_is_in_the_object(facts: ObjectFacts) -> Iterator[Remark]:
    """Declaration, inventory and its digest, version folders, logs and extensions: nothing else."""
    for path, entry in facts.entries.items():
        if "/" not in path and not entry.is_folder and not _is_root_file(facts, path):
            yield Remark(place=path, value=f"a {entry.kind}", limit=_CLOSED_FOLDER)
    for name in sorted(facts.folders):
        if not _is_root_folder(name):
            yield Remark(place=f"{name}/", value=_folder_of(facts, name), limit="version folders alone")


def _is_root_file(facts: ObjectFacts, name: str) -> bool:
    is_link = facts.entries[name].kind is not Kind.FILE  # told by its own code
    return is_link or name in facts.declarations or _is_inventory_file(facts, "", name)


def _is_root_folder(name: str) -> bool:
    return (
        name in (ocfl.LOGS, ocfl.EXTENSIONS)
        or bool(ocfl.version_number(name))
        or _is_odd_version(name)
        or ocfl.OBJECT_DECLARATION.fullmatch(name) is not None
    )


def _is_inventory_file(facts: ObjectFacts, folder: str, name: str) -> bool:
    """True for an inventory, its digest file, and what another code tells of in their place."""
    if name == ocfl.INVENTORY or _is_inventory_misspelt(facts, folder, name):
        return True
    file = facts.inventories.get(folder)
    if not name.startswith(f"{ocfl.INVENTORY}."):
        return False
    right = ocfl.sidecar_name(file.algorithm) if file and file.algorithm else ""
    return name == right or right not in (file.sidecars if file else ())


def _is_inventory_misspelt(facts: ObjectFacts, folder: str, name: str) -> bool:
    alone = in_folder(folder, ocfl.INVENTORY) not in facts.entries
    return alone and name.lower() == ocfl.INVENTORY


def _folder_of(facts: ObjectFacts, name: str) -> str:
    files = sum(1 for path in facts.entries if path.startswith(f"{name}/"))
    return f"a folder of {files:,} files" if files else "an empty folder"


@object_rule("E090", "Put the file itself there. Links are followed nowhere, for they may lead anywhere.")
def there_are_no_links(facts: ObjectFacts) -> Iterator[Remark]:
    """No symbolic links, and no files that are known under several names."""
    for path, entry in facts.entries.items():
        if entry.kind is Kind.LINK:
            yield Remark(place=path, value="a symbolic link", limit="a file")
        elif entry.links > 1:
            value = f"a hard link, one of {entry.links} names of the file"
            yield Remark(place=path, value=value, limit="a file of its own")


@object_rule("E089", "Wrap what is no plain file in an image or archive, and deposit that.")
def there_are_plain_files_alone(facts: ObjectFacts) -> Iterator[Remark]:
    """No pipes, sockets or devices."""
    for path, entry in facts.entries.items():
        if entry.kind is Kind.OTHER:
            yield Remark(place=path, value="a pipe, socket or device", limit="a file")


# ------------------------------------------------------------------------------------------- versions

_ODD_VERSION = re.compile(r"v[0-9+-].*", re.ASCII)


def _is_odd_version(name: str) -> bool:
    """True for what was meant for a version and is none: v0, v1a, v-1."""
    return _ODD_VERSION.fullmatch(name) is not None and not ocfl.version_number(name)


@object_rule("E008", "An object without versions holds nothing; look whether they were lost.")
def there_is_a_version(facts: ObjectFacts) -> Iterator[Remark]:
    """One version at least, on the disk or in the inventory."""
    listed = any(facts.inventories[""].version_blocks) if "" in facts.inventories else True
    if "" in facts.inventories and not listed and isinstance(_versions(facts.inventories[""]), dict):
        yield Remark(place=ocfl.INVENTORY, value="no version", limit="v1 at least")


def _versions(file: InventoryFile) -> object:
    return file.document.get("versions")


def _numberings(facts: ObjectFacts) -> Iterator[tuple[str, list[str]]]:
    """Names of versions on the disk, and those of inventories that differ from them, with their places."""
    on_disk = facts.version_folders
    yield "", on_disk
    for file in facts.inventories.values():
        listed = list(file.version_blocks)
        if not set(listed) <= set(on_disk):
            yield f"{file.place}, versions", listed


@object_rule("E104", "Name versions v1, v2 and so on, on the disk and in the inventory.")
def versions_begin_with_v(facts: ObjectFacts) -> Iterator[Remark]:
    """Names of versions are v and a number."""
    for place, names in _numberings(facts):
        for name in names:
            if name.isdigit():
                yield Remark(place=place or f"{name}/", value=f'"{name}"', limit=f'"v{name}"')


@object_rule("E105", "Name versions v1, v2 and so on, on the disk and in the inventory.")
def versions_are_positive_numbers(facts: ObjectFacts) -> Iterator[Remark]:
    """Numbers of versions are 1 and above."""
    on_disk = [(f"{name}/", name) for name in sorted(facts.folders) if _is_odd_version(name)]
    listed = [
        (f"{file.place}, versions", name)
        for file in facts.inventories.values()
        for name in file.version_blocks
        if not ocfl.version_number(name) and not name.isdigit() and name not in facts.folders
    ]
    for place, name in (*on_disk, *listed):
        yield Remark(place=place, value=f'"{name}"', limit="v and a whole number from 1 on")


@object_rule("E009", "Look whether the first version was lost. An object without it cannot be told in full.")
def versions_begin_at_1(facts: ObjectFacts) -> Iterator[Remark]:
    """The first version is 1."""
    for place, names in _numberings(facts):
        numbers = _numbers(names)
        if numbers and numbers[0] != 1:
            yield Remark(place=place, value=f"the first is {numbers[0]}", limit="1")


@object_rule("E010", "Look whether the version was lost, and bring it back from another copy of the object.")
def no_version_is_missing(facts: ObjectFacts) -> Iterator[Remark]:
    """Numbers of versions have no gaps."""
    for place, names in _numberings(facts):
        numbers = _numbers(names)
        if gaps := sorted(set(range(numbers[0], numbers[-1])) - set(numbers)) if numbers else []:
            value = f"no {', '.join(f'v{number}' for number in gaps[:20])}"
            yield Remark(place=place, value=value, limit=f"all from v{numbers[0]} to v{numbers[-1]}")


def _numbers(names: Iterable[str]) -> list[int]:
    return sorted(number for name in names if (number := ocfl.version_number(name)))


@object_rule("E011", "A padded number keeps a zero in front; with v09 the padded numbers have run out.")
def padded_numbers_begin_with_0(facts: ObjectFacts) -> Iterator[Remark]:
    """Where numbers are padded, each has a zero in front."""
    for place, names in _numberings(facts):
        padded, plain = _by_padding(names)
        for name in plain:
            if any(len(name) == len(each) for each in padded):
                yield Remark(place=place or f"{name}/", value=name, limit="a zero after the v")


@object_rule("E012", "Number all versions alike: v1, v2 and so on, or all padded to one length.")
def versions_are_numbered_alike(facts: ObjectFacts) -> Iterator[Remark]:
    """Either no number is padded, or all are, to one length."""
    for place, names in _numberings(facts):
        padded, plain = _by_padding(names)
        lengths = {len(name) for name in padded}
        mixed = [name for name in plain if padded and len(name) not in lengths]
        if mixed or len(lengths) > 1:
            yield Remark(
                place=place, value=", ".join(sorted((*padded, *mixed))), limit="one way of numbering"
            )


def _by_padding(names: Iterable[str]) -> tuple[list[str], list[str]]:
    known = [name for name in names if ocfl.version_number(name)]
    return [name for name in known if name[1] == "0"], [name for name in known if name[1] != "0"]


@object_rule(
    "W001", "New objects number versions v1, v2 and so on. Versions that are there stay as they are."
)
def versions_are_not_padded(facts: ObjectFacts) -> Iterator[Remark]:
    """Numbers of versions are not padded."""
    padded, _ = _by_padding(facts.version_folders)
    if padded:
        yield Remark(place="", value=", ".join(padded[:20]), limit="v1, v2 and so on")


@object_rule("E014", "The inventory must name versions as their folders are named.")
def inventory_and_disk_name_versions_alike(facts: ObjectFacts) -> Iterator[Remark]:
    """A version has one name."""
    on_disk = {ocfl.version_number(name): name for name in facts.version_folders}
    for name in _listed(facts):
        folder = on_disk.get(ocfl.version_number(name), name)
        if folder != name:
            yield Remark(place=ocfl.INVENTORY, value=f'"{name}"', limit=f'"{folder}", as the folder is named')


def _listed(facts: ObjectFacts) -> list[str]:
    return versions_named(facts.inventories[""].document.get("versions")) if "" in facts.inventories else []


@object_rule(
    "E046", "Either a version was lost, or one was begun and not finished. Look which, before anything else."
)
def inventory_and_disk_have_the_same_versions(facts: ObjectFacts) -> Iterator[Remark]:
    """The inventory's versions are the folders that there are; gaps are told by their own code."""
    on_disk, listed = _numbers(facts.version_folders), _numbers(_listed(facts))
    if not listed:
        return
    for number in sorted(set(on_disk) - set(listed)):
        yield Remark(place=f"v{number}/", value="not in the inventory", limit="the versions of the inventory")
    for number in sorted(set(listed) - set(on_disk)):
        if not on_disk or number > on_disk[-1] or number < on_disk[0]:
            yield Remark(place=ocfl.INVENTORY, value=f"v{number}, which has no folder", limit="its folder")


# ----------------------------------------------------------------------------------------- in a version


@object_rule("E015", "Find out where it comes from; then move it out of the object.")
def nothing_else_is_in_a_version(facts: ObjectFacts) -> Iterator[Remark]:
    """In a version's folder are its inventory, the digest of that, and folders."""
    for path, entry in facts.entries.items():
        folder, _, name = path.partition("/")
        if not name or "/" in name or entry.kind is not Kind.FILE or not ocfl.version_number(folder):
            continue
        if not _is_inventory_file(facts, folder, name):
            yield Remark(place=path, value="a file", limit="inventory, its digest and the content folder")


@object_rule("W002", "Content lies in the content folder. Find out what this is for.")
def versions_have_one_folder(facts: ObjectFacts) -> Iterator[Remark]:
    """In a version's folder is no other folder than that of its content."""
    for folder in _other_folders(facts):
        yield Remark(place=f"{folder}/", value="a folder", limit="the content folder")


def _other_folders(facts: ObjectFacts) -> list[str]:
    found = dict.fromkeys(
        "/".join(path.split("/")[:2])
        for path, entry in facts.entries.items()
        if ocfl.version_number(path.partition("/")[0]) and _depth(path, is_folder=entry.is_folder) >= 2
    )
    listed = {"/".join(path.split("/")[:2]) for file in facts.inventories.values() for path in file.paths}
    known = _content_names(facts)
    return [folder for folder in found if folder.partition("/")[2] not in known and folder not in listed]


def _depth(path: str, *, is_folder: bool) -> int:
    """How many folders a path goes through, itself included if it is one."""
    return path.count("/") + is_folder


def _content_names(facts: ObjectFacts) -> set[str]:
    return {each.content_name for each in facts.inventories.values()} or {ocfl.CONTENT}


@object_rule("E024", "An empty folder cannot be kept. Remove it, or deposit a file in it.")
def content_has_no_empty_folders(facts: ObjectFacts) -> Iterator[Remark]:
    """No empty folder lies below a content folder."""
    for path, entry in facts.entries.items():
        parts = path.split("/")
        if entry.is_folder and len(parts) > 2 and parts[1] in _content_names(facts):
            yield Remark(place=f"{path}/", value="an empty folder", limit="files")


@object_rule("W003", "A version that adds no files has no content folder. Remove the empty one.")
def content_folders_have_files(facts: ObjectFacts) -> Iterator[Remark]:
    """A content folder holds files."""
    held = {tuple(path.split("/")[:2]) for path in facts.content_files()}
    empty = dict.fromkeys(
        tuple(path.split("/")[:2])
        for path, entry in facts.entries.items()
        if entry.is_folder and path.count("/") >= 1 and path.split("/")[1] in _content_names(facts)
    )
    for folder in empty:
        if folder not in held and ocfl.version_number(folder[0]):
            yield Remark(place=f"{'/'.join(folder)}/", value="no files", limit="no folder, or files")


# ---------------------------------------------------------------------------------------- extensions


@object_rule("E067", "In extensions lie folders alone, each named by its extension. Move the rest out.")
def extensions_are_folders(facts: ObjectFacts) -> Iterator[Remark]:
    """The object's ``extensions`` holds folders."""
    for path, entry in facts.entries.items():
        folder, _, name = path.partition("/")
        if folder == ocfl.EXTENSIONS and name and "/" not in name and not entry.is_folder:
            yield Remark(place=path, value=f"a {entry.kind}", limit="folders of extensions")


@object_rule("W013", "Registered extensions are known to other software; what this one does, only you know.")
def extensions_are_registered(facts: ObjectFacts) -> Iterator[Remark]:
    """Extensions of the object are registered ones."""
    names = dict.fromkeys(
        path.split("/")[1]
        for path, entry in facts.entries.items()
        if path.startswith(f"{ocfl.EXTENSIONS}/") and _depth(path, is_folder=entry.is_folder) >= 2
    )
    for name in names:
        if name not in ocfl.REGISTERED_EXTENSIONS:
            yield Remark(place=f"{ocfl.EXTENSIONS}/{name}/", value=name, limit="a registered extension")


# ------------------------------------------------------------------------------------- in its storage root


@object_rule("E081", "Keep the object in a storage root of its own version of OCFL, or a later one.")
def object_is_not_later_than_its_root(facts: ObjectFacts) -> Iterator[Remark]:
    """The object follows the version of OCFL of its storage root, or an earlier one."""
    root, own = facts.root.spec_version, facts.spec_version
    if root in ocfl.VERSIONS and own in ocfl.VERSIONS and own > root:
        yield Remark(place="", value=f"OCFL {own}", limit=f"OCFL {root}, as the storage root, or earlier")


@object_rule("E083", "Find out how it came there: nobody who asks for the object by its identifier finds it.")
def object_lies_where_the_layout_puts_it(facts: ObjectFacts) -> Iterator[Remark]:
    """The object's place follows from its identifier."""
    expected = facts.root.layout_path
    if expected is not None and expected != facts.place:
        yield Remark(place="", value=facts.place, limit=expected)
