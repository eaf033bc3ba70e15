"""Trusted cameras: clocks that a network or satellites set, such as a phone's."""

from dataclasses import dataclass

from reelnotes.records.clips import Camera

NETWORK_SIGMA_S = 0.15  # a phone between two calls home to its time server


@dataclass(frozen=True, slots=True)
class OffsetClue:
    """A measurement of a whole run's offset: UTC minus the camera's own reading (not minus the cut-off stamp).

    kind "trusted" | "human" | "stamps"; run: index among all runs; words: a sentence for the user.
    """

    kind: str
    run: int
    value_s: float
    sigma_s: float
    words: str


def trusted_sigma_s(camera: Camera) -> float | None:
    """Spread of a trusted camera's clock about true time, or None when the camera is not trusted."""
    return NETWORK_SIGMA_S if camera.trusted else None
