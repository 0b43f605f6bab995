"""Verification: a bundle, one's own or a contractor's, is accepted or rejected by rules. Makes nothing."""
