import importlib
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from scenes import WIDE, looking

from reelnotes.measure.lens_model import LensModel
from reelnotes.measure.looking import Sights
from reelnotes.measure.pool_lens import ClipViews, pool_lens
from reelnotes.measure.posed import Observations
from reelnotes.measure.whole_trip import FirstLook, Job, PooledLens, measure_clips, with_pooled_lenses
from reelnotes.records.clips import Clip
from reelnotes.records.problems import Refusal
from reelnotes.records.settings import TripSettings

VIEWS = [(6, 4, 0), (-14, 12, 6), (14, -14, 12)]


def views(true: LensModel, told: LensModel, seed: int) -> ClipViews:
    """A clip filmed through ``true`` and believed, alone, to be of lens ``told``: noise of a fifth of a pixel."""
    rng = np.random.default_rng(seed)
    x, y = np.meshgrid(np.linspace(0, 500, 14), np.linspace(0, 160, 7))
    mm = np.stack([x.ravel(), y.ravel()], axis=1)
    seen, Rs, ts = [], [], []
    for tilt, turn, spin in VIEWS:
        R, t = looking(500, 160, tilt_deg=tilt + seed, turn_deg=turn - 2 * seed, spin_deg=spin, height=430.0 + 20 * seed)
        px = true.project(np.column_stack([mm, np.zeros(len(mm))]) @ R.T + t)
        inside = np.isfinite(px).all(axis=1)
        weight = np.tile(np.eye(2) / 0.2**2, (int(inside.sum()), 1, 1))
        seen.append(Observations(mm[inside], px[inside] + rng.normal(0, 0.2, (int(inside.sum()), 2)), weight))
        Rs.append(R)
        ts.append(t * np.array([1, 1, told.fx / true.fx]))
    return ClipViews(told, tuple(seen), tuple(Rs), tuple(ts))


def off(lens: LensModel, share: float) -> LensModel:
    return replace(lens, fx=lens.fx * (1 + share), fy=lens.fy * (1 + share))


def test_clips_with_wrong_lenses_of_their_own_agree_on_the_right_one():
    pooled = pool_lens([views(WIDE, off(WIDE, share), i) for i, share in enumerate((0.05, -0.04, 0.03))])
    # source: the camera that made the points; the doubt claimed must hold it within three sigma.
    assert pooled is not None and pooled.agreeing == {0, 1, 2}
    assert abs(np.log(pooled.lens.fx / WIDE.fx)) < min(3 * pooled.lens.focal_sigma, 0.02)
    assert pooled.lens.focal_sigma >= 0.02 / np.sqrt(3)


def test_a_clip_of_another_lens_is_left_out():
    tele = LensModel("pinhole", WIDE.width_px, WIDE.height_px, 1500.0, 1500.0, WIDE.cx, WIDE.cy, (0.0,) * 5)
    pooled = pool_lens([views(WIDE, WIDE, 0), views(WIDE, off(WIDE, 0.02), 1), views(tele, tele, 2)])
    assert pooled is not None and pooled.agreeing == {0, 1}
    assert abs(np.log(pooled.lens.fx / WIDE.fx)) < 0.02


@pytest.mark.parametrize("count", [0, 1])
def test_one_clip_is_no_evidence_of_a_common_lens(count):
    assert pool_lens([views(WIDE, WIDE, i) for i in range(count)]) is None


def clip(name: str, camera: str, size=(960, 540), turned=0) -> Clip:
    return Clip(name, Path("nowhere") / name, camera, width_px=size[0], height_px=size[1], rotation_deg=turned)


def test_a_pooled_lens_goes_to_the_unfound_clips_of_its_camera_and_to_no_other():
    clips = [clip("a", "bow"), clip("b", "bow"), clip("c", "bow"), clip("d", "bow", turned=90), clip("e", "stern")]
    jobs = [Job(c, (), None) for c in clips]
    ready = with_pooled_lenses(jobs, {0: FirstLook(views(WIDE, off(WIDE, 0.03), 0)), 1: None, 2: FirstLook(views(WIDE, WIDE, 1))})
    assert [isinstance(job.lens, PooledLens) for job in ready] == [True, True, True, False, False]
    assert ready[1].lens.clips == 2


def test_the_answer_does_not_depend_on_the_executor_and_keeps_the_folders_order():
    clips = tuple(clip(f"{n}.mp4", "bow") for n in "edcba")
    folder = SimpleNamespace(settings=TripSettings(), clips=clips, boards=(), lenses={}, cameras=())
    shares = []
    with ThreadPoolExecutor(3) as threads:
        many = measure_clips(folder, lambda share, what: shares.append(share), executor=threads)
    with ThreadPoolExecutor(1) as one:
        assert measure_clips(folder, executor=one) == many
    assert many.clips == () and shares == sorted(shares) and shares[-1] == 1.0


def test_a_clip_that_cannot_be_read_is_a_problem_and_the_rest_go_on(tmp_path):
    from scenes import board_on_disk, draw_board

    board = board_on_disk(tmp_path, draw_board())
    clips = tuple(clip(f"{n}.mp4", "bow") for n in "ba")
    folder = SimpleNamespace(settings=TripSettings(), clips=clips, boards=(board,), lenses={}, cameras=())
    with ThreadPoolExecutor(2) as threads:
        told = measure_clips(folder, executor=threads)
    assert [p.where for p in told.problems] == ["b.mp4", "a.mp4"]


def test_a_clip_without_a_board_is_searched_once_without_a_lens_and_once_with_the_pooled_one(monkeypatch):
    whole = importlib.import_module("reelnotes.measure.whole_trip")
    asked = []

    def none_found(path, boards, lens, **_):
        asked.append((path.name, lens))
        return Refusal("no known board is in sight")

    for module in (whole, importlib.import_module("reelnotes.measure.measure_clip")):
        monkeypatch.setattr(module, "pose_clip", none_found)
    sights = Sights((0.0,), 0.9, None)
    jobs = [Job(clip(name, "bow"), (), None, sights) for name in "ab"]
    ready = with_pooled_lenses(jobs, {i: whole.first_look(job) for i, job in enumerate(jobs)})
    told = [whole.measured_clip(job) for job in ready]
    assert asked == [("a", None), ("b", None)]
    assert [made.lengths[0].reason for made in told] == ["no known board is in sight"] * 2 and not told[0].board_seen

    asked.clear()
    pooled = [replace(job, lens=PooledLens(WIDE, 2)) for job in ready]
    assert all(not whole.measured_clip(job).board_seen for job in pooled)
    assert [name for name, _ in asked] == ["a", "b"] and all(lens is not None for _, lens in asked)
