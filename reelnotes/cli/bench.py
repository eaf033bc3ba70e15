"""The measuring bench: a single clip or photo, a board to print, an own board, a lens. Outside any trip."""

from pathlib import Path
from typing import Annotated

import typer
from rich.markup import escape

from reelnotes import workbench
from reelnotes.cli import showing, sizes
from reelnotes.cli.console import DONE, DONE_WITH_SOME_SET_ASIDE, bold
from reelnotes.cli.options import JsonOption, QuietOption, VerboseOption, speaking
from reelnotes.records.problems import Refusal, UsageError

PANEL = "The measuring bench"
WITH_UNIT = f"with its unit ({sizes.UNITS})"

FolderOption = Annotated[Path, typer.Option("--to", metavar="DIR", help="Where to write.")]
ReplaceOption = Annotated[
    bool, typer.Option("--replace", help="Write over what is there already under this name, though it is not the same.")
]


def register(app: typer.Typer) -> None:
    """Add this module's commands to the program."""
    for command in (measure, board, enrol, lens):
        app.command(rich_help_panel=PANEL)(command)


def measure(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="A clip or a photo of a fish on a board.", show_default=False)],
    boards: Annotated[Path, typer.Option("--boards", metavar="DIR", help="Folder of board descriptors.")] = Path("boards"),
    lens: Annotated[Path | None, typer.Option("--lens", metavar="FILE", help="Lens calibration, if there is one.")] = None,
    to: FolderOption = Path(),
    units: Annotated[str, typer.Option("--units", help="What lengths are shown in: metric or imperial.")] = "metric",
    as_json: JsonOption = False,
    quiet: QuietOption = False,
    verbose: VerboseOption = False,
) -> None:
    """Measure the fish in one clip or photo, and write the picture that shows how."""
    with speaking(as_json, quiet, verbose) as voice:
        shown_in = sizes.choice("--units", units, ("metric", "imperial"))
        with voice.progress() as steps:
            found, problems = workbench.measure_one(file, boards, lens, to, steps, shown_in)
        showing.one_measure(voice, found, shown_in)
        code = max(voice.tell(problems), DONE if any(f.verdict == "measured" for f in found) else DONE_WITH_SOME_SET_ASIDE)
    raise typer.Exit(code)


def board(
    name: Annotated[str, typer.Option("--name", help="The board's name.")] = "printed board",
    length: Annotated[
        str, typer.Option("--length", metavar="LENGTH", help=f"From the stop to the far end, {WITH_UNIT}.")
    ] = "90 cm",
    width: Annotated[str, typer.Option("--width", metavar="LENGTH", help="Across; a sheet takes up to 18 cm.")] = "17 cm",
    paper: Annotated[str, typer.Option("--paper", help="a4 or letter.")] = "a4",
    unit: Annotated[str, typer.Option("--unit", help="Numbers of the rule: cm or in.")] = "cm",
    first_id: Annotated[int, typer.Option("--first-id", help="First marker number; give a second board others.")] = 0,
    to: FolderOption = Path("boards"),
    replace: ReplaceOption = False,
    as_json: JsonOption = False,
    quiet: QuietOption = False,
    verbose: VerboseOption = False,
) -> None:
    """Make a marker board to print: a PDF at true scale, and the descriptor and picture that measuring needs."""
    with speaking(as_json, quiet, verbose) as voice:
        called, rule = sizes.name(name), sizes.choice("--unit", unit, ("cm", "in"))
        length_mm, width_mm = sizes.some_mm("--length", length), sizes.some_mm("--width", width)
        sheets = sizes.choice("--paper", paper, ("a4", "letter"))
        made, problems = workbench.print_board(to, called, length_mm, width_mm, sheets, rule, first_id, replace=replace)
        voice.out.print(f"Print {bold(made[0])} at 100 %, check the bar on each sheet with a rule, cut, join, and glue it flat.")
        voice.out.print(f"Put {bold(made[1].name)} and {bold(made[2].name)} into the trip's boards/ folder.")
        voice.result({"pdf": str(made[0]), "descriptor": str(made[1]), "picture": str(made[2])})
        code = voice.tell(problems)
    raise typer.Exit(code)


def enrol(
    photo: Annotated[Path, typer.Argument(metavar="PHOTO", help="One photo of the empty board.", show_default=False)],
    name: Annotated[str, typer.Option("--name", help="The board's name.")] = "own board",
    at: Annotated[
        list[str] | None,
        typer.Option(
            "--at",
            metavar="X,Y=LENGTH",
            help=f"A graduation: its pixel and what it says, {WITH_UNIT}: 812,440=50cm. Two or more, far apart.",
        ),
    ] = None,
    tick: Annotated[
        str | None,
        typer.Option(
            "--tick",
            metavar="LENGTH",
            help="Instead of more than one --at: spacing of the rule's smallest even ticks, 1mm or 1/8in; with --width.",
        ),
    ] = None,
    corner: Annotated[
        list[str] | None,
        typer.Option("--corner", metavar="X,Y", help="All four: stop end by the rule, far end by the rule, far end, stop end."),
    ] = None,
    width: Annotated[
        str | None,
        typer.Option("--width", metavar="LENGTH", help="The board's width, if known; it is checked against the photo."),
    ] = None,
    to: FolderOption = Path("boards"),
    replace: ReplaceOption = False,
    as_json: JsonOption = False,
    quiet: QuietOption = False,
    verbose: VerboseOption = False,
) -> None:
    """Make an own board known from one photo: its picture seen square on, and its descriptor."""
    with speaking(as_json, quiet, verbose) as voice:
        called = sizes.name(name)
        marks = sizes.graduations(at or ())
        corners = [sizes.pixel("--corner", text) for text in corner or ()]
        if corners and len(corners) != 4:
            raise UsageError("--corner", f"{len(corners)} corners were given", "give all four, or none to have them looked for")
        tick_mm = None if tick is None else sizes.some_mm("--tick", tick)
        width_mm = None if width is None else sizes.some_mm("--width", width)
        if len(marks) < 2 and tick_mm is not None and width_mm is None:
            what = "the board's width must be given too: only by it are a rule's smallest ticks told from its longer ones"
            raise UsageError("--tick", what, "add --width, or give two graduations with --at")
        made = workbench.enrol_photo(photo, to, called, marks, tick_mm, corners, width_mm, replace=replace)
        if isinstance(made, Refusal):
            raise UsageError(str(photo), made.reason)
        enrolled, descriptor = made
        size = f"{enrolled.board.length_mm:.1f} by {enrolled.board.width_mm:.1f} mm"
        voice.out.print(f"{escape(enrolled.board.name)}: {size}; {enrolled.words}.")
        voice.out.print("Lay a rule along it: if it has another size, give graduations or corners, or the other unit.")
        picture = descriptor.with_suffix(".png")
        voice.out.print(f"Look at {bold(picture)}: it must show all of the board's top, x = 0 at the left, and no stop or side.")
        voice.out.print("Where it does not, give the top's four corners with --corner.")
        board_facts = {"length_mm": enrolled.board.length_mm, "width_mm": enrolled.board.width_mm, "rms_mm": enrolled.rms_mm}
        voice.result({"descriptor": str(descriptor), **board_facts, "words": enrolled.words})


def lens(
    clip: Annotated[Path, typer.Argument(metavar="CLIP", help="A clip of the pattern from many sides.", show_default=False)],
    name: Annotated[str, typer.Option("--name", help="The lens's name.")] = "own lens",
    checkerboard: Annotated[
        str | None,
        typer.Option("--checkerboard", metavar="COLSxROWS:LENGTH", help="Inner corners and the side of a square: 9x6:25mm."),
    ] = None,
    boards: Annotated[
        Path | None, typer.Option("--boards", metavar="DIR", help="Or: folder with a marker board's descriptor.")
    ] = None,
    to: FolderOption = Path("lenses"),
    replace: ReplaceOption = False,
    as_json: JsonOption = False,
    quiet: QuietOption = False,
    verbose: VerboseOption = False,
) -> None:
    """Calibrate a lens from a clip of a checkerboard or of a marker board.

    Film it near and far, tilted by some 30 degrees to each side, up and down, and out to the picture's corners.
    """
    with speaking(as_json, quiet, verbose) as voice:
        if (checkerboard is None) == (boards is None):
            said = "was not said" if boards is None else "was said twice"
            raise UsageError("lens", f"what the clip shows {said}", "give either --checkerboard or --boards")
        called = sizes.name(name)
        pattern = None if checkerboard is None else sizes.checkerboard(checkerboard)
        with voice.progress() as steps:
            made = workbench.calibrate_clip(clip, called, pattern, boards, to, steps, replace=replace)
        if isinstance(made, Refusal):
            raise UsageError(str(clip), made.reason)
        found, target = made
        focal = f"focal length {found.camera_matrix[0][0]:.0f} px ± {100 * (found.focal_sigma or 0):.2f} %"
        voice.out.print(f"{found.model} lens, {focal}, leaves {found.rms_px:.2f} px: {bold(target)}")
        told = {"model": found.model, "camera_matrix": found.camera_matrix, "distortion": found.distortion}
        voice.result({"lens": str(target), **told, "rms_px": found.rms_px, "focal_sigma": found.focal_sigma})
