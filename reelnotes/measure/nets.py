"""The small trained nets that come with the program, read once a process."""

from functools import cache
from importlib.resources import files

import cv2
import numpy as np


@cache
def trained(name: str) -> cv2.dnn.Net:
    """The net of ``<name>.onnx`` in this room. There is one a process: who asks sets its input and reads its answer at once."""
    weights = files("reelnotes.measure").joinpath(f"{name}.onnx").read_bytes()
    # The classic engine takes four fifths of the new one's time for nets this small.
    return cv2.dnn.readNetFromONNX(np.frombuffer(weights, np.uint8), cv2.dnn.ENGINE_CLASSIC)
