"""OCFL 1.1: names, versions, layout extensions, validation codes.

Source: Oxford Common File Layout Specification 1.1 (text 1.1.1, November 2024), its validation codes, and the
community extensions' texts.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass

DOCUMENT = "OCFL 1.1"
VERSION = "1.1"
"""What is written here."""
VERSIONS = ("1.0", "1.1")
"""What is read here, the oldest first."""

INVENTORY = "inventory.json"
CONTENT = "content"
"""The content directory, if the inventory names none (section 3.3.1)."""
LOGS = "logs"
EXTENSIONS = "extensions"
LAYOUT_FILE = "ocfl_layout.json"
CONFIG_FILE = "config.json"
"""Of an extension, in ``extensions/NAME/``."""
NAMASTE = "0="
OBJECT_VALUE, ROOT_VALUE = "ocfl_object_", "ocfl_"
OBJECT_DECLARATION = re.compile(r"0=ocfl_object_([0-9]+\.[0-9]+)")
ROOT_DECLARATION = re.compile(r"0=ocfl_([0-9]+\.[0-9]+)")
VERSION_NAME = re.compile(r"v(0*[1-9][0-9]*)", re.ASCII)
INVENTORY_TYPES = {version: f"https://ocfl.io/{version}/spec/#inventory" for version in VERSIONS}


def object_declaration(version: str = VERSION) -> tuple[str, bytes]:
    """Return the name and the content of the file that declares an object (section 3.2)."""
    return f"{NAMASTE}{OBJECT_VALUE}{version}", f"{OBJECT_VALUE}{version}\n".encode()


def root_declaration(version: str = VERSION) -> tuple[str, bytes]:
    """Return the name and the content of the file that declares a storage root (section 4.2)."""
    return f"{NAMASTE}{ROOT_VALUE}{version}", f"{ROOT_VALUE}{version}\n".encode()


def sidecar_name(algorithm: str) -> str:
    """The file beside an inventory that holds its digest (section 3.6)."""
    return f"{INVENTORY}.{algorithm}"


def version_number(name: str) -> int:
    """The number of a version directory; 0 for a name that is none (section 3.3)."""
    match = VERSION_NAME.fullmatch(name)
    return int(match[1]) if match and len(name) <= _LONGEST_VERSION_NAME else 0


_LONGEST_VERSION_NAME = 20
"""More digits are no number of versions; a bound keeps numbers small."""

# -------------------------------------------------------------------------------------------- digests

SHA512, SHA256 = "sha512", "sha256"
CONTENT_ALGORITHMS = (SHA512, SHA256)
"""Of manifests and sidecars, the better first (section 3.4)."""
HEX_LENGTHS = {
    "md5": 32,
    "sha1": 40,
    "sha256": 64,
    "sha512": 128,
    "blake2b-512": 128,
    "blake2b-160": 40,
    "blake2b-256": 64,
    "blake2b-384": 96,
    "sha512/256": 64,
}
"""Digits of digests: those that must be known (section 3.4), then those of extension 0009."""
COMPULSORY_FIXITY = ("md5", "sha1", "sha256", "sha512", "blake2b-512")
SIZE = "size"
"""A fixity "algorithm" of extension 0009: bytes as a decimal number."""

# ----------------------------------------------------------------------------------------- extensions

FLAT_DIRECT = "0002-flat-direct-storage-layout"
HASH_AND_ID = "0003-hash-and-id-n-tuple-storage-layout"
HASHED = "0004-hashed-n-tuple-storage-layout"
OMIT_PREFIX = "0007-n-tuple-omit-prefix-storage-layout"

REGISTERED_EXTENSIONS = frozenset(
    {
        "0001-digest-algorithms",
        FLAT_DIRECT,
        HASH_AND_ID,
        HASHED,
        "0005-mutable-head",
        "0006-flat-omit-prefix-storage-layout",
        OMIT_PREFIX,
        "0008-schema-registry",
        "0009-digest-algorithms",
        "0010-differential-n-tuple-omit-prefix-storage-layout",
        "0011-direct-clean-path-layout",
        "0012-hash-and-no-prefix-id-n-tuple-storage-layout",
        "initial",
    }
)
EXTENSION_NAME = re.compile(r"(?:[0-9]{4}-[a-z0-9-]+|initial)", re.ASCII)
"""The form of registered names."""

# ---------------------------------------------------------------------------------------------- codes


@dataclass(frozen=True, slots=True, kw_only=True)
class Code:
    """One validation code: what it says in our words, and where the specification says it."""

    title: str
    section: str

    @property
    def source(self) -> str:
        """The place in the specification, as reports cite it."""
        return f"{DOCUMENT}, section {self.section}"


_TITLES: Mapping[str, Mapping[str, str]] = {
    "3.1": {"E001": "A file or folder that does not belong in an object's folder"},
    "3.2": {
        "E002": "The object's declaration is no namaste file",
        "E003": "No declaration of the object, or more than one",
        "E004": "The object's declaration is misnamed",
        "E005": "The tag of the object's declaration is not 0",
        "E006": "The object's declaration names no version of OCFL",
        "E007": "The object's declaration holds something else than its name says",
    },
    "3.3": {
        "E008": "The object has no version",
        "E009": "Versions do not begin at 1",
        "E010": "A version is missing",
        "E011": "A padded version does not begin with a zero",
        "E012": "Versions are numbered in different ways",
        "E013": "A new version leaves the way versions are numbered",
        "E014": "The inventory names versions otherwise than the disk",
        "E015": "A file that does not belong in a version's folder",
        "E104": "A version's folder does not begin with v",
        "E105": "A version's number is not a positive whole number",
        "W001": "Version numbers are padded with zeros",
        "W002": "A folder beside the content in a version's folder",
    },
    "3.3.1": {
        "E016": "A version with files has no content folder",
        "E017": "The name of the content folder holds a slash",
        "E018": "The name of the content folder is a dot or two",
        "E019": "The content folder was not named from the first version on",
        "E020": "The name of the content folder changes",
        "E021": "The content folder has another name than the inventory says",
        "E022": "Other folders of a version were not ignored",
        "E023": "A content file is not in the manifest",
        "E024": "An empty folder in the content",
        "E108": "The content folder is not directly in the version's folder",
        "W003": "A content folder without files",
    },
    "3.4": {
        "E025": "Content is not addressed by sha512 or sha256",
        "E026": "A fixity algorithm that no list has",
        "E027": "A compulsory fixity algorithm is not supported",
        "E028": "An optional fixity algorithm was not ignored",
        "E029": "A SHA-1 digest is not 40 hexadecimal digits",
        "E030": "A SHA-256 digest is not 64 hexadecimal digits",
        "E031": "A SHA-512 digest is not 128 hexadecimal digits",
        "E032": "A BLAKE2b digest is not hexadecimal digits of its length",
        "W004": "Content is not addressed by sha512",
    },
    "3.5": {
        "E033": "The inventory is not a JSON document of the right structure",
        "E034": "The inventory has another name",
        "E035": "Content paths are not separated by slashes",
        "E102": "The inventory has a key that is not specified",
    },
    "3.5.1": {
        "E036": "The inventory lacks a key that it must have",
        "E037": "The object's identifier is not one, or belongs to another object",
        "E038": "The inventory's type does not match the declaration",
        "E039": "Manifest or state use another digest algorithm than is named",
        "E040": "The head is not the last version",
        "E041": "The inventory lacks its manifest or its versions",
        "E110": "The object's identifier changes between versions",
        "W005": "The object's identifier is no URI",
    },
    "3.5.2": {
        "E042": "A content path does not lead into a version's content",
        "E092": "A content file is missing or damaged, or the manifest does not list paths",
        "E096": "A digest stands twice in the manifest",
        "E098": "A content path is no path",
        "E099": "A content path has a dot or an empty part",
        "E100": "A content path begins or ends with a slash",
        "E101": "Content paths are not unique",
        "E106": "The manifest is not a JSON object",
        "E107": "A digest of the manifest is in no version",
    },
    "3.5.3": {
        "E043": "The inventory has no versions",
        "E044": "The versions stand under another key",
        "E045": "The versions are not a JSON object",
        "E046": "The inventory's versions are not those on the disk",
        "E047": "A version in the inventory is not a JSON object",
    },
    "3.5.3.1": {
        "E048": "A version lacks its date or its state",
        "E049": "A version's date is not written as it must be",
        "E050": "A digest of a state is not in the manifest",
        "E051": "A logical path is no path",
        "E052": "A logical path has a dot or an empty part",
        "E053": "A logical path begins or ends with a slash",
        "E054": "A version's user has no name",
        "E094": "A version's message is not text",
        "E095": "Logical paths are not unique",
        "W007": "A version has no message or no user",
        "W008": "A version's user has no address",
        "W009": "The address of a version's user is no URI",
    },
    "3.5.4": {
        "E055": "The fixity block stands under another key",
        "E056": "The fixity block names an algorithm that no list has",
        "E057": "The fixity block has not the structure of a manifest",
        "E093": "A fixity digest does not match, or its file is missing",
        "E097": "A digest stands twice in the fixity block",
        "E111": "The fixity block is not a JSON object",
    },
    "3.6": {
        "E058": "An inventory without its digest beside it",
        "E059": "The inventory's digest is of another algorithm than it names",
        "E060": "The inventory's digest does not match",
        "E061": "The inventory's digest file is not written as it must be",
        "E062": "The inventory's digest was made too early",
    },
    "3.7": {
        "E063": "The object has no inventory",
        "E064": "The object's inventory is not that of its last version",
        "E066": "Inventories tell a version's state differently",
        "W010": "A version has no inventory of its own",
        "W011": "Inventories tell a version's date, message or user differently",
    },
    "3.7.1": {"E103": "A later version is of an older OCFL"},
    "3.8": {"W012": "Logs are kept outside the logs folder"},
    "3.9": {
        "E067": "Something else than folders of extensions in the object's extensions",
        "W013": "An extension of the object is not registered",
    },
    "4.1": {
        "E069": "The storage root is not declared",
        "E070": "The description of the layout cannot be read or lacks a key",
        "E071": "The layout is not named as a registered extension",
        "E072": "A file that belongs to no object",
        "E073": "An empty folder",
        "E074": "Storage roots depend on each other",
        "E087": "Unknown files in the storage root were not ignored",
        "E088": "A folder that leads to no object",
    },
    "4.2": {
        "E075": "The storage root's declaration is no namaste file",
        "E076": "No declaration of the storage root, or more than one",
        "E077": "The storage root's declaration is misnamed",
        "E078": "The tag of the storage root's declaration is not 0",
        "E079": "The storage root's declaration names no version of OCFL",
        "E080": "The storage root's declaration holds something else than its name says",
        "E081": "An object is of a later OCFL than the storage root",
    },
    "4.3": {
        "E082": "An object lies inside another",
        "E083": "An object does not lie where the layout puts it",
        "E084": "A file among the folders that lead to objects",
        "E085": "A branch of folders that does not end in an object",
        "W014": "Objects are laid out in more than one way",
        "W015": "Some objects lie in a hierarchy, some directly in the storage root",
    },
    "4.4": {
        "E112": "Something else than folders of extensions in the storage root's extensions",
        "W016": "An extension of the storage root is not registered",
    },
    "4.6": {
        "E089": "Special features of a file system are not wrapped",
        "E090": "A link",
    },
}

CODES: Mapping[str, Code] = {
    code: Code(title=title, section=section)
    for section, titles in _TITLES.items()
    for code, title in titles.items()
}
"""Every code of the specification's own list, E for errors, W for warnings."""

OF_ACTS = frozenset({"E013", "E022", "E027", "E028", "E062", "E074", "E087", "W012"})
"""Codes that speak of what software does: nothing at rest can show them."""
TOLD_AS: Mapping[str, tuple[str, ...]] = {
    "E026": ("E056",),
    "E072": ("E084", "E085", "E088"),
    "E110": ("E037",),
}
"""Codes that say in other words what those others say, which are told instead."""
