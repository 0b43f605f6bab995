"""Deposit: bags into long-term storage (OCFL 1.1), version by version, and out of it again."""

from pipeline.deposit.bags import Bag
from pipeline.deposit.depositing import Deposited, Request, add_events, deposit, finish_abandoned
from pipeline.deposit.events import Depositor
from pipeline.deposit.later import LaterEvents, read_events
from pipeline.deposit.planning import Changes
from pipeline.deposit.recovering import recover
from pipeline.deposit.retrieving import Retrieved, retrieve, stored_id
from pipeline.deposit.roots import StorageRoot, open_or_make, open_root, root_to_write

__all__ = [
    "Bag",
    "Changes",
    "Deposited",
    "Depositor",
    "LaterEvents",
    "Request",
    "Retrieved",
    "StorageRoot",
    "add_events",
    "deposit",
    "finish_abandoned",
    "open_or_make",
    "open_root",
    "read_events",
    "recover",
    "retrieve",
    "root_to_write",
    "stored_id",
]
