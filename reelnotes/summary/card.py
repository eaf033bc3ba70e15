"""card.png: the trip as one picture to post, 1200 x 630 pixels.

Drawn with Pillow from the story alone, with letters that ship in the package, so it looks the same on
every machine and needs nothing installed. It carries no metadata. Where the font lacks a letter of the
title or of a species, a plain word stands for it (:mod:`letters`).
"""

import io
from dataclasses import replace
from pathlib import Path

from PIL import Image, ImageDraw

from reelnotes.media.writing import write_bytes
from reelnotes.summary.letters import PLAIN_FISH, Font, drawable
from reelnotes.summary.letters import font as _font
from reelnotes.summary.palette import DARK
from reelnotes.summary.privacy import PLAIN_TITLE
from reelnotes.summary.told import Bar, Story, ToldFish
from reelnotes.summary.words import count, listed

WIDTH, HEIGHT, EDGE = 1200, 630, 64
SKY, DEEP = (20, 58, 70), (8, 21, 27)  # the background runs from one to the other, as water does
STRIP_TOP, STRIP_HEIGHT = 506, 26
INK, SOFT, WATER, FLOAT = DARK["ink"], DARK["soft"], DARK["water"], DARK["float"]


def write_card(story: Story, path: Path) -> Path:
    """Draw and write the card; return its path."""
    data = io.BytesIO()
    draw_card(story).save(data, "PNG", optimize=True)
    write_bytes(path, data.getvalue())
    return path


def draw_card(story: Story) -> Image.Image:
    """The card as an RGB picture."""
    story = _drawable(story)
    card = _water()
    pen = ImageDraw.Draw(card)
    best = story.best
    if best is not None and (best.length or best.logged):
        _head(pen, story, width=610, sizes=(68, 60, 52, 46))
        _best_fish(pen, best, story)
    else:
        _head(pen, story, width=WIDTH - 2 * EDGE, sizes=(92, 80, 68, 56), middle=240 if story.lanes else HEIGHT // 2 - 20)
    _day_strip(pen, story)
    return card


def _drawable(story: Story) -> Story:
    """The story in words that the card can draw."""
    fish = tuple(replace(f, species=drawable(f.species) or PLAIN_FISH) for f in story.fish)
    return replace(story, title=drawable(story.title) or PLAIN_TITLE, fish=fish)


def _head(pen: ImageDraw.ImageDraw, story: Story, width: int, sizes: tuple[int, ...], middle: int | None = None) -> None:
    """Date, title and what came of the day, from the top or around ``middle``."""
    title, font = _wrapped(story.title, width, sizes=sizes, most=3)
    tally, small = _wrapped(_tally(story), width, sizes=(31,), most=3, bold=False)
    over, title_step, tally_step = 50 if story.date else 0, round(font.size * 1.14), 42
    y = 58 if middle is None else max(58, middle - (over + title_step * len(title) + 22 + tally_step * len(tally)) // 2)
    pen.text((EDGE, y), _fitted(story.date, _font(28, True), width), font=_font(28, True), fill=WATER)
    y += over
    for line in title:
        pen.text((EDGE, y), line, font=font, fill=INK)
        y += title_step
    y += 22
    for line in tally:
        pen.text((EDGE, y), line, font=small, fill=SOFT)
        y += tally_step


def _tally(story: Story) -> str:
    """Species with their numbers, then the hours."""
    numbers: dict[str, int] = {}
    for fish in story.fish:
        if fish.outcome == "landed":
            numbers[fish.species] = numbers.get(fish.species, 0) + 1
    several = len(numbers) > 1
    caught = listed([f"{n} {name}" for name, n in numbers.items()]) if several else ""
    if caught:
        return f"{story.lead} {caught}."
    filmed = next((fact.value for fact in story.facts if fact.label == "Filmed"), "")
    return story.lead if story.fish or not filmed else f"{story.lead} Filmed: {filmed}."


def _best_fish(pen: ImageDraw.ImageDraw, fish: ToldFish, story: Story) -> None:
    """At the right: the best fish with its length, how sure that is, and whose word it is."""
    x, width = 720, WIDTH - EDGE - 720
    pen.line((x - 40, 64, x - 40, 424), fill=(58, 98, 110), width=2)
    several = sum(f.outcome == "landed" for f in story.fish) > 1
    pen.text((x, 58), "Best fish" if several else "The fish", font=_font(28, True), fill=WATER)
    y = 108
    lines, font = _wrapped(fish.species, width, sizes=(44, 38), most=2)
    for line in lines:
        pen.text((x, y), line, font=font, fill=INK)
        y += round(font.size * 1.18)
    y += 10
    figure = _plain(fish.length or fish.logged)
    size = next((s for s in (104, 92, 80, 64) if _font(s, True).getlength(figure) <= width), 52)
    pen.text((x, y), figure, font=_font(size, True), fill=FLOAT)
    y += round(size * 1.22)
    for text in _figure_words(fish):
        for line in _wrapped(text, width, sizes=(25,), most=2, bold=False)[0]:
            pen.text((x, y), line, font=_font(25), fill=INK)
            y += 34


def _figure_words(fish: ToldFish) -> list[str]:
    fate = fish.fate if fish.fate in ("kept", "released") else ""
    if not fish.length:
        return [f"as logged{', ' + fate if fate else ''}"]
    sure = f"95 % sure: {_plain(fish.interval)}" if fish.interval else ""
    how = "total length from film" if not fish.doubt else "total length from film, to be checked"
    return [text for text in (sure, f"{how}{', ' + fate if fate else ''}") if text]


def _day_strip(pen: ImageDraw.ImageDraw, story: Story) -> None:
    """At the foot: the day as a strip, the boat's legs (or else the clips) with every fish marked."""
    if story.lanes is None or not story.lanes.lanes:
        return
    boat = story.lanes.lanes[0]
    pen.rectangle((EDGE, STRIP_TOP, WIDTH - EDGE, STRIP_TOP + STRIP_HEIGHT), fill=(27, 52, 61))
    for bar in boat.bars:
        _stretch(pen, bar)
    for tick in story.lanes.events:
        if tick.kind in ("landed", "lost"):
            x, y = _along(tick.at), STRIP_TOP - 20
            pen.line((x, y, x, STRIP_TOP + STRIP_HEIGHT), fill=FLOAT, width=3)
            pen.ellipse(
                (x - 10, y - 10, x + 10, y + 10), fill=FLOAT if tick.kind == "landed" else (10, 27, 34), outline=FLOAT, width=4
            )
    times = [t for t in story.lanes.axis if not t.minor]
    right_of_last = 0.0
    for tick in times:
        x = _along(tick.at)
        length = _font(22).getlength(tick.label)
        x = min(max(x - length / 2, EDGE), WIDTH - EDGE - length)
        if x > right_of_last:
            pen.text((x, STRIP_TOP + STRIP_HEIGHT + 14), tick.label, font=_font(22), fill=SOFT)
            right_of_last = x + length + 24
    landed, lost = (sum(f.outcome == outcome for f in story.fish) for outcome in ("landed", "lost"))
    if lost and landed:
        key = f"{count(landed, 'fish', 'fish')} landed, {lost} lost (open ring)"
        pen.text((WIDTH - EDGE, STRIP_TOP - 42), key, font=_font(20), fill=SOFT, anchor="rs")


def _stretch(pen: ImageDraw.ImageDraw, bar: Bar) -> None:
    colour = DARK.get(bar.kind.replace(" ", "-"), DARK["clip"])
    left, right = _along(bar.start), _along(bar.start + bar.width)
    pen.rectangle((left, STRIP_TOP, max(right - 1, left + 2), STRIP_TOP + STRIP_HEIGHT), fill=colour)


def _along(percent: float) -> float:
    return EDGE + (WIDTH - 2 * EDGE) * percent / 100.0


def _water() -> Image.Image:
    """Sky over the surface to the deep, without bands: one column, stretched."""
    column = Image.new("RGB", (1, HEIGHT))
    for y in range(HEIGHT):
        share = (y / (HEIGHT - 1)) ** 0.8
        column.putpixel((0, y), tuple(round(a + (b - a) * share) for a, b in zip(SKY, DEEP, strict=True)))
    return column.resize((WIDTH, HEIGHT))


def _wrapped(text: str, width: int, sizes: tuple[int, ...], most: int, bold: bool = True) -> tuple[list[str], Font]:
    """Text in at most ``most`` lines, at the largest size that holds it; the last line is cut when none does."""
    for size in sizes:
        font = _font(size, bold)
        lines = _lines(_plain(text), width, font)
        if len(lines) <= most:
            return lines, font
    return [*lines[: most - 1], _fitted(" ".join(lines[most - 1 :]), font, width)], font


def _lines(text: str, width: int, font: Font) -> list[str]:
    lines: list[str] = []
    for word in text.split():
        tried = f"{lines[-1]} {word}" if lines else word
        if lines and font.getlength(tried) <= width:
            lines[-1] = tried
        else:
            lines.append(_fitted(word, font, width))
    return lines


def _fitted(text: str, font: Font, width: int) -> str:
    if font.getlength(text) <= width:
        return text
    while text and font.getlength(text + "…") > width:
        text = text[:-1]
    return text.rstrip() + "…"


def _plain(text: str) -> str:
    return text.replace("\u202f", "\u00a0")
