"""The bagit library's opinion of a bag: a second one, by code that is not ours.

The only importer of bagit.
"""

from __future__ import annotations

import logging
from pathlib import Path

from pipeline.errors import InputError


def validate(bag: Path) -> tuple[str, ...]:
    """Return what the bagit library finds wrong with a bag; nothing if it is valid.

    Every file is read. Raises InputError if the folder is not a bag at all.
    """
    import bagit

    logging.getLogger("bagit").disabled = True  # it logs what it also raises
    try:
        opened = bagit.Bag(str(bag))
        opened.validate()
    except bagit.BagValidationError as error:
        return tuple(map(str, error.details)) or (error.message,)
    except (bagit.BagError, OSError, LookupError, ValueError) as error:  # it lets damaged tag files raise
        raise InputError(f"{bag}: is not a bag ({error})") from error
    return ()


def info(bag: Path) -> dict[str, str | list[str]]:
    """Return `bag-info.txt` as the bagit library reads it; a label that is repeated has a list of values.

    Raises InputError if the folder is not a bag at all.
    """
    import bagit

    try:
        return dict(bagit.Bag(str(bag)).info)
    except (bagit.BagError, OSError, LookupError, ValueError) as error:
        raise InputError(f"{bag}: is not a bag ({error})") from error
