"""`solander`: the group of all commands, and how errors become exit statuses."""

from __future__ import annotations

import sys
from collections.abc import Sequence

import click

from pipeline import __version__
from pipeline.cli import build, check, demo, new, rules, spec
from pipeline.cli._render import printable, say_error
from pipeline.errors import ExitStatus, Interrupted, PipelineError


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
    """Carry finished master images of one physical item to two sealed bundles: one for the web, one for
    long-term storage, each described, checked and proved by checksums.
    """


for _command in (new.new, check.check, build.build, spec.spec, rules.rules, demo.demo):
    solander.add_command(_command)


def main(arguments: Sequence[str] | None = None) -> None:
    """Run the command line and leave with its exit status."""
    sys.exit(int(run(arguments)))


def run(arguments: Sequence[str] | None = None) -> ExitStatus:
    """Run the command line and return its exit status; only a crash of ours raises."""
    try:
        status = solander.main(args=arguments, prog_name="solander", standalone_mode=False)
    except click.exceptions.NoArgsIsHelpError as error:
        click.echo(error.format_message(), err=True)
        return ExitStatus.USAGE
    except click.UsageError as error:
        error.show()
        return ExitStatus.USAGE
    except click.ClickException as error:
        say_error(printable(error.format_message()))
        return ExitStatus.TOOL
    except (click.Abort, KeyboardInterrupt):
        say_error(Interrupted("interrupted").message)
        return ExitStatus.INTERRUPTED
    except PipelineError as error:
        say_error(printable(str(error)))
        return error.exit_status
    except BrokenPipeError:
        return ExitStatus.TOOL
    return ExitStatus(status) if isinstance(status, int) else ExitStatus.DONE
