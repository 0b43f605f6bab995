"""A storage root and the folders that lead to its objects: section 4."""

from __future__ import annotations

import re
from collections.abc import Iterator

from pipeline import jsondoc
from pipeline.errors import InputError
from pipeline.findings import Remark
from pipeline.ocfl.validating.inventory_rules import shown
from pipeline.ocfl.validating.register import root_rule, shared_rule
from pipeline.ocfl.walking import Hierarchy
from pipeline.specs import ocfl
from pipeline.stores import Kind

# ---------------------------------------------------------------------------------------- declaration

_LIKE = re.compile(r"(?P<tag>[^=]*)=(?P<value>.*)")


def _misnamed(facts: Hierarchy) -> list[str]:
    return [name for name in facts.root.declarations if not ocfl.ROOT_DECLARATION.fullmatch(name)]


@root_rule(
    "E075", "A declaration is a file whose name begins with 0= and says what the folder is. Make it anew."
)
def declaration_is_a_file(facts: Hierarchy) -> Iterator[Remark]:
    """The declaration is a file, not a folder of that name."""
    for name in facts.root.odd_declarations:
        yield Remark(place=name, value="no file", limit="a file")


@root_rule("E078", "Name it with the tag 0: 0=ocfl_1.1.")
def declaration_has_the_tag_0(facts: Hierarchy) -> Iterator[Remark]:
    """The name begins with 0."""
    for name in _misnamed(facts):
        match = _LIKE.fullmatch(name)
        if match and match["tag"] != "0":
            yield Remark(place=name, value=f'the tag "{match["tag"]}"', limit="0")


@root_rule("E077", "Name it 0=ocfl_1.1, or the version that the storage root is of.")
def declaration_is_that_of_a_root(facts: Hierarchy) -> Iterator[Remark]:
    """The value begins with ``ocfl_``."""
    for name in _misnamed(facts):
        if name.startswith(ocfl.NAMASTE) and not name.startswith(f"{ocfl.NAMASTE}{ocfl.ROOT_VALUE}"):
            yield Remark(place=name, value=name, limit="0=ocfl_ and the version")


@root_rule("E079", "Name it by the version of OCFL that the storage root follows: 0=ocfl_1.1.")
def declaration_names_a_version(facts: Hierarchy) -> Iterator[Remark]:
    """The version of the specification is one that there is."""
    for name in facts.root.declarations:
        match = ocfl.ROOT_DECLARATION.fullmatch(name)
        if name.startswith(f"{ocfl.NAMASTE}{ocfl.ROOT_VALUE}") and not (match and match[1] in ocfl.VERSIONS):
            yield Remark(place=name, value=name, limit=f"{' or '.join(ocfl.VERSIONS)} at its end")


@root_rule(
    "E069", "If this is a storage root, add the file 0=ocfl_1.1; else look whether the address is right."
)
def the_root_is_declared(facts: Hierarchy) -> Iterator[Remark]:
    """A file declares the storage root; a misspelt one is told by its own code."""
    if not facts.root.declarations and not facts.root.odd_declarations:
        yield Remark(place="", value="no declaration", limit="0=ocfl_1.1")


@root_rule("E076", "Remove the declaration that is not meant.")
def there_is_one_declaration(facts: Hierarchy) -> Iterator[Remark]:
    """One file declares the storage root."""
    named = sorted(name for name in facts.root.declarations if ocfl.ROOT_DECLARATION.fullmatch(name))
    if len(named) > 1:
        yield Remark(place="", value=", ".join(named), limit="one declaration")


@root_rule("E080", "Write the file anew: the part of its name after 0=, and one line feed.")
def declaration_holds_its_value(facts: Hierarchy) -> Iterator[Remark]:
    """The file's content is its name after ``0=``, and a line feed."""
    for name, content in facts.root.declarations.items():
        match = ocfl.ROOT_DECLARATION.fullmatch(name)
        if match and content != ocfl.root_declaration(match[1])[1]:
            yield Remark(place=name, value=f"{content[:40]!r}", limit=f'"{name[2:]}" and a line feed')


# --------------------------------------------------------------------------------------------- layout


@root_rule("E070", "Write it anew: a JSON object with the keys extension and description.")
def layout_has_its_keys(facts: Hierarchy) -> Iterator[Remark]:
    """``ocfl_layout.json`` is a JSON object with ``extension`` and ``description``."""
    if facts.root.layout_document is None:
        return
    try:
        document = jsondoc.parse(facts.root.layout_document, ocfl.LAYOUT_FILE)
    except InputError as error:
        yield Remark(place=ocfl.LAYOUT_FILE, value=error.message, limit="a JSON object")
        return
    for key in ("extension", "description"):
        if not isinstance(document, dict) or not isinstance(document.get(key), str):
            yield Remark(place=ocfl.LAYOUT_FILE, value=f"no text {key}", limit=key)


@root_rule(
    "E071", "Give the full name of a registered extension, such as 0004-hashed-n-tuple-storage-layout."
)
def layout_is_named_in_full(facts: Hierarchy) -> Iterator[Remark]:
    """The layout has the form of a registered name."""
    try:
        document = jsondoc.parse(facts.root.layout_document or b"{}", ocfl.LAYOUT_FILE)
    except InputError:
        return
    name = document.get("extension") if isinstance(document, dict) else None
    if isinstance(name, str) and not ocfl.EXTENSION_NAME.fullmatch(name):
        yield Remark(place=ocfl.LAYOUT_FILE, value=shown(name), limit="a registered extension")


# ------------------------------------------------------------------------------------------- extensions


@root_rule("E112", "In extensions lie folders alone, each named by its extension. Move the rest out.")
def extensions_are_folders(facts: Hierarchy) -> Iterator[Remark]:
    """The storage root's ``extensions`` holds folders."""
    for entry in facts.extensions:
        if entry.path.count("/") == 1 and not entry.is_folder:
            yield Remark(place=entry.path, value=f"a {entry.kind}", limit="folders of extensions")


@root_rule("W016", "Registered extensions are known to other software; what this one does, only you know.")
def extensions_are_registered(facts: Hierarchy) -> Iterator[Remark]:
    """Extensions of the storage root are registered ones."""
    names = dict.fromkeys(
        each.path.split("/")[1] for each in facts.extensions if each.path.count("/") + each.is_folder >= 2
    )
    for name in names:
        if name not in ocfl.REGISTERED_EXTENSIONS:
            yield Remark(place=f"{ocfl.EXTENSIONS}/{name}/", value=name, limit="a registered extension")


# ------------------------------------------------------------------------------------------- hierarchy


class _Leading:
    """The folders that lead to objects."""

    def __init__(self, facts: Hierarchy) -> None:
        self.folders: set[str] = {""}
        for each in facts.objects:
            above = each.place.rpartition("/")[0]
            while above not in self.folders:
                self.folders.add(above)
                above = above.rpartition("/")[0]

    def branch(self, path: str) -> str:
        """The uppermost folder of a path that leads to no object; empty for a file among those that do."""
        parts = path.split("/")[:-1]
        for at in range(1, len(parts) + 1):
            folder = "/".join(parts[:at])
            if folder not in self.folders:
                return folder
        return ""


@root_rule("E084", "Find out where it comes from; then move it out of the storage root.")
def no_files_lie_among_folders(facts: Hierarchy) -> Iterator[Remark]:
    """Folders that lead to objects hold folders alone."""
    leading = _Leading(facts)
    for entry in facts.strays:
        if entry.kind is Kind.FILE and not leading.branch(entry.path):
            yield Remark(place=entry.path, value="a file of no object", limit="folders alone")


@root_rule(
    "E085", "Look whether an object was lost or half written here; then bring it back, or move this out."
)
def every_branch_ends_in_an_object(facts: Hierarchy) -> Iterator[Remark]:
    """Folders below the first level lead to objects."""
    yield from _dead_branches(facts, is_top=False)


@root_rule("E088", "Find out what it is; then move it out of the storage root.")
def every_folder_leads_to_an_object(facts: Hierarchy) -> Iterator[Remark]:
    """Folders directly in the storage root lead to objects, but for its extensions."""
    yield from _dead_branches(facts, is_top=True)


def _dead_branches(facts: Hierarchy, *, is_top: bool) -> Iterator[Remark]:
    leading = _Leading(facts)
    branches: dict[str, list[str]] = {}
    for entry in facts.strays:
        branch = leading.branch(entry.path)
        if branch and entry.kind is Kind.FILE and ("/" not in branch) is is_top:
            branches.setdefault(branch, []).append(entry.path)
    for branch, files in branches.items():
        value = f"{len(files):,} files of no object"
        if version := next(filter(None, map(_VERSION.search, files)), None):
            value += f", among them {version[1]} of one that has no inventory"
        yield Remark(place=f"{branch}/", value=value, limit="objects")


_VERSION = re.compile(r"/(v0*1)/")
"""The first version of an object, in a path."""


@root_rule("E073", "Remove it, if no deposit is at work: it may be left of one that was cut off.")
def there_are_no_empty_folders(facts: Hierarchy) -> Iterator[Remark]:
    """No folder is empty."""
    for entry in (*facts.strays, *facts.extensions):
        if entry.is_folder:
            yield Remark(place=f"{entry.path}/", value="an empty folder", limit="no empty folders")


@root_rule("E082", "Move the inner object to a place of its own: it is not part of the outer one.")
def objects_lie_beside_each_other(facts: Hierarchy) -> Iterator[Remark]:
    """No object lies inside another."""
    for place in facts.nested:
        yield Remark(place=place, value="an object inside an object", limit="objects at the ends of branches")


@shared_rule(
    "E090", "Put the file or folder itself there. Links are followed nowhere: they may lead anywhere."
)
def there_are_no_links(facts: Hierarchy) -> Iterator[Remark]:
    """No links, pipes, sockets or devices lie outside of objects."""
    for entry in (*facts.strays, *facts.extensions):
        if entry.kind in (Kind.LINK, Kind.OTHER) or entry.links > 1:
            value = "a symbolic link" if entry.kind is Kind.LINK else "a hard link or special file"
            yield Remark(place=entry.path, value=value, limit="a file or folder")


@shared_rule("E037", "Find out which of the objects is meant; the other needs an identifier of its own.")
def identifiers_belong_to_one_object(facts: Hierarchy) -> Iterator[Remark]:
    """No two objects bear one identifier."""
    for object_id, places in facts.same_ids.items():
        yield Remark(
            place=places[0], value=f"{shown(object_id)}, also at {', '.join(places[1:])}", limit="one"
        )


@root_rule(
    "W014", "Keep objects of one storage root in one layout: nothing tells else where to look for one."
)
def there_is_one_layout(facts: Hierarchy) -> Iterator[Remark]:
    """Objects lie equally deep, if none lies directly in the storage root."""
    depths = {each.place.count("/") + 1 for each in facts.objects} - {1}
    if len(depths) > 1:
        value = f"objects {', '.join(map(str, sorted(depths)))} folders deep"
        yield Remark(place="", value=value, limit="one depth")


@root_rule(
    "W015", "Keep objects of one storage root in one layout: nothing tells else where to look for one."
)
def objects_are_flat_or_nested(facts: Hierarchy) -> Iterator[Remark]:
    """Either all objects lie directly in the storage root, or none does."""
    flat = sum(1 for each in facts.objects if "/" not in each.place)
    if 0 < flat < len(facts.objects):
        yield Remark(place="", value=f"{flat:,} of {len(facts.objects):,} objects", limit="all or none")
