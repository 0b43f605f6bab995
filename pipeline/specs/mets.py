"""METS 1.12.1: namespace, section types, roles, location types, checksum names.

Source: METS schema 1.12.1 (October 2019).
"""

from __future__ import annotations

from pipeline.model import Algorithm, FrameKind
from pipeline.specs import mix, mods, premis

NAMESPACE = "http://www.loc.gov/METS/"
PREFIX = "mets"
SCHEMA_LOCATION = "http://www.loc.gov/standards/mets/mets.xsd"

CHECKSUM_TYPES = {
    Algorithm.SHA512: "SHA-512",
    Algorithm.SHA256: "SHA-256",
    Algorithm.SHA1: "SHA-1",
    Algorithm.MD5: "MD5",
}
"""CHECKSUMTYPE: with a hyphen, where bag manifests have none."""

MODS = "MODS"
MIX = "NISOIMG"
PREMIS_OBJECT = "PREMIS:OBJECT"
PREMIS_EVENT = "PREMIS:EVENT"
PREMIS_AGENT = "PREMIS:AGENT"
PREMIS_RIGHTS = "PREMIS:RIGHTS"
"""MDTYPE of the records that are wrapped."""

URL = "URL"
"""LOCTYPE of absolute and relative references alike."""

PHYSICAL, LOGICAL = "PHYSICAL", "LOGICAL"
"""TYPE of the two structure maps: common usage, not fixed by METS."""

MASTER, TARGET, ACCESS = "MASTER", "TARGET", "ACCESS"
"""USE of the file groups: common usage, not fixed by METS."""

# ------------------------------------------------------------------------- what records of others may have

NAMESPACE_2 = "http://www.loc.gov/METS/v2"
"""METS 2 (March 2025), another document type: recognised only."""

DIGESTS = {
    "MD5": "md5",
    "SHA-1": "sha1",
    "SHA-256": "sha256",
    "SHA-384": "sha384",
    "SHA-512": "sha512",
}
"""CHECKSUMTYPE by the names that bag manifests use; the others of the list are not computed."""

RECORD_NAMESPACES = {
    "MODS": mods.NAMESPACE,
    "NISOIMG": mix.NAMESPACE,
    "PREMIS": premis.NAMESPACE,
    "PREMIS:OBJECT": premis.NAMESPACE,
    "PREMIS:EVENT": premis.NAMESPACE,
    "PREMIS:AGENT": premis.NAMESPACE,
    "PREMIS:RIGHTS": premis.NAMESPACE,
}
"""The namespace that a record has, by the MDTYPE that announces it."""
RECORD_ROOTS = {
    "MODS": frozenset(("mods", "modsCollection")),
    "NISOIMG": frozenset(("mix",)),
    "PREMIS": frozenset(("premis", "object", "event", "agent", "rights")),
    "PREMIS:OBJECT": frozenset(("object",)),
    "PREMIS:EVENT": frozenset(("event",)),
    "PREMIS:AGENT": frozenset(("agent",)),
    "PREMIS:RIGHTS": frozenset(("rights",)),
}
"""The elements that such a record begins with."""

ADMINISTRATIVE = frozenset(("techMD", "rightsMD", "sourceMD", "digiprovMD"))
"""Sections that ADMID points at; a whole amdSec in practice too."""

CREATOR = "CREATOR"
"""ROLE of the agent that made the document."""

PAGE_TYPES = frozenset(
    (
        *(kind.value for kind in FrameKind if kind.is_reading_matter),
        *("doublepage", "double page", "double-page", "folio", "frame", "image", "leaf", "page spread"),
        *("recto", "verso", "side", "spread", "surface", "view"),
    )
)
"""TYPE of a division that is one thing to look at, in lower case: common usage, not fixed by METS."""
PROOF_TYPES = frozenset(
    (
        *(kind.value for kind in FrameKind if not kind.is_reading_matter),
        *("targets", "test target", "colour target", "color target", "colorchart", "colour chart"),
    )
)
"""TYPE of a division of frames that prove the image and show nothing of the item: common usage."""

NOT_CAPTURED = "not captured"
"""What the LABEL of a division says if it is known to have no image."""
