"""What is written on the pages, from words.toml: invented entries, letters, captions."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import numpy as np


def _read() -> dict[str, Any]:
    with Path(__file__).with_name("words.toml").open("rb") as file:
        return tomllib.load(file)


_WORDS = _read()
INCIPIT: str = _WORDS["herbal"]["incipit"]
COLOPHON: str = _WORDS["herbal"]["colophon"]
HEADINGS: dict[str, str] = _WORDS["herbal"]["headings"]
"""Red headings of the herbs' entries."""
_OPENINGS: list[str] = _WORDS["herbal"]["openings"]
_VIRTUES: list[str] = _WORDS["herbal"]["virtues"]
MONTHS: list[str] = _WORDS["calendar"]["months"]
DAYS: list[int] = _WORDS["calendar"]["days"]
CALENDAR: list[str] = _WORDS["calendar"]["entries"]
PAPYRUS: dict[str, list[str]] = _WORDS["papyrus"]
"""Lines by side, and the ``sums`` of the account."""
LETTERS: dict[str, list[list[str]]] = _WORDS["letters"]
"""Paragraphs by letter and page, with a mark of their place in front."""
ADDRESS: list[str] = _WORDS["letters"]["address"]
CAPTIONS: dict[str, list[str]] = _WORDS["album"]["captions"]
YEARS: dict[str, str] = _WORDS["album"]["years"]
RECEIPTS: list[str] = _WORDS["receipts"]["headings"]
RECEIPT_STEPS: list[str] = _WORDS["receipts"]["steps"]


def herb_entry(name: str, rng: np.random.Generator, sentences: int) -> str:
    """An entry of the herbal."""
    virtues = [str(each) for each in rng.permutation(_VIRTUES)[:sentences]]
    return " ".join(f"{each}." for each in (f"{name.capitalize()} {rng.choice(_OPENINGS)}", *virtues))


def roman(number: int) -> str:
    """Small Roman numerals, the last i long."""
    table = ((10, "x"), (9, "ix"), (5, "v"), (4, "iv"), (1, "i"))
    out = ""
    for value, letters in table:
        while number >= value:
            out += letters
            number -= value
    return f"{out[:-1]}j" if out.endswith("i") and len(out) > 1 else out
