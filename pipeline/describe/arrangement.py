"""How the views of an item are laid out: the behaviour of the whole, and the place of each view.

A bound volume is shown as openings, rectos on odd places and versos on even ones, counted over the views
that are turned to (section 3.4, paged; `docs/presentation.md`):

- covers, spine, edges, details, foldouts and loose faces are non-paged: they stand where they were listed
  and are not counted. The front board is counted if the first counted view is a verso, its pastedown;
- a view of an opening stands by itself (facing-pages) for a verso and a recto;
- half a leaf that has no row, between two neighbours whose labels say so, gets an empty place; so does
  the recto that the first verso needs;
- where a view of unknown side (a loose insert, a bookplate) would shift what follows, it is not counted.

Where rectos cannot be kept on odd places by these means, the volume is shown as individual views rather
than as wrong openings, and `Arrangement.doubt` says why. Order is never changed, whatever the direction.

Source: IIIF Presentation API 3.0, section 3.4 (behavior).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from pipeline.describe import wording
from pipeline.files import slug
from pipeline.foliation import Side
from pipeline.model import Frame, FrameKind, Item, ItemKind, LanguageMap, View
from pipeline.specs.iiif import Behavior
