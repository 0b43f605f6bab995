"""`solander`: the group of all commands, and how errors become exit statuses."""

from __future__ import annotations

import gc
import os
import sys
from collections.abc import Sequence
from pathlib import Path

import click

from pipeline import __version__
from pipeline.cli import (
    _signals,
    audit,
    build,
    check,
    demo,
    deposit,
    new,
    preview,
    publish,
    retrieve,
    rules,
    spec,
    verify,
)
from pipeline.cli._render import error_document, say_error, show_json
from pipeline.errors import ExitStatus, Interrupted, PipelineError, ToolError


class _InOrderOfWork(click.Group):
    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(self.commands)


_EXIT_STATUSES = "\n".join(
    ["\b", "Exit status:", *(f"  {each.value:>3}  {each.meaning}" for each in ExitStatus)]
)


@click.group(
    cls=_InOrderOfWork,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
    epilog=_EXIT_STATUSES,
)
@click.version_option(__version__, prog_name="solander")
def solander() -> None:
    """Carry finished master images of physical items to readers and to long-term storage: measured,
    described, sealed in bundles, published, deposited, and proved by checksums at every step.
    """


for _command in (
    new.new,
    check.check,
    build.build,
    verify.verify,
    publish.publish,
    preview.preview,
    deposit.deposit,
    retrieve.retrieve,
    audit.audit,
    spec.spec,
    rules.rules,
    demo.demo,
):
    solander.add_command(_command)


def main(arguments: Sequence[str] | None = None) -> None:
    """Run the command line and leave with its exit status."""
    _open_closed_streams()
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="backslashreplace")  # a letter that the terminal lacks is no crash
    gc.set_threshold(100_000)  # values by the hundred thousand, hardly a cycle: looking for them took a tenth
    _signals.listen()
    status = int(run(arguments))
    _signals.ignore()  # all is said and done: a late Ctrl-C must not change the status
    gc.freeze()  # the process gives everything back at once: looking for cycles again took a thirtieth
    sys.exit(status)


def _open_closed_streams() -> None:
    """Give what is said a place to go where the caller closed a stream, as in `solander build … >&-`."""
    for name in ("stdout", "stderr"):
        if getattr(sys, name) is None:
            setattr(sys, name, Path(os.devnull).open("w", encoding="utf-8"))  # noqa: SIM115 - for the whole run


def run(arguments: Sequence[str] | None = None) -> ExitStatus:
    """Run the command line and return its exit status; only a crash of ours raises."""
    given = list(sys.argv[1:] if arguments is None else arguments)
    try:
        status = solander.main(args=given, prog_name="solander", standalone_mode=False)
    except click.exceptions.NoArgsIsHelpError as error:
        click.echo(error.format_message(), err=True)
        return ExitStatus.USAGE
    except click.UsageError as error:
        error.show()
        return ExitStatus.USAGE
    except click.ClickException as error:
        return _failed(ToolError(error.format_message()), given)
    except (click.Abort, KeyboardInterrupt):
        return _failed(Interrupted("interrupted"), given)
    except PipelineError as error:
        return _failed(error, given)
    except OSError as error:  # the library names its own; what is left is a terminal or a pipe
        say_error(f"{error.filename or 'standard output'}: {error.strerror or error}")
        return ExitStatus.TOOL
    except SystemExit:  # click's answer when nobody reads on, as in `solander rules | head`
        return ExitStatus.TOOL
    return ExitStatus(status) if isinstance(status, int) else ExitStatus.DONE


def _failed(error: PipelineError, arguments: Sequence[str]) -> ExitStatus:
    """Say what ended the whole run; with --json, to programs too."""
    say_error(error)
    if "--json" in arguments:
        show_json(error_document(error))
    return error.exit_status
