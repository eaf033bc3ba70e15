"""Before and after the water: rigging at the ramp, the cook-up ashore. Each such clip is a moment of its own."""

from reelnotes.moments.evidence import Evidence, Scene, SpanClaim

SHOWN_S = 6.0
KINDS = {"before": ("rigging", "before the water"), "after": ("ashore", "after the water")}


def signal(scene: Scene) -> Evidence:
    """A span in the middle of every clip that lies before or after the time on the water."""
    spans = []
    for placed in scene.lineup.clips:
        if placed.clip.usable and placed.when in KINDS:
            kind, words = KINDS[placed.when]
            length = min(SHOWN_S, placed.clip.duration_s)
            start = (placed.clip.duration_s - length) / 2.0
            spans.append(SpanClaim(kind, 0.4, words, placed.clip.name, start, start + length))
    return Evidence(spans=tuple(spans))
