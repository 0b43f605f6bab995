from __future__ import annotations

import pytest

from pipeline.progress import SILENT, Progress


def test_nobody_listens_unless_asked(capfd: pytest.CaptureFixture[str]) -> None:
    listener: Progress = SILENT
    listener.start("frames", total=3)
    listener.advance()
    listener.advance(-1, size_bytes=-10)
    listener.say("kept")
    listener.finish()
    assert capfd.readouterr() == ("", "")
