"""Builds a small item folder with generated masters, as a photographer would hand it in."""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path

from tests import make

NOW_EPOCH = 1773133200  # 2026-03-10T09:00:00Z

SETTINGS = """
[holder]
name = { en = "Aldermoor Library" }
homepage = "https://library.example.org/"
contact_email = "imaging@library.example.org"

[unit]
name = "Aldermoor imaging unit"

[publication]
base_url = "https://images.example.org"
tile_px = 128
access_long_edge_px = 200

[rights]
statement = "http://creativecommons.org/publicdomain/mark/1.0/"
credit = { en = "Aldermoor Library" }

[[equipment]]
id = "camera-2"
kind = "camera"
maker = "Kestrelworks"
model = "KW 100 back"
serial = "KW-SECRET-0417"
owned_from = 2023-01-15
sensor = "OneChipColorArea"

[[equipment]]
id = "lens-120"
kind = "lens"
maker = "Kestrelworks"
model = "Macro 120"
focal_length_mm = 120
"""

ITEM = """
[item]
id = "msb-014"
shelfmark = "MS B 14"
kind = "codex"
title = { en = "Herbal and calendar", la = "Herbarium cum calendario" }
date = "c. 1380"
date_range = [1370, 1395]
languages = ["la"]
material = "parchment"
extent = "ff. 2"
size_mm = [214, 152]
reading = "left-to-right"

[care]
cleared = true
assessed_by = "conservator"
assessed_on = 2026-03-02

[[session]]
id = "s1"
date = 2026-03-09
operator = "A. Secretoperator"
camera = "camera-2"
lens = "lens-120"
ppi = 600

[[section]]
label = { en = "Calendar" }
from = "f. 1r"
to = "f. 1v"
"""

PAGES = """file,label,kind,session,light,note
B14_0001.tif,front cover,cover,s1,,
B14_0002.tif,f. 1r,page,s1,,
B14_0003.tif,f. 1r,page,s1,raking,
B14_0004.tif,f. 1v,page,s1,,
,f. 2r,page,s1,,not captured
B14_0005.tif,f. 2v,page,s1,,
B14_T001.tif,,target,s1,,24-patch
B14_F001.tif,,flat,s1,,
"""


@dataclass(frozen=True, kw_only=True)
class World:
    """An item folder and the places that a run uses."""

    root: Path

    @property
    def item(self) -> Path:
        return self.root / "msb-014"

    @property
    def masters(self) -> Path:
        return self.item / "masters"

    @property
    def bundles(self) -> Path:
        return self.root / "bundles"

    @property
    def work(self) -> Path:
        return self.root / "work"

    def rewrite(self, name: str, old: str, new: str) -> None:
        """Change a text file of the item, or the settings: `old` must be there."""
        path = self.root / name if name == "solander.toml" else self.item / name
        text = path.read_text(encoding="utf-8")
        assert old in text
        path.write_text(text.replace(old, new), encoding="utf-8")


def world(root: Path) -> World:
    """Write settings, an item folder and its masters below `root`."""
    made = World(root=root)
    made.masters.mkdir(parents=True)
    (root / "solander.toml").write_text(SETTINGS, encoding="utf-8")
    (made.item / "item.toml").write_text(ITEM, encoding="utf-8")
    (made.item / "pages.csv").write_text(PAGES, encoding="utf-8")
    for number, line in enumerate(PAGES.splitlines()[1:]):
        name = line.split(",")[0]
        if name:
            # the two lights of f. 1r are of one size, and no two masters are alike
            pixels = make.picture(150, 200)
            for mark in range(8):
                top, left = 20 + 31 * (mark * (number + 2) % 5), 15 + 29 * ((mark + number) * 3 % 5)
                pixels[top : top + 12, left : left + 9 + mark] = 3000 * (number + 1)
            make.tiff(made.masters / name, pixels=pixels)
            os.utime(made.masters / name, (NOW_EPOCH - 9000 + number, NOW_EPOCH - 9000 + number))
    return made


def tree(folder: Path) -> dict[str, bytes]:
    """Every file below a folder with its bytes."""
    return {str(path.relative_to(folder)): path.read_bytes() for path in folder.rglob("*") if path.is_file()}
