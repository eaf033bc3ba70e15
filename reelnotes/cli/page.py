"""clockpage: the page that a phone shows to the cameras."""

from pathlib import Path
from typing import Annotated

import typer

from reelnotes.cli.console import bold
from reelnotes.cli.options import JsonOption, QuietOption, VerboseOption, speaking
from reelnotes.clocks.clockpage import write_clock_page


def register(app: typer.Typer) -> None:
    """Add this module's command to the program."""
    app.command(rich_help_panel="Before the trip")(clockpage)


def clockpage(
    target: Annotated[Path, typer.Argument(metavar="FILE", help="Where to write the page.")] = Path("clock.html"),
    as_json: JsonOption = False,
    quiet: QuietOption = False,
    verbose: VerboseOption = False,
) -> None:
    """Write a page that shows the time as text and code. Open it on the phone and film it once with every camera."""
    with speaking(as_json, quiet, verbose) as voice:
        written = write_clock_page(target)
        shown = bold(written)
        voice.out.print(f"Written: {shown}. Film it for a second or two with each camera, at any time of the day.")
        voice.result({"page": str(written)})
