"""Documents that rules of verification rest on, as findings cite them."""

from __future__ import annotations

COMMON_PRACTICE = "common practice, no source"
RFC_8493 = "RFC 8493 (BagIt 1.0), section "
BAGIT_DRAFT = "The BagIt File Packaging Format (draft, version 0.97), "
BAGIT_PROFILES = "BagIt Profiles 1.4.0, "
TIFF_6 = "TIFF 6.0, section "
PRESENTATION_3 = "IIIF Presentation API 3.0, "
PRESENTATION_2 = "IIIF Presentation API 2.1, "
IMAGE_API_3 = "IIIF Image API 3.0, "
IMAGE_API_2 = "IIIF Image API 2.1, "
BCP_47 = "BCP 47 (RFC 5646), "
RFC_8259 = "RFC 8259 (JSON), section "
