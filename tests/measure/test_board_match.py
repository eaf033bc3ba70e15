"""The board's colours by short cuts, against the formulas they stand for."""

import numpy as np

from reelnotes.measure.board_match import BoardMatch, colour_doubt, colour_terms, coloured


def test_colours_are_the_terms_times_the_map():
    rng = np.random.default_rng(2)
    picture = rng.integers(0, 256, (20, 30, 3)).astype(np.uint8)
    colours = rng.normal(20.0, 30.0, (10, 3))
    wanted = np.clip(colour_terms(picture).astype(np.float64) @ colours, 1.0, 400.0)
    assert np.allclose(coloured(picture, colours), wanted, atol=1e-3)


def test_the_doubt_of_a_colour_grows_with_its_leverage():
    # source: leverage as Belsley, Kuh and Welsch (1980) define it, for each pixel by itself; within a colour's step of 8 levels
    rng = np.random.default_rng(3)
    picture = rng.integers(0, 256, (20, 30, 3)).astype(np.uint8)
    few = colour_terms(np.clip(rng.normal(200, 15, (1, 500, 3)), 0, 255).astype(np.uint8))[0].astype(np.float64)
    spread = np.linalg.cholesky(np.linalg.inv(few.T @ few / len(few) + 1e-3 * np.eye(10)))
    nothing = np.zeros((20, 30), np.float32)
    match = BoardMatch(np.zeros((10, 3)), nothing, nothing, nothing, nothing, spread)
    terms = colour_terms(picture).astype(np.float64)
    leverage = np.einsum("hwi,ij,hwj->hw", terms, np.linalg.inv(few.T @ few / len(few) + 1e-3 * np.eye(10)), terms)
    wanted = 0.8 * np.sqrt(np.clip(leverage - 5.0, 0.0, None))
    assert np.abs(colour_doubt(match, picture) - wanted).max() < 0.1 * wanted.max()
