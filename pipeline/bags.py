"""The bagit library's opinion of a bag: a second one, by code that is not ours.

The only importer of bagit.
"""

from __future__ import annotations

import logging
from pathlib import Path
from typing import Any

from pipeline.errors import InputError


def validate(bag: Path) -> tuple[str, ...]:
    """Return what the bagit library finds wrong with a bag; nothing if it is valid.

    Every file is read. Raises InputError if the folder is not a bag at all.
    """
    import bagit

    try:
        _open(bag).validate()
    except bagit.BagValidationError as error:
        return tuple(map(str, error.details)) or (error.message,)
    return ()


def info(bag: Path) -> dict[str, str | list[str]]:
    """Return `bag-info.txt` as the bagit library reads it; a label that is repeated has a list of values.

    Raises InputError if the folder is not a bag at all.
    """
    return dict(_open(bag).info)


def _open(bag: Path) -> Any:
    import bagit

    logging.getLogger("bagit").disabled = True  # it logs what it also raises
    try:
        return bagit.Bag(str(bag))
    except (bagit.BagError, OSError, LookupError, ValueError) as error:  # damaged tag files raise anything
        raise InputError(f"{bag}: is not a bag ({error})") from error
