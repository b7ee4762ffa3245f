"""The command `thermsim`: its commands, a file each, and the one place that turns errors into exit codes.

Everything heavy is imported inside the command that needs it, so that `--help` stays quick.
"""

from __future__ import annotations

import sys

import click

from thermsim import __version__
from thermsim.commands.afford import afford
from thermsim.commands.compare import compare
from thermsim.commands.inspect import inspect
from thermsim.commands.judge import judge
from thermsim.commands.materials import materials
from thermsim.commands.predict import predict
from thermsim.commands.prove import prove
from thermsim.commands.start import start
from thermsim.commands.step_response import step_response
from thermsim.commands.sweep import sweep
from thermsim.commands.terminal import Commands, HelpContext, nobody_reads, replace_letters
from thermsim.commands.warmup import warmup
from thermsim.errors import CaseError, MemoryLimitError, ThermsimError


@click.group(cls=Commands, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="thermsim", message="%(prog)s %(version)s")
def commands() -> None:
    """Predict how a chip's die and lid spread its heat, and how sure that is."""


commands.context_class = HelpContext
for command in (start, inspect, predict, compare, sweep, afford, warmup, judge, step_response, prove, materials):
    command.context_class = HelpContext
    commands.add_command(command)


def main() -> None:
    """Run the command; every failure a user can meet becomes its message and its exit code."""
    replace_letters()
    try:
        commands(standalone_mode=False)
        sys.stdout.flush()
    except CaseError as error:
        count = len(error.faults)
        click.echo(f"{error}\n{count} fault{'s' if count > 1 else ''}: nothing was computed", err=True)
        sys.exit(error.exit_code)
    except ThermsimError as error:
        click.echo(f"thermsim: {error}", err=True)
        sys.exit(error.exit_code)
    except MemoryError:
        click.echo(
            "thermsim: the memory that this process may have is used up; nothing half-written is left\n"
            "  remedy: ask for fewer samples or workers, or a coarser accuracy; `--memory` bounds what grids take",
            err=True,
        )
        sys.exit(MemoryLimitError.exit_code)
    except click.exceptions.Exit as leaving:
        sys.exit(leaving.exit_code)
    except click.ClickException as error:
        error.show()
        sys.exit(error.exit_code)
    except (KeyboardInterrupt, click.Abort):
        click.echo("thermsim: stopped; nothing half-written is left", err=True)
        sys.exit(130)
    except BrokenPipeError:
        nobody_reads()
