"""The law by which a lobe of a tail runs out, fitted to its width: where it ends, and how pointed it is."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
_KNOT = 0.5  # standard deviations of the blur: between such knots its bell is taken as straight
_KNOTS = np.arange(-3.0, 3.01, _KNOT)
_BELL = np.exp(-(_KNOTS[1:-1] ** 2) / 2) / np.exp(-(_KNOTS[1:-1] ** 2) / 2).sum()  # at the outermost knots it is nothing
_BENDS = np.convolve(_BELL, [1.0, -2.0, 1.0])  # of the bell, at each knot
# Steps of a hundred thousandth move the tip by a micrometre or two.
_LEAST_STEP, _LEAST_GAIN, _MOST_ROUNDS = 1e-5, 1e-6, 60
_DAMPED, _FREER, _STIFFER, _MOST_DAMPED = 3.0, 0.2, 8.0, 1e8


@dataclass(frozen=True, eq=False)
class TipLaw:
    """A lobe's width at columns u: size (end - u)^power millimetres, blurred along u by ``blur_px`` (standard deviation).

    Blurred by a bell that is straight from knot to knot, a power is a sum of the power's second integrals, one a knot: exact, and
    as smooth in ``end`` as the blurred edge itself. (A sum of the power at as many places has a kink wherever one of them passes
    a column, and a search for the best end stops in any of these.)
    """

    u: NDArray[np.intp]
    blur_px: float

    def widths(self, law: Floats) -> Floats:
        """(n,) the widths under a law (end, size, power)."""
        return self.with_slopes(law)[0]

    def with_slopes(self, law: Floats) -> tuple[Floats, Floats]:
        """The same, and (n, 3) how they change with each of the law's numbers."""
        end, size, power = law
        step = _KNOT * self.blur_px
        run = np.maximum((end - self.u)[:, None] - _KNOTS * self.blur_px, 1e-9)
        log = np.log(run)
        once = np.exp((power + 1.0) * log)
        twice = once * run
        share = 1.0 / (step * step * (power + 1.0) * (power + 2.0))
        unit = share * (twice @ _BENDS)
        at_end = share * (power + 2.0) * (once @ _BENDS)
        at_power = share * ((twice * log) @ _BENDS) - unit * (1.0 / (power + 1.0) + 1.0 / (power + 2.0))
        return size * unit, np.stack([size * at_end, unit, size * at_power], axis=-1)


def fit_law(seen: Floats, spread: Floats, law: TipLaw, start: Floats, low: Floats, high: Floats) -> Floats:
    """The law (end, size, power) within ``low`` and ``high`` that comes nearest to the widths seen, (n,) mm, each in doubt by its
    ``spread``; large misfits count in proportion only (the "soft L1" loss).

    Damped least squares (Levenberg 1944, Marquardt 1963) with the weights' own change in the second derivatives (Triggs et al.
    2000); what would step over a bound stops there.
    """
    now, damping = np.clip(start, low, high), _DAMPED
    cost, slope, bend = _quadratic(seen, spread, law, now)
    for _ in range(_MOST_ROUNDS):
        free = np.flatnonzero(~(((now <= low) & (slope > 0.0)) | ((now >= high) & (slope < 0.0))))
        if not len(free):
            break
        inner, step = bend[np.ix_(free, free)], np.zeros(3)
        step[free] = -np.linalg.solve(inner + np.diag(damping * np.diag(inner) + 1e-12), slope[free])
        then = np.clip(now + step, low, high)
        tried = _quadratic(seen, spread, law, then)
        gain, moved = cost - tried[0], float(np.linalg.norm(then - now))
        if gain > 0.0:
            now, damping, (cost, slope, bend) = then, _FREER * damping, tried
        else:
            damping *= _STIFFER
        small = 0.0 <= gain < _LEAST_GAIN * cost or moved < _LEAST_STEP * float(np.linalg.norm(now))
        if small or damping > _MOST_DAMPED:
            break
    return now


def _quadratic(seen: Floats, spread: Floats, law: TipLaw, at: Floats) -> tuple[float, Floats, Floats]:
    """Cost, its slope (3,) and its second derivatives (3, 3), as far as they come from the slopes."""
    widths, slopes = law.with_slopes(at)
    off, turned = (widths - seen) / spread, slopes / spread[:, None]
    wide = np.sqrt(1.0 + off**2)
    return float(2.0 * (wide - 1.0).sum()), turned.T @ (off / wide), (turned.T / wide**3) @ turned
