"""Documents that rules of verification rest on, as findings cite them."""

from __future__ import annotations

COMMON_PRACTICE = "common practice, no source"
RFC_8493 = "RFC 8493 (BagIt 1.0), section "
BAGIT_DRAFT = "The BagIt File Packaging Format (draft, version 0.97), "
BAGIT_PROFILES = "BagIt Profiles 1.4.0, "
TIFF_6 = "TIFF 6.0, section "
