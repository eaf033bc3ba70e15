"""Signals: what tells of moments, one file each, all of the one form ``signal(scene) -> Evidence``.

    log          the rows of the log, and the strikes that they imply
    board        fish measured on a board
    shore        clips from before and after the water
    sound_onset  what stands out in the sound: where in a logged event's window it most likely lies

A new signal is a new file with such a function, and a line in ALL.
"""

from reelnotes.moments.evidence import Signal
from reelnotes.moments.signals import board, log, shore, sound_onset

ALL: dict[str, Signal] = {
    "log": log.signal,
    "board": board.signal,
    "shore": shore.signal,
    "sound": sound_onset.signal,
}
