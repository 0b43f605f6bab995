"""How findings and reports say where in the record something stands."""

from __future__ import annotations

from pipeline.model import Frame, Session
from pipeline.record.item import NAME as ITEM_TOML
from pipeline.record.table import NAME as PAGES_CSV


def of_frame(frame: Frame) -> str:
    """The row of pages.csv and the file: ``pages.csv, row 7: b14_0006.tif``; else the file alone."""
    name = str(frame.file) if frame.file is not None else frame.label
    return f"{PAGES_CSV}, row {frame.row}: {name}" if frame.row else name


def of_session(session: Session) -> str:
    """The session's table in item.toml."""
    return f'{ITEM_TOML}, session "{session.identifier}"'
