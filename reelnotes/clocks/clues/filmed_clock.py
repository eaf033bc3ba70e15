"""A filmed clock: the code on a phone's screen, held before the lens for a moment.

Not every frame is decoded for it. Key frames are looked at first: they cost a few percent of a full decode. Between
them a code that changes ten times a second betrays itself by the bytes it takes, which the container's index
tells for nothing; the few stretches that stand out most are decoded, within a budget. Where a code is
found its neighbourhood is read frame by frame.

The screen shows the time cut off to a tenth of a second. Each frame read, at t seconds into the clip, so says

    shown <= t + start < shown + 0.1 s

and the changes of the shown time narrow ``start`` down to a fraction of a frame. How late the screen is, and the phone's
own clock, no frame can tell: the solver adds that doubt once for all filmed clocks of a trip.
"""

import datetime as dt
import logging
import math
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
import zxingcpp
from numpy.typing import NDArray

from reelnotes.media.decode import Picture, pictures
from reelnotes.media.packets import PacketSizes, packet_sizes
from reelnotes.records.clips import Clip
from reelnotes.records.clocks import Clue
from reelnotes.records.instants import from_datetime
from reelnotes.records.problems import UnreadableError

log = logging.getLogger(__name__)

PAYLOAD = re.compile(r"reelnotes-clock:(\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(?:\.\d{1,6})?(?:Z|\+00:00))")
SHOWN_STEP_S = 0.1
LOOK_SIDE_PX = 1920  # larger pictures are scaled down to this before looking
STRETCH_S = 0.5  # the shortest show that packet sizes are searched for
BUDGET_SHARE, BUDGET_LEAST_S = 0.03, 3.0  # of the clip, decoded between key frames on the word of packet sizes
FIRST_LOOK_S = 10.0  # what stands out most is looked at even where key frames lie this far apart
STANDS_OUT = 1.3  # times the usual bytes
READ_AROUND_S = 2.5
APART_S = 8.0  # shows further apart than this are two clues
FRAME_SIGMA_S = 0.006  # exposure, and the screen's own refresh


@dataclass(frozen=True, slots=True)
class Sighting:
    """One frame with a readable code: seconds into the clip, and the UTC time that the code spells."""

    at_s: float
    shown_utc_s: float


def filmed_clock_clues(clip: Clip) -> list[Clue]:
    """Absolute clues from every show of a filmed clock in one clip; usually none.

    Raises UnreadableError when the clip cannot be opened.
    """
    found = [s for s in _glances(clip) if s is not None]
    shows = _shows(found)
    return [clue for show in shows if (clue := read_show(clip.name, _read_around(clip, show))) is not None]


# -- looking for it -----------------------------------------------------------------------------------------
def _glances(clip: Clip) -> Iterable[Sighting | None]:
    """Key frames first; then stretches whose bytes stand out, until their budget is spent."""
    found = []
    for picture in pictures(clip.path, grey=True, keyframes_only=True, max_side_px=LOOK_SIDE_PX):
        sighting = read_code(picture)
        if sighting is not None:
            found.append(sighting)
    yield from found
    try:
        sizes = packet_sizes(clip.path)
    except UnreadableError:
        return
    looked = False
    budget = max(BUDGET_LEAST_S, BUDGET_SHARE * clip.duration_s)
    for start, end, cost in stretches(sizes):
        if any(start - APART_S < s.at_s < end + APART_S for s in found):
            continue
        if cost > max(budget, 0.0 if looked else FIRST_LOOK_S):
            continue
        budget -= cost
        looked = True
        for picture in pictures(clip.path, start_s=start, end_s=end, grey=True, every=2, max_side_px=LOOK_SIDE_PX):
            sighting = read_code(picture)
            if sighting is not None:
                found.append(sighting)
                yield sighting
                break


def stretches(sizes: PacketSizes) -> list[tuple[float, float, float]]:
    """(start, end, seconds that must be decoded) of stretches of STRETCH_S that take many more bytes than usual, the most first.

    Key frames are left out; "usual" is the median over half a minute around.
    """
    between = ~sizes.key
    if between.sum() < 10:
        return []
    length = sizes.time_s[-1] + 1e-9
    bins = math.ceil(length / STRETCH_S)
    where = np.minimum((sizes.time_s / STRETCH_S).astype(int), bins - 1)
    total = np.bincount(where[between], sizes.size[between], bins)
    count = np.maximum(1, np.bincount(where[between], minlength=bins))
    rate = total / count
    usual = _running_median(rate, 61)
    ratio = rate / np.maximum(usual, 1.0)
    keys = sizes.time_s[sizes.key]
    out = []
    for i in np.argsort(-ratio):
        if ratio[i] < STANDS_OUT:
            break
        start, end = float(i * STRETCH_S), float((i + 1) * STRETCH_S)
        before = keys[keys <= start + 1e-6]
        out.append((start, end, end - (float(before[-1]) if len(before) else 0.0)))
    return out


def _running_median(x: NDArray[np.float64], width: int) -> NDArray[np.float64]:
    width = min(width, len(x) - (len(x) + 1) % 2)
    if width < 3:
        return np.full_like(x, np.median(x))
    padded = np.pad(x, width // 2, mode="reflect")
    return np.median(np.lib.stride_tricks.sliding_window_view(padded, width), axis=1)[: len(x)]


# -- reading it ---------------------------------------------------------------------------------------------
def read_code(picture: Picture) -> Sighting | None:
    """The clock's code in a picture, or None."""
    for code in zxingcpp.read_barcodes(picture.pixels, formats=zxingcpp.BarcodeFormats(zxingcpp.BarcodeFormat.QRCode)):
        match = PAYLOAD.fullmatch(code.text.strip())
        if match is None:
            continue
        try:
            shown = from_datetime(dt.datetime.fromisoformat(match[1].replace("Z", "+00:00")))
        except ValueError:
            continue
        return Sighting(picture.time_s, shown)
    return None


def _shows(found: Sequence[Sighting]) -> list[tuple[float, float]]:
    """Sightings -> (first, last) of each show."""
    out: list[tuple[float, float]] = []
    for s in sorted(found, key=lambda s: s.at_s):
        if out and s.at_s - out[-1][1] < APART_S:
            out[-1] = (out[-1][0], s.at_s)
        else:
            out.append((s.at_s, s.at_s))
    return out


def _read_around(clip: Clip, show: tuple[float, float]) -> list[Sighting]:
    """Every readable frame about a show, a few seconds of it at most."""
    start = max(0.0, show[0] - READ_AROUND_S)
    around = pictures(clip.path, start_s=start, end_s=show[0] + READ_AROUND_S, grey=True, max_side_px=LOOK_SIDE_PX)
    return [s for s in map(read_code, around) if s is not None]


def read_show(clip: str, seen: Sequence[Sighting]) -> Clue | None:
    """What the frames of one show say about the clip's start; None when the shown time stands still or contradicts itself."""
    if not seen:
        return None
    low = np.array([s.shown_utc_s - s.at_s for s in seen])
    base = float(np.floor(low.min()))
    low = low - base
    # The start that most frames allow: intervals [low, low + 0.1), their deepest overlap.
    edges = np.sort(np.concatenate([low, low + SHOWN_STEP_S]))
    middles = (edges[:-1] + edges[1:]) / 2
    agree = ((low[None, :] <= middles[:, None]) & (middles[:, None] < low[None, :] + SHOWN_STEP_S)).sum(axis=1)
    best = agree == agree.max()
    first, last = int(np.argmax(best)), len(best) - 1 - int(np.argmax(best[::-1]))
    lower, upper = float(edges[first]), float(edges[last + 1])
    share = float(agree.max()) / len(seen)
    if share < 0.6:
        log.info("%s: a filmed clock does not go with the clip's own time", clip)
        return None
    start = (lower + upper) / 2
    sigma = math.hypot((upper - lower) / math.sqrt(12), FRAME_SIGMA_S)
    middle = float(np.mean([s.at_s for s in seen]))
    words = f"a filmed clock, read in {len(seen)} frame{'s' if len(seen) > 1 else ''} about {middle:.1f} s into {clip}"
    confidence = 0.99 if len(seen) > 1 else 0.95
    return Clue("filmed clock", clip, base + start, sigma, confidence, None, words, at_s=middle)
