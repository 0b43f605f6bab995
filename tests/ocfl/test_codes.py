"""Every code has an object or a storage root that shows it; what is found is compared as an exact set."""

from __future__ import annotations

import json
import os
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from pipeline.findings import Report
from pipeline.ocfl import reading, validating, walking
from pipeline.ocfl.digesting import Hashers
from pipeline.ocfl.reading import ObjectFacts, RootFacts
from pipeline.specs import ocfl
from pipeline.stores import FolderStore
from tests import make_ocfl
from tests.make_ocfl import FIRST, Json, Object, an_object, to_bytes, two_versions

F1R, BAGIT = "v1/content/data/f1r.tif", "v2/content/bagit.txt"


def judged(folder: Path, *, root: RootFacts | None = None) -> Report:
    """The object in a folder, with its content read."""
    store = FolderStore(folder.parent)
    return validating.validate_object(read_all(reading.look(store, folder.name, root=root), folder))


def read_all(facts: ObjectFacts, folder: Path) -> ObjectFacts:
    digests = {path: _read(folder / path, said) for path, said in reading.claims(facts).items()}
    return reading.with_digests(facts, digests)


def _read(path: Path, algorithms: Any) -> dict[str, str]:
    hashers = Hashers(algorithms)
    hashers.update(path.read_bytes())
    return hashers.digests()


# -------------------------------------------------------------------------------------------- objects

Case = tuple[str, Callable[[Object], object]]


def files(**changes: bytes | None) -> Callable[[Object], object]:
    """Add files, or take them away; names have two underlines for a slash."""

    def change(made: Object) -> None:
        for name, data in changes.items():
            path = name.replace("__", "/")
            if data is None:
                made.removed.add(path)
            else:
                made.files[path] = data

    return change


def put(path: str, data: bytes = b"x") -> Callable[[Object], object]:
    return lambda made: made.files.update({path: data})


def lose(*paths: str) -> Callable[[Object], object]:
    return lambda made: made.removed.update(paths)


def root(change: Callable[[Json], object]) -> Callable[[Object], object]:
    return lambda made: made.root(change)


def set_key(key: str, value: object) -> Callable[[Object], object]:
    return root(lambda document: document.update({key: value}))


def drop_key(key: str) -> Callable[[Object], object]:
    return root(lambda document: document.pop(key))


def rename_key(key: str, to: str) -> Callable[[Object], object]:
    return root(lambda document: document.update({to: document.pop(key)}))


def in_head(key: str, value: object) -> Callable[[Object], object]:
    """A value in the block of version 2, of which no earlier inventory tells."""
    return root(lambda document: document["versions"]["v2"].update({key: value}))


def out_of_head(key: str) -> Callable[[Object], object]:
    return root(lambda document: document["versions"]["v2"].pop(key))


def path_in_state(path: str) -> Callable[[Object], object]:
    """Another logical path for the file that version 2 changed."""

    def change(document: Json) -> None:
        state = document["versions"]["v2"]["state"]
        digest = next(key for key, paths in state.items() if paths == ["bagit.txt"])
        state[digest] = [path] if path else "bagit.txt"

    return root(change)


def more_in_state(*paths: str) -> Callable[[Object], object]:
    def change(document: Json) -> None:
        state = document["versions"]["v2"]["state"]
        state[next(key for key, listed in state.items() if listed == ["bagit.txt"])] += paths

    return root(change)


def entry_in_manifest(change: Callable[[dict[str, Any], str], object]) -> Callable[[Object], object]:
    """Change the entry of the file that version 2 changed: the manifest, and its digest."""

    def changed(document: Json) -> None:
        manifest = document["manifest"]
        change(manifest, next(key for key, paths in manifest.items() if paths == [BAGIT]))

    return root(changed)


def fixity(algorithm: str, block: object) -> Callable[[Object], object]:
    return root(lambda document: document["fixity"].update({algorithm: block}))


def upper_twice(document: Json) -> None:
    block = document["fixity"]["md5"]
    digest = next(iter(block))
    block[digest.upper()] = block[digest]


def both(*changes: Callable[[Object], object]) -> Callable[[Object], object]:
    def change(made: Object) -> None:
        for each in changes:
            each(made)

    return change


def older(change: Callable[[Json], object]) -> Callable[[Object], object]:
    """Change version 1's own inventory alone."""
    return lambda made: change(made.inventories["v1"])


def renamed_versions(*names: str) -> Callable[[Object], object]:
    """Rename v1, v2 … on the disk and in all inventories."""

    def change(made: Object) -> None:
        wanted = dict(zip(("v1", "v2", "v3"), names, strict=False))
        for old, new in reversed(list(wanted.items())):
            made.files = {path.replace(f"{old}/", f"{new}/", 1): data for path, data in made.files.items()}
            made.inventories = {
                (new if folder == old else folder): _renamed(document, old, new)
                for folder, document in made.inventories.items()
            }

    return change


def _renamed(document: Json, old: str, new: str) -> Json:
    text = json.dumps(document).replace(f'"{old}"', f'"{new}"').replace(f'"{old}/', f'"{new}/')
    changed: Json = json.loads(text)
    return changed


SHORT = "0" * 10
OTHER = make_ocfl.digest(b"other")
DECLARATION = "0=ocfl_object_1.1"

OBJECTS: list[Case] = [
    ("", lambda made: None),
    ("E001", put("notes.txt")),
    ("E001", put("inventory.json.md5")),
    ("E001", put("stray/file.txt")),
    ("E003", lose(DECLARATION)),
    ("E003", put("0=ocfl_object_1.0", b"ocfl_object_1.0\n")),
    ("E002", both(lose(DECLARATION), put(f"{DECLARATION}/x"))),
    ("E004", both(lose(DECLARATION), put("ocfl_object_1.1"))),
    ("E005", both(lose(DECLARATION), put("1=ocfl_object_1.1"))),
    ("E006", both(lose(DECLARATION), put("0=ocfl_object_one"))),
    ("E007", put(DECLARATION, b"ocfl_object_1.0\n")),
    ("E015", put("v1/notes.txt")),
    ("W002", put("v1/thumbnails/a.jpg")),
    ("E016", lose(BAGIT)),
    ("E023", put("v1/content/data/.DS_Store")),
    ("E024", put("v1/content/data/empty/")),
    ("E033", both(put("v1/inventory.json", b"{"), put("v1/inventory.json.sha512", make_ocfl.sidecar(b"{")))),
    ("E034", both(lose("v1/inventory.json", "v1/inventory.json.sha512"), put("v1/Inventory.json"))),
    ("E102", set_key("note", "x")),
    ("E102", in_head("note", "x")),
    ("E036", drop_key("id")),
    ("E036", drop_key("type")),
    ("E036", drop_key("head")),
    ("E037", set_key("id", "")),
    ("E037", set_key("id", 4)),
    ("E037", older(lambda document: document.update(id="urn:example:other"))),
    ("E038", set_key("type", "https://example.org/inventory")),
    ("E038 E103", set_key("type", "https://ocfl.io/1.0/spec/#inventory")),
    ("E025", set_key("digestAlgorithm", "md5")),
    ("E039", set_key("digestAlgorithm", "sha256")),
    ("E040", set_key("head", "v1")),
    ("E040", set_key("head", ["v2"])),
    ("E017", set_key("contentDirectory", "content/data")),
    ("E018", set_key("contentDirectory", "..")),
    ("E108", set_key("contentDirectory", "")),
    ("E019", set_key("contentDirectory", "content")),
    ("E041", drop_key("manifest")),
    ("E106", set_key("manifest", [])),
    ("E023 E092 E093", entry_in_manifest(lambda manifest, digest: manifest.update({digest: BAGIT}))),
    ("E096", entry_in_manifest(lambda manifest, digest: manifest.update({digest.upper(): [F1R]}))),
    ("E031", entry_in_manifest(lambda manifest, digest: manifest.update({SHORT: ["v2/content/x"]}))),
    ("E107", entry_in_manifest(lambda manifest, digest: manifest.update({OTHER: ["v2/content/x"]}))),
    ("E042", entry_in_manifest(lambda manifest, digest: manifest[digest].append("v7/content/x"))),
    ("E035", entry_in_manifest(lambda manifest, digest: manifest[digest].append("v2\\content\\x"))),
    ("E098", entry_in_manifest(lambda manifest, digest: manifest[digest].append(""))),
    ("E099", entry_in_manifest(lambda manifest, digest: manifest[digest].append("v2/content/./x"))),
    ("E100", entry_in_manifest(lambda manifest, digest: manifest[digest].append("/v2/content/x"))),
    ("E101", entry_in_manifest(lambda manifest, digest: manifest[digest].append(BAGIT))),
    ("E043", drop_key("versions")),
    ("E044", rename_key("versions", "Versions")),
    ("E045", set_key("versions", [])),
    ("E047", root(lambda document: document["versions"].update(v2=[]))),
    ("E008", set_key("versions", {})),
    ("E048", out_of_head("created")),
    ("E048", out_of_head("state")),
    ("E049", in_head("created", "2031-05-02T10:00:00")),
    ("E050", in_head("state", {OTHER: ["bagit.txt"]})),
    ("E051", path_in_state("")),
    ("E052", path_in_state("data/../bagit.txt")),
    ("E053", path_in_state("bagit.txt/")),
    ("E095", more_in_state("data")),
    ("E094", in_head("message", ["x"])),
    ("E054", in_head("user", {"address": "mailto:a@example.org"})),
    ("W007", out_of_head("message")),
    ("W008", in_head("user", {"name": "A"})),
    ("W009", in_head("user", {"name": "A", "address": "somewhere"})),
    ("W005", lambda made: [each.update(id="ms-17") for each in made.inventories.values()]),
    ("E055", rename_key("fixity", "Fixity")),
    ("E111", set_key("fixity", None)),
    ("E056", fixity("crc32", {})),
    ("E057", fixity("md5", [])),
    ("E057", fixity("md5", {"0": [F1R]})),
    ("E029", fixity("sha1", {"0": [F1R]})),
    ("E030", fixity("sha256", {"0": [F1R]})),
    ("E032", fixity("blake2b-512", {"0": [F1R]})),
    ("E093", fixity("sha1", {make_ocfl.digest(b"other", "sha1"): [F1R]})),
    ("E093", fixity("sha1", {make_ocfl.digest(b"other", "sha1"): ["v1/content/not-there"]})),
    ("E097", root(upper_twice)),
    ("E058", lose("inventory.json.sha512")),
    ("E059", both(lose("v1/inventory.json.sha512"), put("v1/inventory.json.sha256", b"x"))),
    ("E060", put("inventory.json.sha512", f"{OTHER} inventory.json\n".encode())),
    ("E061", put("inventory.json.sha512", b"no digest\n")),
    ("E063", lose("inventory.json", "inventory.json.sha512")),
    ("E064", lambda made: made.inventories.update({"": {**made.inventories[""], "fixity": {}}})),
    ("E092", put(F1R, b"folio 1 RECTO")),
    ("E092", lose(F1R)),
    ("W010", lose("v1/inventory.json", "v1/inventory.json.sha512")),
    ("W011", older(lambda document: document["versions"]["v1"].update(message="else"))),
    ("E067", put("extensions/file.txt")),
    ("W013", put("extensions/ours/file.txt")),
    ("", put("extensions/0005-mutable-head/file.txt")),
    ("", put("logs/2031-05-04.txt")),
    ("E046 W003 W010", put("v3/content/")),
    ("W001", renamed_versions("v01", "v02")),
    ("E012 W001", renamed_versions("v01", "v2")),
    ("E009", renamed_versions("v2", "v3")),
    ("E010", renamed_versions("v1", "v3")),
    ("E001 E104", renamed_versions("1", "2")),
    ("E105", put("v0/x")),
]
"""What is changed of a good object of two versions, and the codes that this gives."""

LATER_OBJECTS = {
    "E010 E011 W001": lambda: _padded(),
    "E012 E014 E023 E040 E092 W001": lambda: _named_otherwise(),
    "E020": lambda: _three_content_folders(),
    "E021": lambda: _unnamed_content_folder(),
    "E066": lambda: _retold(),
    "E103": lambda: _back_to_1_0(),
    "W003": lambda: _empty_content_folder(),
    "W004": lambda: two_versions(algorithm="sha256"),
}
"""Objects that are made otherwise."""


def _padded() -> Object:
    made = an_object(FIRST, FIRST, {**FIRST, "x": b"x"})
    renamed_versions("v01", "v02", "v13")(made)
    return made


def _named_otherwise() -> Object:
    made = two_versions()
    made.files = {path.replace("v2/", "v02/"): data for path, data in made.files.items()}
    made.inventories["v02"] = made.inventories.pop("v2")
    return made


def _three_content_folders() -> Object:
    made = an_object(FIRST, {**FIRST, "x": b"x"}, FIRST)
    for folder in ("v1", "v3", ""):
        made.inventories[folder]["contentDirectory"] = "content"
    made.inventories["v2"]["contentDirectory"] = "stuff"
    return made


def _empty_content_folder() -> Object:
    made = an_object(FIRST, {"data/f1v.tif": FIRST["data/f1v.tif"]})
    made.files["v2/content/"] = b""
    return made


def _unnamed_content_folder() -> Object:
    made = an_object(FIRST)
    made.files = {path.replace("/content/", "/stuff/"): data for path, data in made.files.items()}
    made.inventories = {
        folder: json.loads(json.dumps(each).replace("/content/", "/stuff/"))
        for folder, each in made.inventories.items()
    }
    return made


def _retold() -> Object:
    made = two_versions()
    state = made.inventories["v1"]["versions"]["v1"]["state"]
    digest = next(key for key, paths in state.items() if paths == ["data/f1r.tif"])
    state[digest] = ["data/f1x.tif"]
    return made


def _back_to_1_0() -> Object:
    made = an_object(FIRST, {**FIRST, "x": b"x"}, FIRST)
    made.inventories["v2"]["type"] = ocfl.INVENTORY_TYPES["1.0"]
    return made


def written(made: Object, folder: Path) -> Path:
    """Write an object; paths that end in a slash are empty folders."""
    for path in [path for path in made.files if path.endswith("/")]:
        (folder / path).mkdir(parents=True)
        del made.files[path]
    return made.write(folder)


@pytest.mark.parametrize(("codes", "change"), OBJECTS, ids=[f"{n}-{c[0]}" for n, c in enumerate(OBJECTS)])
def test_what_is_wrong_with_an_object_is_told_by_its_code(
    tmp_path: Path, codes: str, change: Callable[[Object], object]
) -> None:
    made = two_versions()
    change(made)
    found = judged(written(made, tmp_path / "object"))
    assert found.codes >= set(codes.split()), found.findings
    assert found.codes <= set(codes.split()) | _follows(codes), found.findings


FOLLOWING = {
    "E006": {"E038"},
    "E008": {"E107", "E040", "E046"},
    "E009": {"E040"},
    "E010": set(),
    "E017": {"E019"},
    "E018": {"E019", "E108"},
    "E025": {"E059"},
    "E031": {"E092", "E107"},
    "E036": set(),
    "E039": {"E059", "W004"},
    "E041": {"E023", "E050", "E092", "E093"},
    "E042": {"E092"},
    "E043": {"E046", "E066", "E107"},
    "E044": {"E046", "E107"},
    "E045": {"E046", "E107"},
    "E047": {"E046", "E040", "E107"},
    "E048": {"E107"},
    "E050": {"E107", "E066"},
    "E051": {"E107"},
    "E057": set(),
    "E096": {"E101", "E107", "E092"},
    "E098": {"E092"},
    "E099": {"E092"},
    "E100": {"E092"},
    "E106": {"E023", "E050", "E092", "E093"},
    "E107": {"E092"},
    "E108": {"E019"},
    "E035": {"E092"},
    "E003": {"E081"},
}
"""What else is true then: where the manifest is gone, nothing is listed in it."""


def _follows(codes: str) -> set[str]:
    return set().union(*(FOLLOWING.get(code, set()) for code in codes.split()))


@pytest.mark.parametrize("codes", LATER_OBJECTS)
def test_what_is_wrong_between_versions_is_told_by_its_code(tmp_path: Path, codes: str) -> None:
    assert judged(written(LATER_OBJECTS[codes](), tmp_path / "object")).codes == set(codes.split())


def test_links_and_special_files_are_told_and_not_read(tmp_path: Path) -> None:
    place = two_versions().write(tmp_path / "object")
    secret = tmp_path / "secret"
    secret.write_bytes((place / F1R).read_bytes())
    (place / F1R).unlink()
    (place / F1R).symlink_to(secret)
    os.mkfifo(place / "v1/content/data/pipe")
    (place / "v1/content/data/again.tif").hardlink_to(place / "v1/content/data/f1v.tif")
    found = judged(place)
    assert found.codes == {"E089", "E090", "E023"}
    assert [each.place for each in found.findings if each.code == "E090"] == [
        "v1/content/data/again.tif",
        F1R,
        "v1/content/data/f1v.tif",
    ]


def test_an_object_must_fit_its_storage_root(tmp_path: Path) -> None:
    place = two_versions().write(tmp_path / "object")
    assert judged(place, root=RootFacts(spec_version="1.0", layout_path="a/b")).codes == {"E081", "E083"}
    assert judged(place, root=RootFacts(spec_version="1.1", layout_path="object")).codes == set()


# --------------------------------------------------------------------------------------- storage roots


def a_root(tmp_path: Path) -> Path:
    return make_ocfl.a_root(tmp_path / "store", two_versions(), two_versions(object_id="urn:example:ms-18"))


def root_codes(store: Path) -> set[str]:
    return set(validating.validate_root(walking.walk_root(FolderStore(store))).codes)


def inner(store: Path) -> Path:
    return next(store.glob("???"))


def write(store: Path, name: str, data: bytes = b"x") -> None:
    (store / name).parent.mkdir(parents=True, exist_ok=True)
    (store / name).write_bytes(data)


def writing(name: str, data: bytes = b"x") -> Callable[[Path], None]:
    return lambda store: write(store, name, data)


def remake(name: str, data: bytes = b"x") -> Callable[[Path], None]:
    """Another declaration in place of the right one."""

    def change(store: Path) -> None:
        (store / "0=ocfl_1.1").unlink()
        write(store, name, data)

    return change


def undeclared(store: Path) -> None:
    (store / "0=ocfl_1.1").unlink()


def beside_objects(name: str) -> Callable[[Path], None]:
    return lambda store: write(inner(store), name)


def empty_folder(store: Path) -> None:
    (inner(store) / "empty").mkdir()


def linked(store: Path) -> None:
    (inner(store) / "link").symlink_to("/etc/hostname")


def nested(store: Path) -> None:
    place = next(store.glob("???/???/???/*"))
    two_versions(object_id="urn:example:inner").write(place / "inner")


def another_at(place: str) -> Callable[[Path], None]:
    def change(store: Path) -> None:
        two_versions(object_id="urn:example:a").write(store / place)

    return change


LAYOUT_FILE = "ocfl_layout.json"
ROOTS: list[tuple[str, Callable[[Path], None]]] = [
    ("", lambda store: None),
    ("", writing("README.txt")),
    ("E069", undeclared),
    ("E075", remake("0=ocfl_1.1/x")),
    ("E076", writing("0=ocfl_1.0", b"ocfl_1.0\n")),
    ("E077", remake("0=oxford_1.1")),
    ("E078", remake("1=ocfl_1.1")),
    ("E079", remake("0=ocfl_9")),
    ("E080", writing("0=ocfl_1.1", b"ocfl_1.1")),
    ("E070", writing(LAYOUT_FILE, b"{")),
    ("E070", writing(LAYOUT_FILE, to_bytes({"extension": make_ocfl.LAYOUT}))),
    ("E071", writing(LAYOUT_FILE, to_bytes({"extension": "hashed", "description": "x"}))),
    ("E112", writing("extensions/notes.txt")),
    ("W016", writing("extensions/ours/a")),
    ("E073", empty_folder),
    ("E084", beside_objects("notes.txt")),
    ("E085", beside_objects("zzz/a")),
    ("E088", writing("other/a")),
    ("E090", linked),
    ("E082", nested),
    ("W014", another_at("a/b")),
    ("W015", another_at("a")),
]


@pytest.mark.parametrize(("code", "change"), ROOTS, ids=[f"{n}-{c[0]}" for n, c in enumerate(ROOTS)])
def test_what_is_wrong_with_a_storage_root_is_told_by_its_code(
    tmp_path: Path, code: str, change: Callable[[Path], None]
) -> None:
    store = a_root(tmp_path)
    change(store)
    assert root_codes(store) == {code} - {""}


def test_every_code_that_something_at_rest_can_show_has_a_case() -> None:
    shown = {code for codes, _ in (*OBJECTS, *ROOTS) for code in codes.split()}
    shown |= {code for codes in LATER_OBJECTS for code in codes.split()} | {"E081", "E083", "E089", "E090"}
    registered = {code for register in validating.registers() for code in register.rules}
    assert shown == registered
    assert registered == set(ocfl.CODES) - ocfl.OF_ACTS - set(ocfl.TOLD_AS)


@pytest.mark.parametrize("register", validating.registers(), ids=lambda register: register.name)
def test_titles_and_sources_are_those_of_the_specifications_facts(register: Any) -> None:
    for code, rule in register.rules.items():
        assert rule.title == ocfl.CODES[code].title
        assert rule.source == ocfl.CODES[code].source
        assert (rule.level == "error") == code.startswith("E")
        assert rule.advice.endswith(".")
        assert rule.explanation
