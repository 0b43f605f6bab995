"""Credentials are never shown: what addresses and messages are stripped of before anyone sees them."""

from __future__ import annotations

import os
import re

_USER = re.compile(r"(?<=://)[^\s]*@")
"""To the last ``@``: secrets may hold ``/``, and people paste them as they are."""
_FURTHER = re.compile(r"[?#].*")
_SECRETS = ("AWS_SECRET_ACCESS_KEY", "AWS_SESSION_TOKEN", "AWS_ACCESS_KEY_ID")
_FEWEST_LETTERS = 4
"""A shorter secret is none, and would blot out words."""


def shown(address: str) -> str:
    """Return an address without user name, password, query and fragment: any of them may be a secret."""
    return _FURTHER.sub("", _USER.sub("", address, count=1))


def redacted(text: str) -> str:
    """Return what a store or a library said, without credentials in addresses or from the environment."""
    text = re.sub(r"\w+://[^\s'\"]+", lambda found: shown(found[0]), text)
    for name in _SECRETS:
        if len(secret := os.environ.get(name, "")) >= _FEWEST_LETTERS:
            text = text.replace(secret, "…")
    return text
