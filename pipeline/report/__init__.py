"""Reports for people: the quality page, and the tables that the docs print from the code."""

from __future__ import annotations

from pathlib import Path

TEMPLATES = Path(__file__).parent / "templates"
