"""Verdicts that tests of reports are made from."""

from __future__ import annotations

import datetime as dt
from html.parser import HTMLParser
from typing import Any

from pipeline.findings import Finding, Level, Report, Skipped
from pipeline.verdict import Sample, Verdict

NOW = dt.datetime(2031, 5, 4, 9, 30, tzinfo=dt.UTC)
MADE_BY = "solander 0.1.0"
HOSTILE = "<script>alert(1)</script>\"'&\u202egpj\u200b\xa0.exe\x07\x1b[31m\n\udcff{{ 7 * 7 }}"
SHOWN = r"\u202egpj\u200b\u00a0.exe\u0007\u001b[31m\u000a\udcff{{ 7 * 7 }}"
"""How its end is shown."""


def finding(level: Level = Level.ERROR, code: str = "I014", **changes: str) -> Finding:
    """Return a finding of a rule about bit depth."""
    said = {
        "title": "Bit depth is not the one agreed",
        "place": "data/masters/b14_0007.tif",
        "value": "3 × 8 bit",
        "limit": "3 × 16 bit",
        "source": "Delivery terms of the Aldermoor Library, section 4.2",
        "advice": "Export the master again from the raw file.",
    }
    return Finding(code=code, level=level, **(said | changes))


def altered(place: str = "data/masters/b14_0008.tif") -> Finding:
    """Return a finding that ends with the status of broken fixity."""
    return finding(
        code="B070", title="File is not what its checksum promises", place=place, source="RFC 8493, section 3"
    )


def report(*findings: Finding, skipped: tuple[Skipped, ...] = ()) -> Report:
    return Report(findings=findings, skipped=skipped)


SAMPLE = Sample(
    lot_size=404,
    accept=2,
    reject=3,
    basis="ISO 2859-1, level II, AQL 1.5, code letter H",
    seed="msb-014",
    frames=tuple(f"data/masters/b14_{number:04}.tif" for number in range(4, 404, 8)),
)


def verdict(*findings: Finding, **changes: Any) -> Verdict:
    """Return a verdict with these findings."""
    said: dict[str, Any] = {
        "name": "msb-014-preservation",
        "path": "disk-07/msb-014-preservation.tar",
        "kind": "tar archive",
        "report": report(*findings),
        "files": 431,
        "size_bytes": 37_200_000_000,
        "facts": (("BagIt version", "1.0"), ("Masters", "404 TIFF")),
        "terms": "Aldermoor delivery terms, version 2",
    }
    return Verdict(**(said | changes))


VOID = {"meta", "link", "br", "col", "img", "hr", "input"}


class Outline(HTMLParser):
    """What a page has; refuses elements that are not closed in order."""

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.ids: list[str] = []
        self.targets: list[str] = []
        self.links: list[str] = []
        self.sources: list[str] = []
        self.acting: list[str] = []
        self.headings: list[int] = []
        self.elements: list[str] = []
        self.text = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        values = {name: value or "" for name, value in attrs}
        self.open += [] if tag in VOID else [tag]
        self.elements.append(tag)
        self.ids += [values["id"]] if "id" in values else []
        self.targets += [values["aria-labelledby"]] if "aria-labelledby" in values else []
        if href := values.get("href"):
            (self.targets if href.startswith("#") else self.links).append(href.lstrip("#"))
        self.sources += [values[name] for name in ("src", "srcset", "action", "poster") if name in values]
        self.acting += [name for name in values if name.startswith("on")]
        self.acting += [tag] if tag in ("script", "iframe", "object", "link", "form", "base") else []
        self.headings += [int(tag[1])] if tag in ("h1", "h2", "h3", "h4") else []

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        if "style" not in self.open:
            self.text += data


def outline(page: bytes) -> Outline:
    """Return what a page has, held against what every page keeps to."""
    found = Outline()
    found.feed(page.decode())
    assert found.open == []
    assert found.acting == []
    assert len(found.ids) == len(set(found.ids))
    assert set(found.targets) <= set(found.ids)
    assert found.headings[0] == 1
    assert all(after <= before + 1 for before, after in zip(found.headings, found.headings[1:], strict=False))
    assert "\u202e" not in page.decode()
    assert "\x1b" not in page.decode()
    return found
