"""Even ticks read along a board's edge: how many there are, to a fraction of one."""

import cv2
import numpy as np
from numpy.typing import NDArray

LONG_PX, ACROSS_PX = 8192, 160
FEWEST, MOST = 20, 2000
STRENGTH = 8.0  # of the periodic line over the spectrum around it


def read_ticks(photo: NDArray[np.uint8], unit: NDArray[np.float64]) -> float | None:
    """Number of smallest tick spacings along the board (length 1 in ``unit``), or None when no comb stands out.

    ``unit`` maps photo pixels to the unit square of the board, y = 0 at the edge with the rule.
    """
    stretch = np.diag([LONG_PX, ACROSS_PX, 1.0])
    grey = cv2.cvtColor(photo, cv2.COLOR_BGR2GRAY) if photo.ndim == 3 else photo
    flat = cv2.warpPerspective(grey, stretch @ unit, (LONG_PX, ACROSS_PX), flags=cv2.INTER_LINEAR).astype(np.float32)
    best: tuple[float, float] | None = None
    for start in range(0, ACROSS_PX // 5, 2):  # thin bands of the near fifth; the smallest ticks fill only some of them
        found = _comb(flat[start : start + 3].mean(0))
        if found is not None and (best is None or found[0] > best[0]):
            best = found
    return None if best is None else best[1]


def _comb(profile: NDArray[np.float32]) -> tuple[float, float] | None:
    """(strength, periods) of the strongest comb's fundamental in a profile of LONG_PX samples."""
    flat = profile - cv2.GaussianBlur(profile[None], (0, 0), 40.0)[0]
    padded = 4
    window = np.hanning(len(flat)).astype(np.float32)
    power = np.abs(np.fft.rfft(flat * window, padded * len(flat)))
    count = np.arange(len(power)) / padded
    usable = (count >= FEWEST) & (count <= MOST)
    peak = int(np.argmax(np.where(usable, power, 0)))
    # Longer ticks at every fifth and tenth put lines at a fifth and a tenth of the true count; and the sharp
    # ticks put lines at its multiples. The smallest spacing is the highest line whose double is weaker than it.
    for multiple in (10, 5, 2):
        at = round(peak * multiple)
        near = slice(max(at - padded * 2, 0), at + padded * 2 + 1)
        if at < len(power) - padded * 2 and count[at] <= MOST and power[near].max() > 0.35 * power[peak]:
            peak = near.start + int(np.argmax(power[near]))
            break
    # The floor is that of the neighbourhood: the photo's own sharpness shapes the spectrum.
    floor = float(np.median(power[round(peak * 0.7) : round(peak * 1.4) + 1])) + 1e-6
    if power[peak] < STRENGTH * floor or not 0 < peak < len(power) - 1:
        return None
    a, b, c = np.log(power[peak - 1 : peak + 2] + 1e-9)
    shift = 0.5 * (a - c) / (a - 2 * b + c) if a - 2 * b + c < 0 else 0.0
    return float(power[peak] / floor), float((peak + shift) / padded)
