"""Deposit: bags into long-term storage (OCFL 1.1), version by version, and out of it again."""

from pipeline.deposit.bags import Bag
from pipeline.deposit.depositing import Deposited, Request, deposit
from pipeline.deposit.events import Depositor
from pipeline.deposit.planning import Changes
from pipeline.deposit.recovering import recover
from pipeline.deposit.retrieving import Retrieved, retrieve
from pipeline.deposit.roots import StorageRoot, open_or_make, open_root

__all__ = [
    "Bag",
    "Changes",
    "Deposited",
    "Depositor",
    "Request",
    "Retrieved",
    "StorageRoot",
    "deposit",
    "open_or_make",
    "open_root",
    "recover",
    "retrieve",
]
