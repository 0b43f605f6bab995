"""Publication: a verified bundle becomes an item of a site of plain files, which any web server can serve."""

from pipeline.publish.publishing import Clock, Done, Outcome, Plan, Publisher, looked_at, opened
from pipeline.publish.record import Entry, Site

__all__ = ["Clock", "Done", "Entry", "Outcome", "Plan", "Publisher", "Site", "looked_at", "opened"]
