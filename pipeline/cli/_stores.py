"""Options that commands on long-term storage share."""

from __future__ import annotations

import getpass
import socket
from pathlib import Path
from typing import TYPE_CHECKING

import click

from pipeline.errors import InputError

if TYPE_CHECKING:
    from pipeline.deposit import Depositor
    from pipeline.model import Settings
    from pipeline.stores import Store

store_option = click.option(
    "--store",
    "address",
    metavar="URL",
    required=True,
    help="The store: a folder, or s3://bucket/prefix. Credentials come from the environment or ~/.aws.",
)
id_prefix_option = click.option(
    "--id-prefix",
    metavar="URI",
    default=None,
    help="What identifiers of objects begin with.  [default: id_prefix in solander.toml]",
)


def opened(address: str) -> Store:
    """Return the store at an address. Raises a usage error for what is none."""
    from pipeline.stores import open_store

    try:
        return open_store(address)
    except InputError as error:
        raise click.BadParameter(error.message, param_hint="'--store'") from error


def settings() -> Settings:
    """Return the unit's settings that apply in the current folder. Raises SettingsError."""
    from pipeline.record import find_settings, load_settings

    return load_settings(find_settings(Path.cwd()))


def depositor(unit: Settings, name: str | None, address: str | None) -> Depositor:
    """Return who deposits: as given, else the imaging unit, else the person at this machine."""
    from pipeline.deposit import Depositor
    from pipeline.model import AgentKind

    if name:
        return Depositor(name=name, address=address or "", kind=AgentKind.PERSON)
    known = unit.unit_name or unit.holder.contact_name
    if known:
        reached = (
            f"mailto:{unit.holder.contact_email}" if unit.holder.contact_email else unit.holder.identifier
        )
        return Depositor(name=known, address=address or reached)
    person = getpass.getuser()
    return Depositor(
        name=person, address=address or f"acct:{person}@{socket.gethostname()}", kind=AgentKind.PERSON
    )
