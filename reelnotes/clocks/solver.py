"""The fine solution: one robust linear least squares over all recordings, runs and cameras.

Unknowns, all as small corrections to where the rough tie-up put things:

    x_i   start of recording i                        s
    o_r   clock offset of run r                       s
    d_c   rate of camera c's clock against UTC        ppm
    m_c   rate of camera c's frame and sample clock   ppm (a clip of counted length L lasts L / (1 + m))
    b     lateness of a filmed screen                 s, shared by all filmed clocks

Every clue is one row with its standard uncertainty. A recording's start is an unknown of its own, so rough
stamps never pull on recordings that sound ties to a millisecond; they only hold the offsets, and through them
the recordings that nothing else holds. Outliers lose weight by Cauchy's function while iterating
(iteratively reweighted least squares: Holland & Welsch 1977), then are dropped for good and told.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from reelnotes.clocks.clues.trusted import OffsetClue
from reelnotes.clocks.ties import Board
from reelnotes.records.clocks import Clue

CLOCK_SIGMA_PPM = 25.0  # watch crystals: +-20 ppm as sold, and temperature
MEDIA_SIGMA_PPM = 20.0
LEAST_SOUND_SIGMA_S = 0.002  # microphones within arm's reach still hear one source a millisecond or two apart (2.9 ms/m)
SCREEN_LATE_S, SCREEN_SIGMA_S = 0.03, 0.03  # a page's next frame, the compositor, the panel; the phone's own clock
CAUCHY = 2.4  # in standard deviations: 95 % efficiency for normal errors
DROP_AT = 5.0
GAUGE_SIGMA_S = 1e-6


@dataclass(frozen=True)
class Solution:
    """What came out; times on each group's own line (UTC where the group has an absolute place).

    start_s, covariance   of recording starts: (n,) and (n, n) s, s²
    offset_s, offset_sigma_s   per run, against the stamps' mean reading
    drift_ppm, media_ppm   camera -> (value, standard uncertainty); drift as in records.clocks
    dropped   clue -> how many of its own standard uncertainties it missed by
    """

    start_s: NDArray[np.float64]
    covariance: NDArray[np.float64]
    offset_s: NDArray[np.float64]
    offset_sigma_s: NDArray[np.float64]
    drift_ppm: dict[str, tuple[float, float]]
    media_ppm: dict[str, tuple[float, float]]
    media_covariance: NDArray[np.float64]  # of (starts, media rates) for chapters: (n, cameras)
    cameras: tuple[str, ...]
    dropped: dict[Clue, float]


@dataclass
class _Rows:
    """Rows of the system while they are gathered."""

    size: int
    columns: list[list[tuple[int, float]]] = field(default_factory=list)
    values: list[float] = field(default_factory=list)
    sigmas: list[float] = field(default_factory=list)
    robust: list[bool] = field(default_factory=list)
    clues: list[Clue | None] = field(default_factory=list)

    def add(
        self, columns: list[tuple[int, float]], value: float, sigma: float, *, robust: bool = False, clue: Clue | None = None
    ) -> None:
        self.columns.append(columns)
        self.values.append(value)
        self.sigmas.append(sigma)
        self.robust.append(robust)
        self.clues.append(clue)

    def matrix(self) -> NDArray[np.float64]:
        a = np.zeros((len(self.columns), self.size))
        for i, columns in enumerate(self.columns):
            for j, factor in columns:
                a[i, j] += factor
        return a


def solve(
    table: Board,
    position_s: Sequence[float],
    relative: Sequence[Clue],
    absolute: Sequence[Clue],
    offsets: Sequence[OffsetClue],
    anchors: Sequence[int],
) -> Solution:
    """Solve all starts at once.

    position_s   run -> rough offset of its clock (UTC where the group's absolute place is known)
    relative     clues that tie two recordings; absolute: that place one; offsets: that place a run
    anchors      recordings held fast: one of each group that has no absolute place
    """
    cameras = tuple(dict.fromkeys(r.camera for r in table.recordings))
    n, runs = len(table.recordings), len(table.runs)
    rough = np.array([table.base_s[i] + position_s[table.run_of[i]] for i in range(n)])
    drift_at, media_at, screen = n + runs, n + runs + len(cameras), n + runs + 2 * len(cameras)
    rows = _Rows(screen + 1)
    of_camera = {name: k for k, name in enumerate(cameras)}

    def clip_terms(clip: str, sign: float, at_s: float = 0.0) -> tuple[list[tuple[int, float]], float]:
        i, lead = table.home[clip]
        rate = (media_at + of_camera[table.recordings[i].camera], -sign * (lead + at_s) * 1e-6)
        return [(i, sign), rate], sign * (rough[i] + lead)

    for r, run in enumerate(table.runs):
        members = table.members(r)
        middle = float(np.median(rough[members]))  # a foreign clip of last week must not move it
        rows.add([(n + r, 1.0)], 0.0, 1e5)  # keeps a run that nothing holds solvable
        if run.stamped:
            for i in members:
                drift = (drift_at + of_camera[run.camera], -(rough[i] - middle) * 1e-6)
                rows.add([(i, 1.0), (n + r, -1.0), drift], 0.0, table.sigma_s[i], robust=len(members) > 2)
    for clue in relative:
        assert clue.other is not None
        # Told at the later one's first picture: until then the earlier one's own clock has counted.
        one, at_one = clip_terms(clue.clip, 1.0, max(0.0, -clue.value_s))
        two, at_two = clip_terms(clue.other, -1.0, max(0.0, clue.value_s))
        sigma = max(clue.sigma_s, LEAST_SOUND_SIGMA_S)
        rows.add(one + two, clue.value_s - at_one - at_two, sigma, robust=True, clue=clue)
        if clue.slope_ppm is not None and clue.slope_sigma_ppm:
            a, b = (media_at + of_camera[table.recordings[table.home[c][0]].camera] for c in (clue.clip, clue.other))
            rows.add([(a, 1.0), (b, -1.0)], clue.slope_ppm, max(1.0, clue.slope_sigma_ppm), robust=True)
    for clue in absolute:
        terms, at = clip_terms(clue.clip, 1.0, clue.at_s)
        if clue.kind == "filmed clock":
            terms = [*terms, (screen, -1.0)]  # what the screen shows is late, so the clue's start is early
        rows.add(terms, clue.value_s - at, clue.sigma_s, robust=clue.kind != "human", clue=clue)
    for known in offsets:
        rows.add([(n + known.run, 1.0)], known.value_s - position_s[known.run], known.sigma_s)
    for i in anchors:
        rows.add([(i, 1.0)], 0.0, GAUGE_SIGMA_S)
    for k in range(len(cameras)):
        rows.add([(drift_at + k, 1.0)], 0.0, CLOCK_SIGMA_PPM)
        rows.add([(media_at + k, 1.0)], 0.0, MEDIA_SIGMA_PPM)
    rows.add([(screen, 1.0)], SCREEN_LATE_S, SCREEN_SIGMA_S)
    return _solved(rows, rough, cameras, (n, runs), position_s)


def _solved(
    rows: _Rows, rough: NDArray[np.float64], cameras: tuple[str, ...], shape: tuple[int, int], position_s: Sequence[float]
) -> Solution:
    a, y, sigma = rows.matrix(), np.array(rows.values), np.array(rows.sigmas)
    robust, kept = np.array(rows.robust), np.ones(len(y), dtype=bool)
    theta, missed = _reweighted(a, y, sigma, robust)
    kept &= ~(robust & (np.abs(missed) > DROP_AT))
    theta = _weighted(a[kept], y[kept], sigma[kept])
    missed = (y - a @ theta) / sigma
    sound = np.array([c is not None and c.other is not None for c in rows.clues]) & kept
    scale = _excess(a, missed, sound, shape[0])
    sigma = np.where(sound, sigma * scale, sigma)
    normal = (a[kept] / sigma[kept, None] ** 2).T @ a[kept]
    covariance = _inverse(normal)
    n, runs = shape
    k = len(cameras)
    spread = np.sqrt(np.maximum(np.diag(covariance), 0.0))
    drift, media = slice(n + runs, n + runs + k), slice(n + runs + k, n + runs + 2 * k)
    return Solution(
        start_s=rough + theta[:n],
        covariance=covariance[:n, :n],
        offset_s=np.asarray(position_s, dtype=float) + theta[n : n + runs],
        offset_sigma_s=spread[n : n + runs],
        drift_ppm=dict(zip(cameras, zip(theta[drift].tolist(), spread[drift].tolist(), strict=True), strict=True)),
        media_ppm=dict(zip(cameras, zip(theta[media].tolist(), spread[media].tolist(), strict=True), strict=True)),
        media_covariance=covariance[:n, media],
        cameras=cameras,
        dropped={c: float(abs(missed[i])) for i, c in enumerate(rows.clues) if c is not None and not kept[i]},
    )


def _reweighted(
    a: NDArray[np.float64], y: NDArray[np.float64], sigma: NDArray[np.float64], robust: NDArray[np.bool_]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Least squares with Cauchy weights on the robust rows; returns unknowns and residuals in standard deviations."""
    theta = _weighted(a, y, sigma)
    missed = (y - a @ theta) / sigma
    for _ in range(50):
        weight = np.where(robust, 1.0 / np.sqrt(1.0 + (missed / CAUCHY) ** 2), 1.0)
        new = _weighted(a, y, sigma / weight)
        missed = (y - a @ new) / sigma
        if np.max(np.abs(new - theta)) < 1e-5:
            return new, missed
        theta = new
    return theta, missed


def _scaling(a: NDArray[np.float64]) -> NDArray[np.float64]:
    norm = np.sqrt(np.sum(a**2, axis=0))
    return np.where(norm > 0, norm, 1.0)


def _weighted(a: NDArray[np.float64], y: NDArray[np.float64], sigma: NDArray[np.float64]) -> NDArray[np.float64]:
    weighted = a / sigma[:, None]
    scale = _scaling(weighted)  # equal column lengths: a gauge of a microsecond beside an offset of days
    found, *_ = np.linalg.lstsq(weighted / scale, y / sigma, rcond=1e-13)
    return found / scale


def _inverse(normal: NDArray[np.float64]) -> NDArray[np.float64]:
    scale = np.sqrt(np.maximum(np.diag(normal), 1e-300))
    return np.linalg.pinv(normal / np.outer(scale, scale), rcond=1e-15, hermitian=True) / np.outer(scale, scale)


def _excess(a: NDArray[np.float64], missed: NDArray[np.float64], sound: NDArray[np.bool_], n: int) -> float:
    """By how much shared sounds scatter more than they say (>= 1), where takes were tied more than once."""
    if not sound.any():
        return 1.0
    spare = int(sound.sum()) - int(np.linalg.matrix_rank(a[sound][:, :n]))
    return float(np.sqrt(max(1.0, np.sum(missed[sound] ** 2) / spare))) if spare >= 3 else 1.0
