"""Clues: each file finds one kind, and knows nothing of the others.

    stamps        what a creation stamp can mean, and how rough it is
    trusted       clocks set by a network or by satellites
    position      positions that clips carry, against the track
    sound         takes of different cameras that heard the same
    filmed_clock  a clock's code that was held before the lens
    engine_noise  the motor's loudness against the boat's speed
    logged_events what the log says happened, against where there is footage
    human         the user's own word
"""
