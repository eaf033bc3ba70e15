import pickle
from dataclasses import replace
from fractions import Fraction

import av
import numpy as np
import pytest
from scenes import WIDE, board_on_disk, draw_board, fish, looking, render

from reelnotes.measure import pose
from reelnotes.measure.pool_lens import pool_lens, views_of
from reelnotes.measure.pose import pose_again, pose_clip
from reelnotes.measure.posed import KnownClip, PosedFrame
from reelnotes.measure.rectify import rectify
from reelnotes.records.boards import Lens
from reelnotes.records.problems import Refusal

VIEWS = [(6, 4, 0), (-14, 12, 6), (14, -14, 12), (-20, -10, 4), (20, 16, -8), (4, 24, -14)]


def film(path, images, each=3):
    with av.open(str(path), "w") as out:
        stream = out.add_stream("libx264", rate=Fraction(30))
        stream.width, stream.height, stream.pix_fmt = images[0].shape[1], images[0].shape[0], "yuv420p"
        stream.options = {"crf": "16", "preset": "ultrafast"}
        for image in images:
            for _ in range(each):
                out.mux(stream.encode(av.VideoFrame.from_ndarray(image, format="bgr24")))
        out.mux(stream.encode())
    return path


@pytest.fixture(scope="module")
def clip(tmp_path_factory):
    folder = tmp_path_factory.mktemp("clip")
    picture = draw_board()
    poses = [looking(500, 160, tilt_deg=a, turn_deg=b, spin_deg=c, height=430.0) for a, b, c in VIEWS]
    images = [render(picture, WIDE, R, t, seed=i, cover=fish(0, 280, 85, 32)) for i, (R, t) in enumerate(poses)]
    return film(folder / "c.mp4", images), board_on_disk(folder, picture), poses


def reading(frame, pose):
    """What the frame says of x = 300 against x = 0, both seen by the true camera."""
    R, t = pose
    px = WIDE.project(np.array([[0.0, 80.0, 0], [300.0, 80.0, 0]]) @ R.T + t)
    got = frame.px_to_board_plane(px)
    return got[1, 0] - got[0, 0]


def test_lengths_hold_when_the_lens_is_solved_from_the_board(clip):
    path, board, poses = clip
    posed = pose_clip(path, [board], None)
    assert posed and posed.lens_from == "solved from the board" and posed.stop_visible == 1.0
    lengths = [reading(f, poses[f.frame // 3]) for f in posed.frames]
    assert abs(np.mean(lengths) - 300.0) < 0.3
    assert max(abs(x - 300.0) for x in lengths) < 1.5
    assert abs(np.log(posed.lens.fx / WIDE.fx)) < 5 * posed.lens_sigma + 0.01


def test_the_lens_is_solved_from_that_of_the_clearest_frame(clip, monkeypatch):
    path, board, _ = clip
    refined, solved, starts = pose._refined, pose._solved, []

    def with_a_poor_first(*args):
        (shot, first), *rest = refined(*args)
        return [(shot, replace(first, score=0.1 * first.score, lens=replace(first.lens, fx=300.0, fy=300.0))), *rest]

    def noted(fine, model, start, span, *, given):
        starts.append(start.fx)
        return solved(fine, model, start, span, given=given)

    monkeypatch.setattr(pose, "_refined", with_a_poor_first)
    monkeypatch.setattr(pose, "_solved", noted)
    assert pose_clip(path, [board], None).lens_from == "solved from the board"
    assert starts == [pytest.approx(WIDE.fx, rel=0.1)]


def test_a_lens_pooled_from_a_cameras_clips_serves_the_next_clip(clip):
    path, board, poses = clip
    first = pose_clip(path, [board], None)
    pooled = pool_lens([views_of(first), views_of(first)])
    assert pooled is not None
    lens = pooled.lens
    assert lens.focal_sigma <= first.lens_sigma
    again = pose_clip(path, [board], lens)
    assert again and abs(reading(again.frames[0], poses[again.frames[0].frame // 3]) - 300.0) < 1.0


def test_a_clip_is_posed_again_under_another_lens_without_a_search(clip):
    path, board, poses = clip
    first = pose_clip(path, [board], None)
    known = KnownClip.of(first)
    assert len(pickle.dumps(known)) < 1_000_000  # it travels to another process
    told = replace(WIDE, focal_sigma=1e-4)
    again = pose_again(path, [board], known, told)
    assert again and [f.time_s for f in again.frames] == [f.time_s for f in first.frames]
    assert all(abs(reading(f, poses[f.frame // 3]) - 300.0) < 1.0 for f in again.frames)
    assert again.lens_from == "given" and np.isclose(again.lens.fx, WIDE.fx, rtol=1e-3)
    own = pose_again(path, [board], known, None)
    assert own and own.lens_from == "solved from the board"
    assert abs(np.mean([reading(f, poses[f.frame // 3]) for f in own.frames]) - 300.0) < 0.3
    assert isinstance(pose_again(path, [], known, told), Refusal)


def test_lengths_hold_with_the_lens_given_and_the_pose_is_the_true_one(clip):
    path, board, poses = clip
    K = tuple(map(tuple, WIDE.K))
    posed = pose_clip(path, [board], Lens("w", "fisheye", 960, 540, K, WIDE.dist, 0.2))
    assert posed and posed.lens_from == "given"
    for f in posed.frames:
        R, t = poses[f.frame // 3]
        assert abs(reading(f, (R, t)) - 300.0) < 1.0
        assert np.linalg.norm(f.camera_mm - -R.T @ t) < 6.0


def test_every_frame_lies_alike_on_the_raster(clip):
    path, board, _ = clip
    posed = pose_clip(path, [board], None)
    drawn = [rectify(f, board, 1.0, 5.0) for f in posed.frames]
    want = posed.model.picture_on(drawn[0].raster)
    for d in drawn:
        assert d.image.shape == want.shape
        edge = d.seen & posed.model.on_board(d.raster)
        edge[35:135] = False  # the fish and its surroundings
        assert np.corrcoef(d.image[edge].ravel(), want[edge].ravel())[0, 1] > 0.8


def test_height_above_the_board_follows_the_parallax_law(clip):
    path, board, _ = clip
    posed = pose_clip(path, [board], None)
    f: PosedFrame = posed.frames[0]
    px = f.board_to_px(np.array([[400.0, 60.0]]))
    H = f.camera_mm[2]
    # source: similar triangles: seen from height H, a point at height h lies (H - h) / H of the way from the camera's foot
    foot = f.camera_mm[:2]
    expected = foot + (np.array([400.0, 60.0]) - foot) * (H - 30.0) / H
    assert np.allclose(f.px_to_board_plane(px, 30.0)[0], expected, atol=1e-6)


def test_a_clip_without_the_board_is_refused(tmp_path, clip):
    _, board, poses = clip
    grey = np.full((480, 1500, 3), 120, np.uint8)
    path = film(tmp_path / "none.mp4", [render(grey, WIDE, *poses[0])] * 4)
    assert isinstance(pose_clip(path, [board], None), Refusal)
    assert isinstance(pose_clip(path, [], None), Refusal)
