"""Item folders with a record and empty masters: a record is judged without looking into an image."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import pytest

from pipeline.errors import PipelineError, Problem, SettingsError
from pipeline.model import Item
from pipeline.record import ItemFolder, find_settings, load_item, load_settings

ITEM = """\
[item]
id = "alm-014"
shelfmark = "Alm. B 14"
kind = "codex"
title = { en = "Herbal and calendar", la = "Herbarium cum calendario" }
reading = "left-to-right"

[care]
cleared = true

[[session]]
id = "s1"
date = 2026-03-09
camera = "camera-2"
ppi = 600
"""

PAGES = """\
file,label,kind,session,light,note
B14_0001.tif,front cover,cover,s1,,
B14_0002.tif,f. 1r,page,s1,,
B14_0003.tif,f. 1v,page,s1,,
B14_0004.tif,f. 2r,page,s1,,
B14_0005.tif,f. 2v,page,s1,,
B14_T001.tif,,target,s1,,24-patch
"""

SETTINGS = """\
[holder]
name = "Aldermoor Library"

[[equipment]]
id = "camera-2"
kind = "camera"
owned_from = 2023-01-15
owned_until = 2026-06-30

[[equipment]]
id = "scanner-1"
kind = "scanner"

[[equipment]]
id = "lens-120"
kind = "lens"

[[equipment]]
id = "flash-left"
kind = "light"

[[equipment]]
id = "cradle"
kind = "support"

[[equipment]]
id = "patches"
kind = "target"
"""


@dataclass(frozen=True, kw_only=True)
class Record:
    """One item folder."""

    folder: Path

    @property
    def masters(self) -> Path:
        return self.folder / "masters"

    def load(self) -> ItemFolder:
        return load_item(self.folder, load_settings(find_settings(self.folder)))

    @property
    def item(self) -> Item:
        return self.load().item

    def error(self) -> PipelineError:
        with pytest.raises(PipelineError) as raised:
            self.load()
        return raised.value

    @property
    def problems(self) -> tuple[Problem, ...]:
        return self.error().problems

    @property
    def problem(self) -> Problem:
        """The one problem of a record that has exactly one."""
        problems = self.problems
        assert len(problems) == 1, "\n".join(map(str, problems))
        return problems[0]


def record(
    folder: Path,
    *,
    item: str = ITEM,
    more: str = "",
    pages: str | bytes = PAGES,
    settings: str = "",
    masters: Sequence[str] | None = None,
) -> Record:
    """Write an item folder; `masters` are the files that lie there, by default those that are listed."""
    made = Record(folder=folder)
    made.masters.mkdir(parents=True)
    (folder / "item.toml").write_text(item + more, encoding="utf-8")
    (folder / "pages.csv").write_bytes(pages if isinstance(pages, bytes) else pages.encode())
    if settings:
        (folder / "solander.toml").write_text(settings, encoding="utf-8")
    for name in _listed(pages) if masters is None else masters:
        path = made.masters / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.touch()
    return made


def _listed(pages: str | bytes) -> list[str]:
    text = pages.decode("utf-8-sig") if isinstance(pages, bytes) else pages
    first = (
        line.replace(";", ",").replace("\t", ",").split(",")[0].strip(' "') for line in text.splitlines()
    )
    return [name for name in first if name.lower().endswith((".tif", ".tiff", ".jp2"))]


def changed(text: str, old: str, new: str) -> str:
    """Replace `old`, which must be there once."""
    assert text.count(old) == 1, f"{old!r} is there {text.count(old)} times"
    return text.replace(old, new)


def settings_problem(path: Path, text: str) -> Problem:
    """The one problem of a solander.toml with that text."""
    path.write_text(text, encoding="utf-8")
    with pytest.raises(SettingsError) as raised:
        load_settings(path)
    assert len(raised.value.problems) == 1, raised.value
    return raised.value.problems[0]
