"""Bags: their tag files read as they stand, their structure judged, and the digests of their files.

Source: RFC 8493 (BagIt 1.0); where a bag declares an older draft, what that draft asked for.
"""

# isort: off
# In the order of their codes: a rule that requires others comes after them.
from pipeline.verify.bag import declaration_rules
from pipeline.verify.bag import manifest_rules
from pipeline.verify.bag import payload_rules
from pipeline.verify.bag import tag_manifest_rules
from pipeline.verify.bag import info_rules
from pipeline.verify.bag import fetch_rules
from pipeline.verify.bag import profile_rules

# isort: on
from pipeline.verify.bag.facts import BAG, BagFacts
from pipeline.verify.bag.fixity_rules import FIXITY
from pipeline.verify.bag.reading import payload_algorithms, read_bag, tag_algorithms

__all__ = ["BAG", "FIXITY", "BagFacts", "payload_algorithms", "read_bag", "tag_algorithms"]

_WRITTEN_IN = (
    declaration_rules,
    manifest_rules,
    payload_rules,
    tag_manifest_rules,
    info_rules,
    fetch_rules,
    profile_rules,
)
"""Modules that add their rules to those of bags."""
