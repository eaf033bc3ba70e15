"""What is heard: a shout, a knock, the buzz of a reel stand out of wind and engine.

Sound alone proves nothing here; it only says where inside the window of a logged event the event most
likely lies. For every half second of a clip: how far the sound stands above what this clip sounded
like in the twenty seconds around (robustly: median and spread of the log spectrum), in bands where
voices, knocks and ratchets are strong and wind is weak.
"""

import logging
from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import maximum_filter1d, median_filter, uniform_filter1d

from reelnotes.media.decode import SoundBlock, sound
from reelnotes.moments.evidence import GRID_S, Evidence, Liveliness, Scene
from reelnotes.records.problems import UnreadableError

RATE_HZ = 8000
FRAME = 512  # 64 ms windows, half overlapping
HOP = FRAME // 2
BANDS_HZ = ((300.0, 1000.0), (1000.0, 2000.0), (2000.0, 3900.0))
BACKGROUND_S = 20.0
# A half second whose best band stands this many decibels above the background is called twice as likely.
# A judgement, kept mild: the ratio must never be able to overrule the log.
DB_PER_DOUBLING = 2.0
LARGEST_RATIO = 100.0

log = logging.getLogger(__name__)


def signal(scene: Scene) -> Evidence:
    """Liveliness of every usable clip with sound. Each clip's sound is decoded once."""
    wanted = [c for c in scene.lineup.clips if c.clip.usable and c.clip.audio is not None]
    out = []
    for number, placed in enumerate(wanted):
        if scene.progress:
            scene.progress(number / len(wanted), f"listening to {placed.clip.name}")
        try:
            levels = band_levels(sound(placed.clip.path, rate_hz=RATE_HZ))
        except UnreadableError as fault:
            log.warning("%s: its sound was not used (%s)", placed.clip.name, fault.problem.what)
            continue
        if levels.shape[1]:
            out.append(Liveliness(placed.clip.name, onset_ratio(levels, placed.clip.duration_s)))
    return Evidence(liveliness=tuple(out))


def band_levels(blocks: Iterable[SoundBlock]) -> NDArray[np.float64]:
    """Levels (dB) in each band of BANDS_HZ for every hop: shape (2 x bands, hops).

    First the mean of the log power, which noise that fills the band raises (a shout, a knock, a ratchet);
    then the log of the mean power, which a single tone raises (a bell, a whistle, an alarm). The first
    column is the clip's first picture, whatever the sound's own start; memory holds one block and the levels only.
    """
    window = np.hanning(FRAME).astype(np.float32)
    frequency = np.fft.rfftfreq(FRAME, 1.0 / RATE_HZ)
    emphasis = (frequency / 1000.0) ** 2  # wind falls off with frequency: this gives every octave a say
    masks = [(frequency >= low) & (frequency < high) for low, high in BANDS_HZ]
    columns: list[NDArray[np.float64]] = []
    rest = np.zeros(0, np.float32)
    for block in blocks:
        samples = block.samples
        if not columns and not len(rest):
            lead = round(block.time_s * RATE_HZ)
            samples = np.concatenate([np.zeros(lead, np.float32), samples]) if lead > 0 else samples[-lead:]
        rest = np.concatenate([rest, samples])
        hops = (len(rest) - FRAME) // HOP + 1
        if hops <= 0:
            continue
        frames = np.lib.stride_tricks.sliding_window_view(rest, FRAME)[: hops * HOP : HOP]
        power = np.abs(np.fft.rfft(frames * window, axis=1)) ** 2 + 1e-9
        full = [10.0 * np.log10(power[:, mask]).mean(axis=1) for mask in masks]
        loud = [10.0 * np.log10((power * emphasis)[:, mask].mean(axis=1)) for mask in masks]
        columns.append(np.stack(full + loud))
        rest = rest[hops * HOP :]
    return np.concatenate(columns, axis=1) if columns else np.zeros((2 * len(BANDS_HZ), 0))


def onset_ratio(levels: NDArray[np.float64], duration_s: float) -> NDArray[np.float64]:
    """Likelihood ratio for every GRID_S of the clip, from band levels (dB): 1 where nothing stands out."""
    per_second = RATE_HZ / HOP
    width = min(round(BACKGROUND_S * per_second) | 1, levels.shape[1] | 1)
    above = np.empty_like(levels)
    for row, band in enumerate(levels):
        short = uniform_filter1d(band, 5, mode="nearest")  # 0.16 s: a click is not a shout
        above[row] = short - median_filter(short, width, mode="nearest")
    # A burst belongs to its half second and to the one before: things are heard as they happen or just after.
    best = maximum_filter1d(above.max(axis=0), round(GRID_S * per_second) | 1, mode="nearest")
    cells = max(1, int(np.ceil(duration_s / GRID_S)))
    at = np.minimum(np.round((np.arange(cells) + 0.5) * GRID_S * per_second).astype(int), best.size - 1)
    return np.clip(2.0 ** (best[at] / DB_PER_DOUBLING), 0.5, LARGEST_RATIO)
