"""Light with hard edges: sun and shade on one board.

A slowly varying gain cannot follow the edge of a shadow, and leaves a false strip along it, or the whole
side of the lesser light. Here the light is let grow: a pixel takes the gain of trusted board pixels near by
*of about its own brightness*, so that sun speaks to sun and shade to shade (the idea of the bilateral filter,
Tomasi and Manduchi 1998, on a grid of brightness levels, Chen, Paris and Durand 2007). A light that has
no trusted pixel yet is begun where the print comes out right under it, in a piece that reaches the board's edges.
"""

import cv2
import numpy as np
from numpy.typing import NDArray

from reelnotes.measure.stack import Mask, Picture

_LEVEL = 0.2  # step between brightness levels, in powers of two
_ROUNDS = 4
_WIDTHS, _LIGHTS = (0.3, 0.2), 5  # how far, in powers of two, pixels of one light lie about their mean; how many are looked for
_INK = 14.0  # levels by which two inks must differ in a piece, root mean square about their mean
_HALF = 14.0  # residual (of 255) at which a pixel counts half
Weight = NDArray[np.float32]


def grow_light(
    image: Picture, plain: Picture, gain: Picture, trust: Weight, where: Mask, px_per_mm: float
) -> tuple[Picture, Weight]:
    """Let trusted light spread to its like: (gain, trust) anew, both (h, w, ...) on the same raster.

    plain  the board in the camera's colours under a light of one
    """
    ratio = _brightness(image, plain)
    for _ in range(_ROUNDS):
        own, support = _gain_of_like(image, plain, trust, ratio, 7.0 * px_per_mm)
        use = np.clip(support / 0.06, 0.0, 1.0)[..., None]
        gain = (use * own + (1.0 - use) * gain).astype(np.float32)
        trust = (_trusted(image, plain, gain) * where).astype(np.float32)
    return _across_edges(image, plain, gain, trust, ratio, where, px_per_mm)


def _across_edges(
    image: Picture, plain: Picture, gain: Picture, trust: Weight, ratio: Weight, where: Mask, px_per_mm: float
) -> tuple[Picture, Weight]:
    """The soft edge of a shadow: between two lights that are trusted within a few millimetres, any mix of them is light too."""
    size = 2 * max(2, round(9 * px_per_mm)) + 1
    box = np.ones((size, size), np.uint8)
    brightest = cv2.dilate(np.where(trust > 0.5, ratio, 0.0).astype(np.float32), box)
    darkest = cv2.erode(np.where(trust > 0.5, ratio, 9.0).astype(np.float32), box)
    between = (trust < 0.5) & where & (darkest < 0.8 * brightest) & (ratio > 0.95 * darkest) & (ratio < 1.05 * brightest)
    tint = cv2.GaussianBlur(gain, (0, 0), 4 * px_per_mm)
    tint = tint / np.maximum(tint.mean(axis=-1, keepdims=True), 1e-3)
    mixed = tint * (ratio / np.maximum(_brightness(plain * tint, plain), 1e-3))[..., None]
    fits = between & (_trusted(image, plain, mixed) > 0.25)
    return np.where(fits[..., None], mixed, gain).astype(np.float32), np.where(fits, 0.6, trust).astype(np.float32)


def begin_lights(image: Picture, plain: Picture, trust: Weight, where: Mask, px_per_mm: float) -> tuple[Picture, Mask]:
    """Pieces of board under another light than the trusted one: (their gain, where).

    A piece qualifies when one light explains it closely and either it covers more than 3 % of the board and runs along the
    board's edges for 30 mm or more, or the print shows in it: two inks, each as bright and as coloured as that one light
    makes it. Shadows do either, a fish at the stop does neither.
    """
    gain, begun = np.ones_like(image), np.zeros(where.shape, bool)
    border = where & (cv2.erode(where.astype(np.uint8), np.ones((3, 3), np.uint8), iterations=2, borderValue=0) == 0)
    unlit = where & (cv2.GaussianBlur(trust, (0, 0), 2 * px_per_mm) < 0.3)
    level = np.log2(np.clip(_brightness(image, plain), 0.02, 8.0))
    # A light changes all inks' hue alike: how much redder than the board everything is tells shade from a fish as dark.
    redder = np.log2((image[..., 2] + 4.0) * (plain[..., 0] + 4.0) / ((image[..., 0] + 4.0) * (plain[..., 2] + 4.0)))
    for width in _WIDTHS:
        free = unlit & ~begun
        for _ in range(_LIGHTS):
            if free.sum() < 0.01 * where.sum():
                break
            near = _commonest(free, level, redder, width)
            own = _one_gain(image, plain, near)
            fits = free & (_trusted(image, plain, own) > 0.5)
            piece = _reaching(fits, border, 0.03 * float(where.sum()), 30.0 * px_per_mm)
            piece |= printed(fits, image, plain * own, 400.0 * px_per_mm**2)
            gain = np.where(piece[..., None], own, gain).astype(np.float32)
            begun |= piece
            free &= ~(near | fits)
    return gain, begun


def _commonest(free: Mask, level: Weight, redder: Weight, width: float) -> Mask:
    """The pixels of ``free``, which must hold some, within ``width`` of its commonest brightness and hue."""
    counts, *edges = np.histogram2d(
        np.clip(level[free], -3.9, 1.9), np.clip(redder[free], -1.9, 1.9), bins=(40, 20), range=((-4.0, 2.0), (-2.0, 2.0))
    )
    top = np.unravel_index(np.argmax(cv2.blur(counts, (3, 3))), counts.shape)
    at = [0.5 * (e[t] + e[t + 1]) for e, t in zip(edges, top, strict=True)]
    near = free & (np.abs(np.clip(level, -3.9, 1.9) - at[0]) < width) & (np.abs(np.clip(redder, -1.9, 1.9) - at[1]) < width)
    return near if near.any() else free


def _brightness(image: Picture, plain: Picture) -> Weight:
    return ((image * plain).sum(axis=-1) / np.maximum((plain * plain).sum(axis=-1), 1.0)).astype(np.float32)


def agreement(image: Picture, expected: Picture, half: float) -> Weight:
    """(h, w) 0..1: Tukey's biweight of the residual, about a half at ``half`` levels, in proportion less where it is dark.

    It falls to nothing, so that a large piece of almost the board's colour cannot pull the light over to itself.
    """
    seen = np.minimum(expected, 255.0)
    off = ((image - seen) ** 2).sum(axis=-1)
    bound = 1.9 * half * np.clip(seen.mean(axis=-1) / 110.0, 0.35, 1.0)
    return (np.clip(1.0 - off / (bound * bound), 0.0, None) ** 2).astype(np.float32)


def _trusted(image: Picture, plain: Picture, gain: Picture) -> Weight:
    return agreement(image, plain * gain, _HALF)


def _one_gain(image: Picture, plain: Picture, where: Mask) -> Picture:
    above = (image * plain)[where].sum(axis=0)
    below = (plain * plain)[where].sum(axis=0)
    grey = above.sum() / max(float(below.sum()), 1.0)
    one = (above + 0.05 * below.sum() * grey) / (below + 0.05 * below.sum())
    return np.broadcast_to(one.astype(np.float32), image.shape)


def _reaching(fits: Mask, border: Mask, area_px: float, contact_px: float) -> Mask:
    closed = cv2.morphologyEx(fits.astype(np.uint8), cv2.MORPH_CLOSE, np.ones((5, 5), np.uint8))
    count, labels, stats, _ = cv2.connectedComponentsWithStats(closed, connectivity=4)
    touching = np.bincount(labels[border], minlength=count) / 2.0  # the border is two pixels deep
    good = (stats[:, cv2.CC_STAT_AREA] > area_px) & (touching > contact_px)
    good[0] = False
    return good[labels] & fits


def printed(fits: Mask, image: Picture, expected: Picture, area_px: float) -> Mask:
    """The pieces of ``fits`` in which the print shows: it varies there, and what is seen varies with it, by as much."""
    closed = cv2.morphologyEx(fits.astype(np.uint8), cv2.MORPH_CLOSE, np.ones((5, 5), np.uint8))
    count, labels, stats, _ = cv2.connectedComponentsWithStats(closed, connectivity=4)
    shows = np.zeros(count, bool)
    for i in np.flatnonzero(stats[:, cv2.CC_STAT_AREA] > area_px):
        inside = (labels == i) & fits
        if i == 0 or not inside.any():
            continue
        print_ = expected[inside] - expected[inside].mean(axis=0)
        off = image[inside] - expected[inside]
        spread = float((print_**2).sum(axis=1).mean())
        left = float(((off - off.mean(axis=0)) ** 2).sum(axis=1).mean())
        shows[i] = spread > _INK**2 and left < 0.25 * spread
    return shows[labels] & fits


def _gain_of_like(image: Picture, plain: Picture, trust: Weight, ratio: Weight, sigma_px: float) -> tuple[Picture, Weight]:
    """Gain from trusted pixels near by of like brightness, and how much of the neighbourhood they make up."""
    h, w = trust.shape
    step = max(1, int(sigma_px / 4))
    size, sigma = (max(8, w // step), max(8, h // step)), sigma_px / step
    level = np.log2(np.clip(ratio, 0.03, 8.0)) / _LEVEL
    low, high = np.floor(np.percentile(level, 0.5)), np.ceil(np.percentile(level, 99.5))
    above = below = np.zeros((h, w, 3), np.float32)
    support = np.zeros((h, w), np.float32)
    for centre in np.arange(low, high + 1.0):
        like = np.clip(1.0 - np.abs(level - centre), 0.0, 1.0).astype(np.float32)
        weight = trust * like
        if weight.sum() < 4.0:
            continue
        parts = [
            cv2.resize(cv2.GaussianBlur(cv2.resize(p, size, interpolation=cv2.INTER_AREA), (0, 0), sigma), (w, h))
            for p in (image * plain * weight[..., None], plain * plain * weight[..., None], weight)
        ]
        above = above + parts[0] * like[..., None]
        below = below + parts[1] * like[..., None]
        support = support + parts[2] * like
    all_below = below.mean(axis=-1, keepdims=True)
    grey = (above.mean(axis=-1, keepdims=True) + 1e-3) / (all_below + 1e-3)
    return ((above + 0.1 * all_below * grey + 1e-4) / (below + 0.1 * all_below + 1e-4)).astype(np.float32), support
