"""The track: raw fixes -> where the boat was and how fast, at any time the fixes bear out.

geodesy   WGS 84: geodesics, and the flat local frame in which a piece is smoothed
outliers  duplicates, stuck receivers, teleports, impossible times
kalman    the smoother: constant velocity, forward filter and Rauch-Tung-Striebel pass
smoothing robust weights, and how restless the boat is, found from the fixes themselves
clean     clean_track: fixes -> Track
instants  position_at, speed_series: between the fixes
legs      the ways of moving told apart
"""

from reelnotes.track.clean import clean_track
from reelnotes.track.instants import position_at, speed_series

__all__ = ["clean_track", "position_at", "speed_series"]
