"""How a finding says where it is."""

from __future__ import annotations

from pipeline.model import Frame, Session

RECORD = "item.toml"
LIST = "pages.csv"


def of_frame(frame: Frame) -> str:
    """The row of pages.csv and the file: ``pages.csv, row 7: b14_0006.tif``; else the file alone."""
    name = str(frame.file) if frame.file is not None else frame.label
    return f"{LIST}, row {frame.row}: {name}" if frame.row else name


def of_session(session: Session) -> str:
    """The session's table in item.toml."""
    return f'{RECORD}, session "{session.identifier}"'
