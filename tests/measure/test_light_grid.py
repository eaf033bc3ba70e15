"""Light read from like pixels near by, against the same sums done pixel by pixel."""

import numpy as np

from reelnotes.measure.light_grid import lights_of_like


def half_shaded(height=60, width=240):
    """A board of two inks, the right half in a shade of a third: (seen, board, brightness, trust)."""
    rng = np.random.default_rng(1)
    board = np.where((np.arange(width)[None, :, None] // 7) % 2, 180.0, 90.0) * np.ones((height, 1, 3))
    light = np.where(np.arange(width) < width // 2, 1.0, 1 / 3)[None, :, None] * np.array([1.1, 1.0, 0.9])
    seen = board * light + rng.normal(0, 1.0, board.shape)
    ratio = (seen * board).sum(-1) / (board * board).sum(-1)
    return (a.astype(np.float32) for a in (seen, board, ratio, np.ones((height, width)), np.broadcast_to(light, board.shape)))


def test_sun_speaks_to_sun_and_shade_to_shade_across_a_hard_edge():
    seen, board, ratio, trust, light = half_shaded()
    trust[20:40] = 0.0  # what is not trusted is told by its like
    own = lights_of_like(seen, board, trust, ratio, 8.0).let_grow(np.ones_like(seen), ratio)
    # source: the light that was put in; a plain blur over 8 pixels would be off by a third along the edge
    assert np.abs(own / light - 1.0).max() < 0.05


def test_the_grid_agrees_with_the_sums_done_pixel_by_pixel():
    seen, board, ratio, trust, _ = half_shaded()
    own = lights_of_like(seen, board, trust, ratio, 6.0).let_grow(np.ones_like(seen), ratio)
    level = np.log2(ratio) / 0.2
    v, u = np.mgrid[: ratio.shape[0], : ratio.shape[1]]
    for at in ((30, 40), (12, 117), (45, 123), (30, 200)):
        # source: the cross bilateral filter's own definition (Tomasi and Manduchi 1998, eq. 5), brightness in tents of one level
        near = np.exp(-((v - at[0]) ** 2 + (u - at[1]) ** 2) / (2 * 6.0**2))
        near = near * np.clip(1.5 - np.abs(level - level[at]), 0, None)
        exact = (near[..., None] * seen * board).sum((0, 1)) / (near[..., None] * board * board).sum((0, 1))
        assert np.allclose(own[at], exact, rtol=0.02)


def test_a_brightness_that_nothing_trusted_has_keeps_its_gain():
    seen, board, ratio, trust, _ = half_shaded()
    lights = lights_of_like(seen, board, trust, ratio, 8.0)
    kept = np.full_like(seen, 0.7)
    assert np.allclose(lights.let_grow(kept, np.full_like(ratio, 6.0)), 0.7)


def test_the_light_serves_a_raster_of_another_size():
    seen, board, ratio, trust, light = half_shaded()
    lights = lights_of_like(seen, board, trust, ratio, 8.0)
    double = lights.let_grow(np.ones((120, 480, 3), np.float32), ratio.repeat(2, 0).repeat(2, 1))
    assert np.abs(double / light.repeat(2, 0).repeat(2, 1) - 1.0).max() < 0.05
