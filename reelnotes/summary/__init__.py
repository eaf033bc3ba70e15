"""The summary: the trip to read and to post, everything in ``post/`` but the chapter lines.

    privacy    the one place that decides what of a place may be published
    area       the blurred area: a fixed grid that no averaging sees through
    names      what cameras and clips are called in public
    hiding     the ends of an exact track, cut off
    scrub      positions typed into free text, taken out
    spoken     the same in words: degrees and numbers written out
    region     where the trip was: what makes a position of two plain numbers
    words      numbers and times as people read them
    told       what is told: plain texts and the few figures that pictures need
    story      the trip in words, made from the record at its privacy: all that the writers get
    fish       fish, one by one
    cameras    the story of the clocks: how far off each camera was, and what settled it
    lanes      the coverage lanes: each camera's clips on the trip's time line, as SVG
    sketch     the track drawn to scale, only where places are exact
    pages      summary.html and summary.md, from templates/
    palette    colours
    letters    what the card's own letters can say
    card       card.png, the picture to post
    geojson    track.geojson

The verb is :func:`write_post`; :func:`fish_names` is for the chapter lines, :func:`remarks` for whoever ran
it. No writer here sees the record: they get a :class:`told.Story`, in which only what may be published is left.
"""

from pathlib import Path

from reelnotes.records.problems import Problem
from reelnotes.records.record import TripRecord
from reelnotes.summary.card import write_card
from reelnotes.summary.geojson import write_geojson
from reelnotes.summary.letters import PLAIN_FISH, drawable, lacking
from reelnotes.summary.pages import write_pages
from reelnotes.summary.privacy import PLAIN_TITLE, decide
from reelnotes.summary.story import tell

__all__ = ["fish_names", "remarks", "write_post"]


def write_post(record: TripRecord, post: Path, evidence: Path | None = None) -> tuple[Path, ...]:
    """Write summary.html, summary.md, card.png and track.geojson into ``post``; return their paths.

    ``evidence`` is the folder that the lengths' pictures are relative to (default: the parent of
    ``post``); a picture that is not there is left out. Raises OSError when ``post`` cannot be written.
    """
    story = tell(record, evidence or post.parent)
    return (*write_pages(story, post), write_card(story, post / "card.png"), write_geojson(story, post / "track.geojson"))


def fish_names(record: TripRecord) -> dict[str, str]:
    """What published files call each catch (``{"C01": "cod"}``): its species, without positions typed into it."""
    published = decide(record)
    return {fish.id: published.text(fish.species) for fish in record.lineup.catches if fish.species}


def remarks(record: TripRecord) -> tuple[Problem, ...]:
    """What the card cannot say as it was written, for its font lacks the letters; the pages say it in full."""
    title = decide(record).title(record)
    wanted = {title: PLAIN_TITLE} | dict.fromkeys(fish_names(record).values(), PLAIN_FISH)
    return tuple(
        Problem(
            "post/card.png",
            f"its font lacks {lacking(text)} of '{text}'",
            f"the card says '{drawable(text) or instead}'",
            "it has Latin, Greek and Cyrillic letters; the pages show all others",
            serious=False,
        )
        for text, instead in wanted.items()
        if lacking(text)
    )
