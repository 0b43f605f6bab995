"""The pages of a site: an item with its views, the front, sets of volumes, what stands where an item was.

Values in, HTML as UTF-8 out; nothing is read but our own templates. Links to the site itself are
relative, so that a site works under any host name; only `canonical` and Open Graph, which are for machines
elsewhere, have the whole URL. What comes from a manifest is a stranger's text: it is escaped everywhere, and
only http and https links are followed.
"""

from __future__ import annotations

from pipeline.pages.asset_files import Asset, assets, lacks
from pipeline.pages.front import FrontPage, ItemCard, VolumesPage, front_page, volumes_page
from pipeline.pages.item import ItemPage, item_page
from pipeline.pages.tombstone import TombstonePage, tombstone_page

__all__ = [
    "Asset",
    "FrontPage",
    "ItemCard",
    "ItemPage",
    "TombstonePage",
    "VolumesPage",
    "assets",
    "front_page",
    "item_page",
    "lacks",
    "tombstone_page",
    "volumes_page",
]
