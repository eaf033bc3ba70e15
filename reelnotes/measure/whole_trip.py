"""All clips of a trip: side by side, and with one lens for all clips of a camera that came without one.

One clip fixes its lens poorly: focal length and camera height trade against each other, and with the height goes the
parallax of the fish. The same camera's other clips see the board from elsewhere. So clips without a calibration are
posed first, their lens is solved once more over all of them, and all are measured with that: also those in which no
board was found at first, for a known lens makes a plain board findable. Before all this each clip gets a glance, once;
one that cannot show a board is looked at no more.
"""

import logging
import os
from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import Executor, ProcessPoolExecutor, as_completed
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass, replace
from multiprocessing import get_context
from typing import TypeVar

import cv2

from reelnotes.measure.board_model import load_board
from reelnotes.measure.lens_model import LensModel
from reelnotes.measure.looking import Sights, glance_through
from reelnotes.measure.measure_clip import ClipMeasure, Progress, measure_clip, measure_posed, not_measured
from reelnotes.measure.pool_lens import ClipViews, pool_lens, views_of
from reelnotes.measure.pose import pose_again, pose_clip
from reelnotes.measure.posed import KnownClip, PosedClip
from reelnotes.records.boards import Board, Lens
from reelnotes.records.clips import Clip
from reelnotes.records.folder import TripFolder
from reelnotes.records.problems import Problem, Refusal, UnreadableError

log = logging.getLogger(__name__)

T = TypeVar("T")

_GLANCE = 0.1  # share of the progress bar
# What numpy and OpenCV raise over a picture such as none before it. It is a fault of ours, and told as one; but the trip's other
# clips are measured all the same.
_FAULTS = (ArithmeticError, ValueError, LookupError, cv2.error)
_HELD = 1e-4  # a pooled lens is held: one clip's many readings share their errors and would talk it out of what all say


@dataclass(frozen=True, slots=True)
class TripMeasure:
    """The clips in which a known board is in sight, in the folder's order, and what could not be read."""

    clips: tuple[ClipMeasure, ...]
    problems: tuple[Problem, ...] = ()


@dataclass(frozen=True, eq=False)
class PooledLens:
    """A lens solved over ``clips`` clips of the camera; its focal_sigma is its doubt."""

    lens: LensModel
    clips: int


@dataclass(frozen=True, eq=False)
class Job:
    """One clip to pose or to measure; small enough to travel to another process.

    sights: where to look in it. known: what an earlier look without a lens found, which spares the search; refused: why that
    found nothing, which spares another like it. units: what its picture shows lengths in.
    """

    clip: Clip
    boards: tuple[Board, ...]
    lens: Lens | PooledLens | None
    sights: Sights | None = None
    known: KnownClip | None = None
    refused: Refusal | None = None
    units: str = "metric"


@dataclass(frozen=True, eq=False)
class FirstLook:
    """What posing a clip without a lens told: of the lens, and of the clip."""

    views: ClipViews
    known: KnownClip | None = None


def measure_clips(folder: TripFolder, progress: Progress | None = None, *, executor: Executor | None = None) -> TripMeasure:
    """Measure every usable clip of a trip in which a known board is in sight, in the folder's order.

    executor: where the clips are worked on; None for processes of our own, as many as there are cores and clips. The
    answer does not depend on it.
    """
    boards, problems = usable_boards(folder.boards)
    tell = progress or (lambda share, what: None)
    if not boards:
        tell(1.0, "done")
        return TripMeasure((), problems)
    units = folder.settings.units
    jobs = [Job(clip, boards, lens_of(clip, folder), units=units) for clip in folder.clips if clip.usable]
    made = _side_by_side(jobs, tell, executor)
    return replace(made, problems=(*problems, *made.problems))


def _side_by_side(jobs: Sequence[Job], tell: Progress, executor: Executor | None) -> TripMeasure:
    if executor is not None:
        return _measured(jobs, tell, executor)
    workers = min(os.cpu_count() or 1, len(jobs))
    if workers < 2:
        return _measured(jobs, tell, None)
    try:
        with ProcessPoolExecutor(workers, get_context("spawn"), _single_threaded) as own:
            return _measured(jobs, tell, own)
    except (BrokenProcessPool, PermissionError) as fault:
        log.info("clips are measured one after the other: %s", fault)
        return _measured(jobs, tell, None)


def usable_boards(boards: Sequence[Board]) -> tuple[tuple[Board, ...], tuple[Problem, ...]]:
    """The boards whose picture can be used, and what is wrong with the others' pictures (that one has none, its reader says)."""
    good, problems = [], []
    for board in boards:
        if board.picture is None:
            continue
        model = load_board(board)
        if isinstance(model, Refusal):
            advice = "the picture shows the empty board, all of it; 'reelnotes enrol' makes one from a photo"
            problems.append(Problem(board.source or board.name, model.reason, "no fish is measured on this board", advice))
        else:
            good.append(board)
    return tuple(good), tuple(problems)


def lens_of(clip: Clip, folder: TripFolder) -> Lens | None:
    """The calibrated lens of a clip's camera, where it holds for a picture of the clip's shape; or None."""
    for camera in folder.cameras:
        if camera.name == clip.camera:
            lens = folder.lenses.get(camera.lens or "")
            return lens if lens is not None and lens.fits(*clip.shown_size_px) else None
    return None


def measured_clip(job: Job) -> ClipMeasure | Problem:
    """What a clip tells, or why it cannot be read. Top-level, for other processes."""
    try:
        if isinstance(job.lens, PooledLens):
            return _under_pooled_lens(job, job.lens)
        if job.known is not None:
            posed = pose_again(job.clip.path, job.boards, job.known, None)
            if isinstance(posed, PosedClip):
                return measure_posed(posed, job.clip.name, job.units)
        return _alone(job)
    except UnreadableError as fault:
        return replace(fault.problem, where=job.clip.name, done="the clip was not measured")
    except _FAULTS as fault:
        return _our_fault(job, fault)


def _our_fault(job: Job, fault: Exception) -> Problem:
    log.debug("%s", job.clip.name, exc_info=fault)
    what = f"measuring met a fault of this program ({type(fault).__name__}: {fault})"
    return Problem(job.clip.name, what, "the clip was not measured", "please report it, if you can with the clip")


def _alone(job: Job) -> ClipMeasure:
    """The clip measured under the lens that its camera was given, else under its own."""
    if job.refused is not None:
        return not_measured(job.clip.name, job.refused)
    clip, lens = job.clip, job.lens if isinstance(job.lens, Lens) else None
    return measure_clip(clip.path, clip_name=clip.name, boards=job.boards, lens=lens, sights=job.sights, units=job.units)


def _under_pooled_lens(job: Job, pooled: PooledLens) -> ClipMeasure:
    held = replace(pooled.lens, focal_sigma=_HELD)
    posed: PosedClip | Refusal
    if job.known is not None:
        posed = pose_again(job.clip.path, job.boards, job.known, held)
    else:
        posed = pose_clip(job.clip.path, job.boards, held, sights=job.sights)
    if isinstance(posed, Refusal):  # what the common lens does not hold, the clip's own may
        return _alone(job)
    source = f"pooled over {pooled.clips} clips of the camera"
    return measure_posed(replace(posed, lens_from=source, lens_sigma=pooled.lens.focal_sigma), job.clip.name, job.units)


def sights_of_clip(job: Job) -> Sights | Problem:
    """Where in a clip a board might be, or why it cannot be read."""
    try:
        return glance_through(job.clip.path)
    except UnreadableError as fault:
        return replace(fault.problem, where=job.clip.name, done="the clip was not measured")
    except _FAULTS as fault:
        return _our_fault(job, fault)


def first_look(job: Job) -> FirstLook | Refusal | None:
    """The board and the print seen in a clip's best frames, without their pictures; why none was found; None for a fault."""
    try:
        posed = pose_clip(job.clip.path, job.boards, None, sights=job.sights)
    except (UnreadableError, *_FAULTS):
        return None  # said when the clip is measured
    return posed if isinstance(posed, Refusal) else FirstLook(views_of(posed), KnownClip.of(posed))


def _measured(jobs: Sequence[Job], tell: Progress, executor: Executor | None) -> TripMeasure:
    sights = _mapped(sights_of_clip, jobs, executor, lambda s, what: tell(_GLANCE * s, what))
    problems = [s for s in sights if isinstance(s, Problem)]
    jobs = [replace(job, sights=s) for job, s in zip(jobs, sights, strict=True) if isinstance(s, Sights) and s.times_s]
    shared = {i for group in _without_lens(jobs) for i in group}
    order = sorted(shared)
    part = _GLANCE + (1 - _GLANCE) * len(order) / max(len(order) + len(jobs), 1)
    looks = _mapped(first_look, [jobs[i] for i in order], executor, lambda s, w: tell(_GLANCE + (part - _GLANCE) * s, w))
    ready = with_pooled_lenses(jobs, dict(zip(order, looks, strict=True)))
    found: list[ClipMeasure] = []
    for made in _mapped(measured_clip, ready, executor, lambda s, what: tell(part + (1 - part) * s, what)):
        if isinstance(made, Problem):
            problems.append(made)
        elif made.board_seen:
            found.append(made)
    tell(1.0, "done")
    return TripMeasure(tuple(found), tuple(problems))


def with_pooled_lenses(jobs: Sequence[Job], looks: Mapping[int, FirstLook | Refusal | None]) -> list[Job]:
    """The jobs with what was learnt in posing them without a lens, and with the lens that their camera's clips agree on,
    where they do.

    looks: by the job's place, of the clips posed without a lens, as from :func:`first_look`. A clip whose print says
    that it was taken with another lens (another field of view chosen, say) gets no common one and is solved alone.
    """
    ready = [_informed(job, looks.get(i)) for i, job in enumerate(jobs)]
    for group in _without_lens(jobs):
        seen = [(i, look.views) for i in group if isinstance(look := looks.get(i), FirstLook)]
        pooled = pool_lens([v for _, v in seen])
        if pooled is None:
            continue
        strangers = {i for k, (i, _) in enumerate(seen) if k not in pooled.agreeing}
        for i in group:
            if i not in strangers:
                ready[i] = replace(ready[i], lens=PooledLens(pooled.lens, len(pooled.agreeing)))
    return ready


def _informed(job: Job, look: FirstLook | Refusal | None) -> Job:
    """A job with what its clip told when it was posed without a lens."""
    if isinstance(look, FirstLook):
        return replace(job, known=look.known)
    return replace(job, refused=look) if isinstance(look, Refusal) else job


def _without_lens(jobs: Sequence[Job]) -> list[list[int]]:
    """Places of clips without a calibration, by camera and picture size as shown; only where there are two or more."""
    groups: dict[tuple[str, int, int], list[int]] = defaultdict(list)
    for i, job in enumerate(jobs):
        if job.lens is None:
            groups[(job.clip.camera, *job.clip.shown_size_px)].append(i)
    return [group for group in groups.values() if len(group) > 1]


def _mapped(work: Callable[[Job], T], jobs: Sequence[Job], executor: Executor | None, tell: Progress) -> list[T]:
    """``work`` on every job, in the jobs' order whatever order they are done in."""
    if executor is None:
        done = []
        for k, job in enumerate(jobs):
            tell(k / len(jobs), job.clip.name)
            done.append(work(job))
        return done
    futures = {executor.submit(work, job): k for k, job in enumerate(jobs)}
    results: dict[int, T] = {}
    for future in as_completed(futures):
        k = futures[future]
        results[k] = future.result()
        tell(len(results) / len(jobs), jobs[k].clip.name)
    return [results[k] for k in range(len(jobs))]


def _single_threaded() -> None:
    """One thread per process: as many processes as cores are at work already."""
    cv2.setNumThreads(1)
