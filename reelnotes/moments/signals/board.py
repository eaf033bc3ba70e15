"""Fish on the board: where a length was measured, or a fish lay on a board all the same."""

from reelnotes.moments.evidence import Evidence, Scene, SpanClaim

WEIGHTS = {"measured": 0.8, "check": 0.75}


def signal(scene: Scene) -> Evidence:
    """One span for every measured or doubtful fish; a refusal shows no fish that could be told."""
    return Evidence(
        spans=tuple(
            SpanClaim(
                "the fish on the board",
                WEIGHTS[fish.verdict],
                "measured against the board" if fish.verdict == "measured" else "on the board, length in doubt",
                fish.clip,
                fish.start_s,
                fish.end_s,
                fish.catch,
            )
            for fish in scene.lengths
            if fish.verdict in WEIGHTS and fish.end_s > fish.start_s
        )
    )
