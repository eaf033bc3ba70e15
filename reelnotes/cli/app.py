"""The program: its commands in the order of a day's work."""

import io
import sys
from typing import Annotated

import typer

import reelnotes
from reelnotes.cli import bench, page, trip

app = typer.Typer(
    name="reelnotes",
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    rich_markup_mode="rich",
    context_settings={"help_option_names": ["-h", "--help"]},
)


def _version(asked: bool) -> None:
    if asked:
        typer.echo(f"reelnotes {reelnotes.__version__}")
        raise typer.Exit


@app.callback()
def program(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Show the version and leave.")
    ] = False,
) -> None:
    """Track, log and clips of a day on the water become one trip record: lengths, edit list, sorted clips, summary.

    Start with [bold]reelnotes check TRIP[/], then [bold]reelnotes run TRIP[/]. Nothing in the trip folder is ever changed.

    Exit codes: 0 done, 1 done but something was set aside, 2 wrong usage or nothing usable.
    """


trip.register(app)
bench.register(app)
page.register(app)


def main() -> None:
    """Entry point of the ``reelnotes`` command."""
    # Names are anybody's: a letter that the terminal does not have is no reason to stop.
    if isinstance(sys.stdout, io.TextIOWrapper):
        sys.stdout.reconfigure(errors="replace")
    app()
