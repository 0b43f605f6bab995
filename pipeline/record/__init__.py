"""What a person writes, item.toml, pages.csv and solander.toml, as values; all errors told at once.

========================  =====================================================================
module                    what it knows
========================  =====================================================================
values                    dates, language maps, rights: what is no sensible value is told to a person
settings                  solander.toml
table, pages, masters     pages.csv, its frames and views, and the files in the masters' folder
sections                  runs of views, which nest
item                      item.toml, and what the files say of each other
places                    where in the record a frame or a session stands
========================  =====================================================================
"""

from pipeline.record.item import NAME as ITEM_TOML
from pipeline.record.item import ItemFolder, load_item
from pipeline.record.masters import image_files
from pipeline.record.settings import find_settings, load_settings
from pipeline.record.table import NAME as PAGES_CSV

__all__ = [
    "ITEM_TOML",
    "PAGES_CSV",
    "ItemFolder",
    "find_settings",
    "image_files",
    "load_item",
    "load_settings",
]
