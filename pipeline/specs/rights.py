"""What the rights URIs of Creative Commons and RightsStatements.org mean.

Both families of URI are given without ``http://`` or ``https://`` and with their slash at the end; look
up with `statement_of`. A URI of any other family has no statement here.

Source: creativecommons.org/licenses and /publicdomain; rightsstatements.org, version 1.0 vocabulary.
"""

from __future__ import annotations

import enum
import re
from dataclasses import dataclass


class Copyright(enum.StrEnum):
    """What a rights URI says of copyright: terms of the PREMIS copyrightStatus vocabulary."""

    COPYRIGHTED = "copyrighted"
    PUBLIC_DOMAIN = "public domain"
    UNKNOWN = "unknown"


@dataclass(frozen=True, slots=True, kw_only=True)
class RightsStatement:
    """What one rights URI means."""

    label: str
    """Its name in English."""
    copyright: Copyright
    is_licence: bool
    """True if it grants something beyond what copyright leaves free anyway."""


_LICENCE_NAMES = {
    "by": "Attribution",
    "by-sa": "Attribution-ShareAlike",
    "by-nd": "Attribution-NoDerivatives",
    "by-nc": "Attribution-NonCommercial",
    "by-nc-sa": "Attribution-NonCommercial-ShareAlike",
    "by-nc-nd": "Attribution-NonCommercial-NoDerivatives",
}

_STATEMENTS = {
    "InC": ("In Copyright", Copyright.COPYRIGHTED),
    "InC-OW-EU": ("In Copyright - EU Orphan Work", Copyright.COPYRIGHTED),
    "InC-EDU": ("In Copyright - Educational Use Permitted", Copyright.COPYRIGHTED),
    "InC-NC": ("In Copyright - Non-Commercial Use Permitted", Copyright.COPYRIGHTED),
    "InC-RUU": ("In Copyright - Rights-holder(s) Unlocatable or Unidentifiable", Copyright.COPYRIGHTED),
    "NoC-CR": ("No Copyright - Contractual Restrictions", Copyright.PUBLIC_DOMAIN),
    "NoC-NC": ("No Copyright - Non-Commercial Use Only", Copyright.PUBLIC_DOMAIN),
    "NoC-OKLR": ("No Copyright - Other Known Legal Restrictions", Copyright.PUBLIC_DOMAIN),
    "NoC-US": ("No Copyright - United States", Copyright.PUBLIC_DOMAIN),
    "CNE": ("Copyright Not Evaluated", Copyright.UNKNOWN),
    "UND": ("Copyright Undetermined", Copyright.UNKNOWN),
    "NKC": ("No Known Copyright", Copyright.UNKNOWN),
}

TERMS = tuple(_STATEMENTS)
"""The terms of RightsStatements.org, as they stand in its URIs."""

PUBLIC_DOMAIN_MARK = "http://creativecommons.org/publicdomain/mark/1.0/"

_LICENCE = re.compile(r"https?://creativecommons\.org/licenses/([a-z-]+)/([0-9.]+)/(?:[a-z]+/)?")
_MARK = re.compile(r"https?://creativecommons\.org/publicdomain/mark/1\.0/")
_ZERO = re.compile(r"https?://creativecommons\.org/publicdomain/zero/1\.0/")
_VOCABULARY = re.compile(r"https?://rightsstatements\.org/vocab/([A-Za-z-]+)/1\.0/")


def term_of(uri: str) -> str:
    """Return the term in a URI of RightsStatements.org, one of `TERMS` or not; nothing for another URI."""
    match = _VOCABULARY.fullmatch(uri)
    return match[1] if match else ""


def vocabulary_uri(term: str) -> str:
    """Return the URI of a term of RightsStatements.org."""
    return f"http://rightsstatements.org/vocab/{term}/1.0/"


def statement_of(uri: str) -> RightsStatement | None:
    """Return what a rights URI in its machine-readable form means, or None if it is of no known family."""
    if _MARK.fullmatch(uri):
        return RightsStatement(
            label="Public Domain Mark 1.0", copyright=Copyright.PUBLIC_DOMAIN, is_licence=False
        )
    if _ZERO.fullmatch(uri):
        return RightsStatement(label="CC0 1.0 Universal", copyright=Copyright.PUBLIC_DOMAIN, is_licence=True)
    if (licence := _LICENCE.fullmatch(uri)) and licence[1] in _LICENCE_NAMES:
        label = f"Creative Commons {_LICENCE_NAMES[licence[1]]} {licence[2]}"
        return RightsStatement(label=label, copyright=Copyright.COPYRIGHTED, is_licence=True)
    if (term := _VOCABULARY.fullmatch(uri)) and term[1] in _STATEMENTS:
        label, status = _STATEMENTS[term[1]]
        return RightsStatement(label=label, copyright=status, is_licence=False)
    return None
