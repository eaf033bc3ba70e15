"""The options that every command shares, and the one handler that turns errors into exit codes."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Annotated

import typer
from rich.markup import escape

from reelnotes.cli.console import UNUSABLE, Voice
from reelnotes.records.problems import ReelnotesError

_OUT_HELP = "Where the outputs go (else: outputs/<name of the trip folder>, where you are or beside the trip you are in)."

TripArgument = Annotated[
    Path, typer.Argument(metavar="TRIP", help="The trip folder: clips, and if there are any, track and log.", show_default=False)
]
OutOption = Annotated[
    Path | None,
    typer.Option("--out", metavar="DIR", help=_OUT_HELP, show_default=False),
]
JsonOption = Annotated[bool, typer.Option("--json", help="Print the facts as JSON on stdout, and nothing else there.")]
QuietOption = Annotated[bool, typer.Option("--quiet", "-q", help="Say nothing; the exit code tells.")]
VerboseOption = Annotated[bool, typer.Option("--verbose", "-v", help="Tell each step, and show where an internal fault arose.")]


@contextmanager
def speaking(as_json: bool, quiet: bool, verbose: bool) -> Iterator[Voice]:
    """Run a command's body; errors become one sentence on stderr and exit code 2."""
    voice = Voice(as_json, quiet, verbose)
    voice.set_up_logging()
    try:
        yield voice
    except ReelnotesError as error:
        _fail(voice, str(error.problem))
    except KeyboardInterrupt:
        _fail(voice, "stopped; what was written so far is whole, and the same command goes on from there", code=130)
    except OSError as error:
        if verbose:
            raise
        where = error.filename or "the system"
        _fail(voice, f"{where}: {error.strerror or error} (is there space, and may you write there?)")
    except (typer.Exit, typer.Abort):
        raise
    # The last net: a person must never be shown a traceback, and must be told that it is our fault.
    except Exception as error:
        if verbose:
            raise
        fault = f"an internal fault, not yours: {type(error).__name__}: {error}"
        _fail(voice, f"{fault} (run it again with --verbose and report what it shows)")


def _fail(voice: Voice, sentence: str, code: int = UNUSABLE) -> None:
    Voice(quiet=False).err.print(f"[red]reelnotes:[/] {escape(sentence)}")
    voice.result({"error": sentence})
    raise typer.Exit(code)
