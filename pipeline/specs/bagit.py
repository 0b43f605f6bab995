"""BagIt 1.0 and BagIt Profiles 1.4: file names, labels, path encoding, our profiles.

Source: RFC 8493 (October 2018), The BagIt File Packaging Format (V1.0); BagIt Profiles Specification 1.4.0.
"""

from __future__ import annotations

import re
from enum import StrEnum

VERSION = "1.0"
ENCODING = "UTF-8"
DECLARATION = f"BagIt-Version: {VERSION}\nTag-File-Character-Encoding: {ENCODING}\n"
"""The two lines of `DECLARATION_FILE` (RFC 8493, section 2.1.1)."""

VERSION_LINE = re.compile(r"BagIt-Version: ([0-9]+)\.([0-9]+)")
ENCODING_LINE = re.compile(r"Tag-File-Character-Encoding: (\S+)")
LOOSE_VERSION = re.compile(r"(?i)\s*BagIt-Version\s*:\s*([0-9]*)\.([0-9]+)\s*")
LOOSE_ENCODING = re.compile(r"(?i)\s*Tag-File-Character-Encoding\s*:\s*(\S+)\s*")
"""The lines as they must be, and as they may still be understood."""

DECLARATION_FILE = "bagit.txt"
INFO_FILE = "bag-info.txt"
FETCH_FILE = "fetch.txt"
PAYLOAD = "data"

LINE_CHARACTERS = 79
"""The longest line that `bag-info.txt` should have (RFC 8493, section 2.2.2)."""


def manifest_name(algorithm: str) -> str:
    """The payload manifest of one digest algorithm (RFC 8493, section 2.1.3)."""
    return f"manifest-{algorithm}.txt"


def tag_manifest_name(algorithm: str) -> str:
    """The tag manifest of one digest algorithm (RFC 8493, section 2.2.1)."""
    return f"tagmanifest-{algorithm}.txt"


class Label(StrEnum):
    """Labels of `bag-info.txt`: those that RFC 8493 reserves (section 2.2.2), then two of wide use."""

    SOURCE_ORGANIZATION = "Source-Organization"
    ORGANIZATION_ADDRESS = "Organization-Address"
    CONTACT_NAME = "Contact-Name"
    CONTACT_PHONE = "Contact-Phone"
    CONTACT_EMAIL = "Contact-Email"
    EXTERNAL_DESCRIPTION = "External-Description"
    BAGGING_DATE = "Bagging-Date"
    EXTERNAL_IDENTIFIER = "External-Identifier"
    BAG_SIZE = "Bag-Size"
    PAYLOAD_OXUM = "Payload-Oxum"
    BAG_GROUP_IDENTIFIER = "Bag-Group-Identifier"
    BAG_COUNT = "Bag-Count"
    INTERNAL_SENDER_IDENTIFIER = "Internal-Sender-Identifier"
    INTERNAL_SENDER_DESCRIPTION = "Internal-Sender-Description"

    PROFILE_IDENTIFIER = "BagIt-Profile-Identifier"
    """BagIt Profiles 1.4.0, Bag-Info."""
    SOFTWARE_AGENT = "Bag-Software-Agent"
    """In no standard; what software writes its name under."""


RESERVED_LABELS = frozenset(
    label for label in Label if label not in (Label.PROFILE_IDENTIFIER, Label.SOFTWARE_AGENT)
)
"""Labels that are compared without regard to case (RFC 8493, section 2.2.2)."""

# ---------------------------------------------------------------------------------------------- paths

_ENCODINGS = {"%": "%25", "\r": "%0D", "\n": "%0A"}
_TO_ENCODE = re.compile("[%\r\n]")
_ENCODED = re.compile("%25|%0[Dd]|%0[Aa]")
_DECODINGS = {code: letter for letter, code in _ENCODINGS.items()}


def encode_path(path: str) -> str:
    """Return a path as a manifest writes it: line ends and the per cent sign alone are encoded.

    Source: RFC 8493, section 2.1.3.
    """
    return _TO_ENCODE.sub(lambda found: _ENCODINGS[found[0]], path)


def decode_path(text: str) -> str:
    """Return the path that a manifest of a bag of version 1.0 means; undoes `encode_path`."""
    return _ENCODED.sub(lambda found: _DECODINGS[found[0].upper()], text)


def payload_oxum(size_bytes: int, files: int) -> str:
    """The value of ``Payload-Oxum``: octets and streams of the payload (RFC 8493, section 2.2.2)."""
    return f"{size_bytes}.{files}"


# ------------------------------------------------------------------------------------------- profiles

PROFILE_SPECIFICATION_VERSION = "1.4.0"
"""The version of BagIt Profiles that our profiles are written in."""

PUBLICATION_PROFILE = "https://solander.example.org/profiles/publication-1.0.json"
PRESERVATION_PROFILE = "https://solander.example.org/profiles/preservation-1.0.json"

PROFILE_FILES = {
    PUBLICATION_PROFILE: "publication.bagit-profile.json",
    PRESERVATION_PROFILE: "preservation.bagit-profile.json",
}
"""Our profiles by their identifiers: names of files in ``schemas/``. No other profile is ever fetched."""

SERIALIZATIONS = {
    "application/tar": "application/x-tar",
    "application/x-gtar": "application/x-tar",
    "application/x-gzip": "application/gzip",
    "application/x-compressed-tar": "application/gzip",
    "application/x-zip-compressed": "application/zip",
}
"""Media types of archives that profiles also use, and the registered or usual one."""
