"""How many frames of a clip are searched when nothing in them is near to a known board."""

from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from reelnotes.measure import pose
from reelnotes.measure.find_board import Search
from reelnotes.measure.looking import SHORT_S, Sights
from reelnotes.measure.posed import NotFound


# A short clip is searched further than a long one, unless nothing at all speaks for a board: between its key frames one may come.
@pytest.mark.parametrize(
    ("nearest", "short_s", "searched"),
    [(0.05, None, 2), (0.15, None, 2), (0.05, SHORT_S, 2), (0.15, SHORT_S, 4), (0.3, None, 6), (0.3, SHORT_S, 6)],
)
def test_frames_with_no_trace_of_a_known_board_are_soon_enough(
    monkeypatch: pytest.MonkeyPatch, nearest: float, short_s: float | None, searched: int
) -> None:
    looked = []
    frames = [SimpleNamespace(pixels=np.zeros((90, 160, 3), np.uint8), time_s=float(i)) for i in range(6)]
    monkeypatch.setattr(pose, "frames_to_search", lambda *_: iter(frames))
    monkeypatch.setattr(pose, "search", lambda *_, **__: looked.append(1) or Search(None, nearest))
    refused = pose._look(Path("clip.mp4"), Sights((0.0, 1.0), 0.5, short_s), [], None)
    assert isinstance(refused, NotFound) and refused.nearest == nearest and len(looked) == searched
