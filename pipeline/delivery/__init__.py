"""Delivery specifications: a library's own terms for what contractors deliver.

A TOML file with a table ``[delivery]``, described in ``docs/deliveries.md``. `load` gives it as values
that answer questions (`pipeline.delivery.terms`); the rules of verification ask them.
"""

from pipeline.delivery.loading import load
from pipeline.delivery.patterns import Pattern, PatternError, compile_pattern, compile_regex
from pipeline.delivery.terms import (
    DEFAULT,
    BagTerms,
    ChecksumTerms,
    ColourMode,
    DeliverySpecification,
    Document,
    Folders,
    Gaps,
    Images,
    ImageTerms,
    MetadataTerms,
    Names,
    NameTerms,
    Role,
    SamplingTerms,
    Serialisation,
    TargetKind,
    TargetTerms,
    ViewTerms,
    clashing_fields,
)

__all__ = [
    "DEFAULT",
    "BagTerms",
    "ChecksumTerms",
    "ColourMode",
    "DeliverySpecification",
    "Document",
    "Folders",
    "Gaps",
    "ImageTerms",
    "Images",
    "MetadataTerms",
    "NameTerms",
    "Names",
    "Pattern",
    "PatternError",
    "Role",
    "SamplingTerms",
    "Serialisation",
    "TargetKind",
    "TargetTerms",
    "ViewTerms",
    "clashing_fields",
    "compile_pattern",
    "compile_regex",
    "load",
]
