"""Verification: a bundle, one's own or a contractor's, is accepted or rejected by rules. Makes nothing."""

from pipeline.verify.verifying import Options, Verified, registers, verify, verify_between, verify_payloads

__all__ = ["Options", "Verified", "registers", "verify", "verify_between", "verify_payloads"]
