"""How a finding says where it is."""

from pipeline.record.places import of_frame, of_session

__all__ = ["of_frame", "of_session"]
