"""An invented library's items: their text files, and a generator of their masters.

The library is Aldermoor Library. `write_texts` puts solander.toml and the item folders where they are
wanted, `tasks` says which masters belong into them, `draw` draws one; tasks can be sent to worker
processes, and the same task gives the same bytes in whatever order and process. What is true of the
target and flat frames is in `demo_data.truth`. Importing this module is cheap; drawing needs numpy and
libvips.
"""

from __future__ import annotations

import re
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from demo_data.plan import MasterTask

HERE = Path(__file__).parent
SETTINGS = "solander.toml"
ITEM_FILES = ("item.toml", "pages.csv")
_ITEMS = ("adl-ms-7", "adl-or-3", "adl-pap-3", "adl-tab-12", "adl-let-1823", "adl-alb-5")
TRIAL = "adl-trial-1"
"""A contractor's trial that is wrong on purpose; what is wrong with it is in `demo_data.truth`."""


def items() -> tuple[str, ...]:
    """The ids of the items, which are the names of their folders; the trial is the last."""
    return (*_ITEMS, TRIAL)


def write_texts(destination: Path, *, scale: float = 1.0) -> tuple[Path, ...]:
    """Write solander.toml and each item's text files into `destination`; returns the item folders.

    A file that is there already is left as it is. With a `scale` other than 1 the sessions' ppi are those
    of masters drawn at that scale. Raises OSError.
    """
    _write(HERE / SETTINGS, destination / SETTINGS, scale)
    for item in items():
        for name in ITEM_FILES:
            _write(HERE / item / name, destination / item / name, scale)
    return tuple(destination / item for item in items())


def tasks(destination: Path, *, only: tuple[str, ...] = ()) -> tuple[MasterTask, ...]:
    """The masters of all items, or of those named in `only`, for folders in `destination`, in order."""
    from demo_data.plan import tasks_of

    chosen = only or items()
    return tuple(task for item in chosen for task in tasks_of(item, destination / item))


def draw(task: MasterTask, *, scale: float = 1.0) -> Path:
    """Draw a master and write it to its place; returns the path.

    `scale` shrinks it: fewer pixels to the inch, said so in the file. The file appears when it is whole.
    Raises OSError.
    """
    from demo_data import plan, tiff

    picture = plan.picture_of(task, scale=scale)
    tiff.write(task.path, picture, plan.profile_of(task), plan.capture_of(task, scale=scale))
    return task.path


_PPI = re.compile(r"^ppi = ([0-9.]+)$", re.MULTILINE)


def _write(source: Path, destination: Path, scale: float) -> None:
    if destination.exists():
        return
    text = source.read_text(encoding="utf-8")
    if scale != 1:
        text = _PPI.sub(lambda found: f"ppi = {float(found[1]) * scale:g}", text)
    destination.parent.mkdir(parents=True, exist_ok=True)
    destination.write_text(text, encoding="utf-8", newline="\n")
