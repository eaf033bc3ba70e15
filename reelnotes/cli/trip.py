"""Commands that work on a trip folder: run, check, lineup, lengths, cuts, sort, summary."""

from dataclasses import replace
from typing import Annotated

import typer

from reelnotes import pipeline
from reelnotes.cli import showing
from reelnotes.cli.console import bold
from reelnotes.cli.options import JsonOption, OutOption, QuietOption, TripArgument, VerboseOption, speaking

PANEL = "A whole trip"
LONGEST_EDIT_S = 86_400.0


def register(app: typer.Typer) -> None:
    """Add this module's commands to the program."""
    for command in (run, check, lineup, lengths, cuts, sort, summary):
        app.command(rich_help_panel=PANEL)(command)


def run(
    trip: TripArgument,
    out: OutOption = None,
    as_json: JsonOption = False,
    quiet: QuietOption = False,
    verbose: VerboseOption = False,
) -> None:
    """Do everything: line-up, lengths, edit list, sorted clips and summary."""
    with speaking(as_json, quiet, verbose) as voice:
        with voice.progress() as steps:
            record = pipeline.run_trip(trip, out, steps)
        where = pipeline.output_folder(trip, out)
        showing.clocks(voice, record)
        showing.catches(voice, record)
        showing.edit(voice, record)
        voice.out.print(f"\nEverything is in {bold(where)}.")
        voice.out.print(f"What may leave the house is in {bold(where / 'post')}; the rest is private.")
        voice.result(showing.facts(record, where))
        code = voice.tell(record.problems)
    raise typer.Exit(code)


def check(trip: TripArgument, as_json: JsonOption = False, quiet: QuietOption = False, verbose: VerboseOption = False) -> None:
    """Only look: what the folder holds, what is missing, and what each missing thing costs."""
    with speaking(as_json, quiet, verbose) as voice:
        with voice.progress() as steps:
            folder = pipeline.read_trip(trip, steps("Reading the trip folder"))
        showing.inventory(voice, folder)
        code = voice.tell(folder.problems)
    raise typer.Exit(code)


def lineup(
    trip: TripArgument,
    out: OutOption = None,
    as_json: JsonOption = False,
    quiet: QuietOption = False,
    verbose: VerboseOption = False,
) -> None:
    """Put clips and logged events on one time line: trip.json, clips.csv, catches.csv."""
    with speaking(as_json, quiet, verbose) as voice:
        with voice.progress() as steps:
            lined = pipeline.line_up_trip(trip, steps)
        where = pipeline.output_folder(trip, out)
        record = pipeline.make_record(lined, ())
        pipeline.write_ledger(record, where)
        showing.clocks(voice, record)
        showing.catches(voice, record)
        voice.result(showing.facts(record, where))
        left = pipeline.left_from_before(where, ("frames", "cuts.csv", "sorted", "post"))
        code = voice.tell((*pipeline.clips_missed(lined.folder, serious=False), *record.problems, *left))
    raise typer.Exit(code)


def lengths(
    trip: TripArgument,
    out: OutOption = None,
    as_json: JsonOption = False,
    quiet: QuietOption = False,
    verbose: VerboseOption = False,
) -> None:
    """Measure the fish that lie on a board: lengths.csv and one picture a fish in frames/."""
    with speaking(as_json, quiet, verbose) as voice:
        where = pipeline.output_folder(trip, out)
        with voice.progress() as steps:
            lined = pipeline.line_up_trip(trip, steps)
            record = pipeline.make_record(*pipeline.measure_lengths(lined, where, steps))
        pipeline.write_ledger(record, where)
        showing.lengths(voice, record)
        voice.result(showing.facts(record, where))
        code = voice.tell((*record.problems, *pipeline.left_from_before(where, ("cuts.csv", "sorted", "post"))))
    raise typer.Exit(code)


def cuts(
    trip: TripArgument,
    out: OutOption = None,
    length_s: Annotated[
        float | None,
        typer.Option(
            "--length",
            min=1.0,
            max=LONGEST_EDIT_S,
            metavar="SECONDS",
            help="Wanted running time; wins over trip.toml.",
            show_default=False,
        ),
    ] = None,
    as_json: JsonOption = False,
    quiet: QuietOption = False,
    verbose: VerboseOption = False,
) -> None:
    """Choose the story and write the edit list: cuts.csv, .edl, .otio, .vtt and chapter lines."""
    with speaking(as_json, quiet, verbose) as voice:
        where = pipeline.output_folder(trip, out)
        with voice.progress() as steps:
            record = pipeline.record_trip(trip, where, steps, length_s)
        pipeline.write_ledger(record, where)
        pipeline.write_edit(record, where)
        showing.edit(voice, record)
        voice.result(showing.facts(record, where))
        code = voice.tell(record.problems)
    raise typer.Exit(code)


def sort(
    trip: TripArgument,
    out: OutOption = None,
    undo: Annotated[bool, typer.Option("--undo", help="Take away what an earlier sort made, and only that.")] = False,
    as_json: JsonOption = False,
    quiet: QuietOption = False,
    verbose: VerboseOption = False,
) -> None:
    """Lay the clips out again as links, by day, leg and catch, in sorted/. The originals stay where they are.

    Where the trip has boards, the fish on them are measured too, to know which clips belong to a catch.
    """
    with speaking(as_json, quiet, verbose) as voice:
        where = pipeline.output_folder(trip, out)
        if undo:
            code = showing.undone(voice, pipeline.undo_sorted(where))
        else:
            with voice.progress() as steps:
                # A clip that measured a fish is laid with its catch, as a whole run does it: so the fish are measured first.
                lined, _ = pipeline.measure_lengths(pipeline.line_up_trip(trip, steps), None, steps)
                report = pipeline.write_sorted(lined.lineup, lined.folder, where, steps)
            told = (*lined.folder.problems, *pipeline.clock_problems(lined.clocks))
            code = showing.sorted_clips(voice, report, told)
    raise typer.Exit(code)


def summary(
    trip: TripArgument,
    out: OutOption = None,
    as_json: JsonOption = False,
    quiet: QuietOption = False,
    verbose: VerboseOption = False,
) -> None:
    """Write what may leave the house: post/ with page, text, card, chapters and map, as private as trip.toml asks."""
    with speaking(as_json, quiet, verbose) as voice:
        where = pipeline.output_folder(trip, out)
        with voice.progress() as steps:
            record = pipeline.record_trip(trip, where, steps)
        record = replace(record, problems=(*record.problems, *pipeline.write_public(record, where)))
        voice.out.print(f"Written to {bold(where / 'post')} (place: {record.privacy.spot}).")
        voice.result(showing.facts(record, where))
        code = voice.tell(record.problems)
    raise typer.Exit(code)
