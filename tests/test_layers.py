"""The house has one direction: who may import whom, read from the sources."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parent.parent / "pipeline"

STAGES = ("start", "check", "derive", "describe", "wrap", "verify", "publish", "deposit", "audit", "measure")
"""Verbs in the order of the work, and what measures for them."""

LAYERS = (
    ("model", "measurements", "errors", "progress", "specs"),
    ("findings", "numerals"),
    ("verdict",),
    ("files", "digests", "foliation", "tarheaders"),
    ("master_names",),
    ("jsondoc", "tomldoc", "xmldoc", "html", "pdf", "images", "icc", "headers", "stores", "containers"),
    (
        "layout",
        "premisdoc",
        "receipts",
        "record",
        "specification",
        "delivery",
        "sampling",
        "bagprofile",
        "ocfl",
        "serve",
    ),
    ("report", "pages"),
    STAGES,
    ("frame",),
    ("workers", "bundles"),
    ("run", "acceptance", "publication", "preview", "storage"),
    ("cli",),
)
"""From the ground up: a module imports from its own layer and from those before it."""

DOORS: dict[str, set[str]] = {
    "lxml": {"xmldoc"},
    "jsonschema": {"jsondoc"},
    "jsonschema_rs": {"jsondoc"},
    "pyvips": {"images"},
    "openjpeg": {"images"},
    "click": {"cli"},
    "rich": {"cli"},
    "jinja2": {"html"},
    "matplotlib": {"report"},
    "distributed": {"workers"},
    "fsspec": {"stores"},
    "s3fs": {"stores"},
    "botocore": {"stores"},
    "sqlite3": {"audit"},
    "pikepdf": {"pdf"},
    **{
        library: set()
        for library in ("bagit", "colour", "iiif_prezi3", "ocfl", "moto", "tifffile", "imagecodecs")
    },
}
"""Which part of the house alone may import a library from outside; none, what the tests judge with."""

LATE = {
    "jsonschema",
    "jsonschema_rs",
    "openjpeg",
    "distributed",
    "jinja2",
    "matplotlib",
    "fsspec",
    "s3fs",
    "botocore",
    "pikepdf",
}
"""Libraries that are imported inside functions alone: they are heavy, or not always there."""


def _modules() -> list[Path]:
    return sorted(PACKAGE.rglob("*.py"))


@cache
def _tree(path: Path) -> ast.Module:
    return ast.parse(path.read_text(encoding="utf-8"))


def _part(path: Path) -> str:
    """The module or package directly below `pipeline` that a file belongs to."""
    return path.relative_to(PACKAGE).with_suffix("").parts[0]


def _imports(tree: ast.AST) -> Iterator[str]:
    """Yield every module that is imported anywhere in a source, with full names."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, "imports are absolute"
            assert node.module is not None
            yield from (f"{node.module}.{alias.name}" for alias in node.names)


def _parts_imported(path: Path) -> set[str]:
    known = {_part(module) for module in _modules()}
    names = (name.split(".") for name in _imports(_tree(path)) if name.startswith("pipeline."))
    return {name[1] for name in names if name[1] in known}


def _layer(part: str) -> int:
    return next(number for number, parts in enumerate(LAYERS) if part in parts)


MODULES = [pytest.param(path, id=str(path.relative_to(PACKAGE))) for path in _modules()]


def test_every_part_of_the_house_has_its_layer() -> None:
    parts = {_part(path) for path in _modules()} - {"__init__"}
    assert parts <= {part for layer in LAYERS for part in layer}


@pytest.mark.parametrize("path", MODULES)
def test_imports_go_one_way(path: Path) -> None:
    if _part(path) != "__init__":
        above = {part for part in _parts_imported(path) if _layer(part) > _layer(_part(path))}
        assert not above


@pytest.mark.parametrize("path", MODULES)
def test_stages_do_not_import_each_other(path: Path) -> None:
    if _part(path) in STAGES:
        others = _parts_imported(path) & set(STAGES) - {_part(path), "measure"}
        assert not others


def test_nothing_that_makes_is_imported_where_bundles_are_verified() -> None:
    making = {"wrap", "describe", "derive", "frame", "run"}
    for path in _modules():
        if _part(path) == "verify":
            assert not _parts_imported(path) & making


@pytest.mark.parametrize("path", MODULES)
def test_each_outside_library_has_one_door(path: Path) -> None:
    for name in _imports(_tree(path)):
        library = name.split(".")[0]
        assert _part(path) in DOORS.get(library, {_part(path)})


@pytest.mark.parametrize("path", MODULES)
def test_heavy_libraries_are_imported_late(path: Path) -> None:
    at_once = [node for node in _tree(path).body if isinstance(node, ast.Import | ast.ImportFrom)]
    libraries = {name.split(".")[0] for node in at_once for name in _imports(node)}
    assert not libraries & LATE


# ------------------------------------------------------------------------------ facts of standards

FACTS = re.compile(
    r"""https?://(?:www\.)?(?:
        iiif\.io/ | loc\.gov/ | w3\.org/ | purl\.org/ | ns\.adobe\.com/ | cipa\.jp/ | ocfl\.io/
        | id\.loc\.gov/ | creativecommons\.org/ | rightsstatements\.org/
    ) | ^BagIt-Version: | ^info:lc/ | ^urn:(?!solander:)""",
    re.VERBOSE,
)
"""Namespaces, profile URIs, vocabularies: what has its one home in `pipeline/specs`."""


def _texts(path: Path) -> Iterator[str]:
    """Yield the strings of a source, docstrings and other bare strings left out."""
    tree = _tree(path)
    bare = {id(node.value) for node in ast.walk(tree) if isinstance(node, ast.Expr)}
    for node in ast.walk(tree):
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in bare:
            yield node.value


@pytest.mark.parametrize("path", MODULES)
def test_facts_of_standards_have_their_one_home(path: Path) -> None:
    if _part(path) != "specs":
        assert [text for text in _texts(path) if FACTS.search(text)] == []
