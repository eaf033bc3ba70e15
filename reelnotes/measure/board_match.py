"""What the camera would see where nothing lies on the board: its picture under this light, through this camera.

The picture is taken to the camera's colours by a smooth colour map (ten terms a channel: tone curve,
white balance and cross-talk in one), and to the light of each place by a slowly varying gain a channel. Both are
fitted in turns by iteratively reweighted least squares with a redescending weight (Beaton and Tukey
1974; Holland and Welsch 1977), which lets fish, hands, stains and glare drop out of the fit by themselves.
"""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from reelnotes.measure.light import agreement, begin_lights, grow_light
from reelnotes.measure.stack import Mask, Picture, least, summed

# Residual at which a pixel counts half, round by round (levels of 255), and how far the light may vary (mm).
_ROUNDS = ((60, 120), (45, 80), (35, 60), (28, 40), (22, 30), (18, 25), (15, 20), (14, 18))
_PER_LEVERAGE = 0.8  # levels; residuals of bare boards grow about so
_PRIOR = np.array([1e-6, 5e-5, 5e-5, 5e-5, 1e-3, 1e-3, 1e-3, 1e-3, 1e-3, 1e-3])


@dataclass(frozen=True, eq=False)
class BoardMatch:
    """The empty board as this camera would show it.

    colours  (10, 3) the colour map's coefficients
    gain     (h, w, 3) float32, the light of each place, on the raster it was fitted on
    expected (h, w, 3) float32 BGR
    smooth   (h, w, 3) float32 BGR: the same under a light without hard edges
    trust    (h, w) float32, 0..1: how well the pixel agrees with the board
    spread   (10, 10) the inks that the colours were fitted on, as a factor of their inverse second moments
    """

    colours: NDArray[np.float64]
    gain: Picture
    expected: Picture
    smooth: Picture
    trust: NDArray[np.float32]
    spread: NDArray[np.float64]


def match_board(image: Picture, picture: NDArray[np.uint8], where: Mask, bare: Mask, px_per_mm: float) -> BoardMatch:
    """Fit the board's picture to what was seen.

    image    (h, w, 3) float32 BGR as seen; picture (h, w, 3) the empty board on the same raster
    where    (h, w) True where the board's surface should be in sight
    bare     (h, w) the same without what is known to hide it: only there may another light begin, and grow
    """
    terms = colour_terms(picture)
    start = _oftenest_bare(where) * np.where(least(image) > 250, 0.2, 1.0).astype(np.float32)
    # Thirty numbers and a smooth light: every fourth pixel does, for all but the last round.
    terms_2, image_2, start_2 = (np.ascontiguousarray(a[::2, ::2]) for a in (terms, image, start))
    exact = np.ascontiguousarray(terms_2.reshape(-1, 10).T, np.float64).T  # column by column, as the fit asks for it
    gain, weight = np.ones_like(image_2), start_2
    for half, light_mm in _ROUNDS[:-1]:
        colours = _fit_colours(exact, image_2, gain, weight)
        weight, gain = _one_round(terms_2, image_2, start_2, colours, gain, half, 0.5 * light_mm * px_per_mm)
    colours = _fit_colours(exact, image_2, gain, weight)
    gain = cv2.resize(gain, start.shape[::-1], interpolation=cv2.INTER_LINEAR).astype(np.float32)
    weight, gain = _one_round(terms, image, start, colours, gain, _ROUNDS[-1][0], _ROUNDS[-1][1] * px_per_mm)
    plain = _plain(terms, colours)
    smooth = np.minimum(plain * gain, 255.0).astype(np.float32)
    other, begun = begin_lights(image, plain, weight, bare, px_per_mm)
    gain = np.where(begun[..., None], other, gain).astype(np.float32)
    weight = np.where(begun, np.maximum(weight, 0.5), weight).astype(np.float32)
    gain, weight = grow_light(image, plain, gain, weight, bare, px_per_mm)
    expected = np.minimum(plain * gain, 255.0).astype(np.float32)
    return BoardMatch(colours, gain, expected, smooth, weight, _spread_of_inks(terms, weight))


def _one_round(
    terms: Picture, image: Picture, start: NDArray[np.float32], colours: NDArray[np.float64], gain: Picture, half: float,
    light_px: float,
) -> tuple[NDArray[np.float32], Picture]:  # fmt: skip
    """The pixels' weights under these colours and the light so far, then the light anew."""
    plain = _plain(terms, colours)
    weight = (start * agreement(image, plain * gain, half)).astype(np.float32)
    return weight, _smooth_gain(image, plain, weight, light_px)


def _plain(terms: Picture, colours: NDArray[np.float64]) -> Picture:
    return np.clip(terms @ colours.astype(np.float32), 1.0, 400.0).astype(np.float32, copy=False)


def _oftenest_bare(where: Mask) -> NDArray[np.float32]:
    """Weights to begin with: a fish lies along the middle from the stop, so the edges and the far end are oftenest bare.

    Without them, a fish of one colour that covers most of the board would be taken for it.
    """
    h, w = where.shape
    across, along = np.abs(np.linspace(-1.0, 1.0, h))[:, None], np.linspace(0.0, 1.0, w)[None, :]
    return (where * (0.2 + 0.8 * np.maximum(across**3, along**2))).astype(np.float32)


def expect(match: BoardMatch, picture: NDArray[np.uint8], gain: Picture) -> Picture:
    """The expected picture on another raster, from the board's picture and the gain on that raster."""
    plain = _plain(colour_terms(picture), match.colours)
    return np.minimum(plain * gain, 255.0).astype(np.float32)


def colour_doubt(match: BoardMatch, picture: NDArray[np.uint8]) -> NDArray[np.float32]:
    """(h, w) levels by which the expected colour may be off because the board has little of that ink.

    It grows with the root of the ink's leverage on the fit (Belsley, Kuh and Welsch 1980), of which most of a board has 1 to 3.
    """
    leverage = ((colour_terms(picture) @ match.spread.astype(np.float32)) ** 2).sum(axis=-1)
    return (_PER_LEVERAGE * np.sqrt(np.clip(leverage - 5.0, 0.0, None))).astype(np.float32)


def _spread_of_inks(terms: Picture, weight: NDArray[np.float32]) -> NDArray[np.float64]:
    x, w = terms[::2, ::2].reshape(-1, 10).astype(np.float64), weight[::2, ::2].reshape(-1).astype(np.float64)
    moments = (x * w[:, None]).T @ x / max(w.sum(), 1.0)
    moments[np.diag_indices(10)] += _PRIOR + 1e-9
    return np.asarray(np.linalg.cholesky(np.linalg.inv(moments)))


def colour_terms(picture: NDArray[np.uint8]) -> Picture:
    """(h, w, 3) BGR -> (h, w, 10): one, the channels, their squares, their products."""
    p = picture.astype(np.float32) / 255.0
    b, g, r = p[..., 0], p[..., 1], p[..., 2]
    return np.stack([np.ones_like(b), b, g, r, b * b, g * g, r * r, b * g, g * r, b * r], axis=-1)


def _fit_colours(terms: NDArray[np.float64], image: Picture, gain: Picture, weight: NDArray[np.float32]) -> NDArray[np.float64]:
    """(10, 3) weighted least squares for image = gain * (terms @ colours), from (n, 10) terms of all pixels.

    Where the board's inks do not say otherwise they are held to each channel's own tone curve: a board of greys tells
    nothing of how the channels mix, and held to nothing, a coloured logo on it would come out grey.
    """
    w = np.where(weight > 1e-3, weight, 0.0).ravel().astype(np.float64)
    prior = _PRIOR * max(float(w.sum()), 1.0)
    columns = []
    for c, (light, level) in enumerate(zip(cv2.split(gain), cv2.split(image), strict=True)):
        lit = w * light.ravel()
        seen = terms.T @ (lit * level.ravel())
        normal = (terms.T * (lit * light.ravel())) @ terms + np.diag(prior)
        own = [0, 1 + c, 4 + c]  # one, the channel, its square
        curve = np.zeros(10)
        curve[own] = np.linalg.solve(normal[np.ix_(own, own)], seen[own])
        columns.append(np.linalg.solve(normal, seen + prior * curve))
    return np.stack(columns, axis=-1)


def _smooth_gain(image: Picture, plain: Picture, weight: NDArray[np.float32], sigma_px: float) -> Picture:
    """Light smoothed over ``sigma_px``, from trusted pixels; where there are none, from farther away.

    Worked at a quarter of the size or less: the light is smooth, and large blurs are dear.
    """
    h, w = weight.shape
    step = max(1, int(sigma_px / 6))
    size = (max(8, w // step), max(8, h // step))
    # Least squares for image = gain * plain, so that dark ink, whose ratio is mostly noise, has little to say.
    above, below = (_spread(part * weight[..., None], size, sigma_px / step) for part in (image * plain, plain * plain))
    all_above, all_below = (summed(a)[..., None] / 3.0 for a in (above, below))
    grey = (all_above + 1.0) / (all_below + 1.0)
    gain = (above + 0.1 * all_below * grey + 1e-3) / (below + 0.1 * all_below + 1e-3)
    return cv2.resize(gain, (w, h), interpolation=cv2.INTER_LINEAR).astype(np.float32)


def _spread(values: Picture, size: tuple[int, int], sigma_px: float) -> Picture:
    """Shrunk to ``size`` and blurred, with a little from far away, so that no place is left without."""
    small = cv2.resize(values, size, interpolation=cv2.INTER_AREA)
    few = cv2.resize(small, (max(4, size[0] // 3), max(4, size[1] // 3)), interpolation=cv2.INTER_AREA)
    far = cv2.resize(cv2.GaussianBlur(few, (0, 0), 4 * sigma_px / 3), size, interpolation=cv2.INTER_LINEAR)
    return (cv2.GaussianBlur(small, (0, 0), sigma_px) + 0.03 * far).astype(np.float32)
