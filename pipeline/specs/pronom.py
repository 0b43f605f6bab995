"""PRONOM: under which keys a format registry knows the formats of masters, and which version they have.

A format whose version a header does not tell has no entry: what cannot be known is left out.

Source: PRONOM technical registry (DROID signature file), entries fmt/353 and x-fmt/392; a classic TIFF
has no version mark, ``6.0`` is the convention (TIFF Revision 6.0, June 1992).
"""

from __future__ import annotations

from pipeline.model import MasterFormat

REGISTRY = "PRONOM"

KEYS = {
    MasterFormat.TIFF: "fmt/353",
    MasterFormat.JP2: "x-fmt/392",
}
"""Registry keys by format."""

VERSIONS = {MasterFormat.TIFF: "6.0"}
"""Versions by format."""
