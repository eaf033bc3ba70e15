"""Rows of fixes -> the frame that all track readers give."""

import math
from collections.abc import Iterable
from dataclasses import astuple, dataclass

import numpy as np
import pandas as pd

from reelnotes.records.tracks import FIX_COLUMNS

NAN = math.nan


@dataclass(slots=True)
class Fix:
    """One fix as the file gives it; NaN where it does not tell. Units as in records.tracks."""

    time_utc_s: float
    lat: float
    lon: float
    speed_mps: float = NAN
    course_deg: float = NAN
    hdop: float = NAN
    ele_m: float = NAN

    @property
    def on_earth(self) -> bool:
        """True for a place and time that can be: |lat| <= 90, |lon| <= 180, all finite, and not the 0, 0 of a cold start."""
        place = abs(self.lat) <= 90 and abs(self.lon) <= 180 and not (self.lat == 0 and self.lon == 0)
        return place and math.isfinite(self.time_utc_s)


def fixes_frame(fixes: Iterable[Fix], source: str) -> pd.DataFrame:
    """Fixes -> frame with FIX_COLUMNS in time order; fixes of one instant keep their order in the file."""
    rows = [astuple(fix) for fix in fixes]
    numbers = np.array(rows, dtype=float).reshape(len(rows), len(FIX_COLUMNS) - 1)
    frame = pd.DataFrame(numbers, columns=list(FIX_COLUMNS[:-1]))
    frame["source"] = pd.Series([source] * len(frame), index=frame.index, dtype=object)
    return frame.sort_values("time_utc_s", kind="stable", ignore_index=True)
