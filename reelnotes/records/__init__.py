"""The shared records: what one room hands to the next.

The lowest room. It imports no other room, does no work on files, and holds only small frozen
dataclasses and the arithmetic that belongs to them (time, rates, units). Everything is SI and
UTC; units stand in the names; an estimate travels with its standard uncertainty and its source.

    instants   instants and spans on the UTC time line, ISO 8601 text
    rates      rational frame rates and SMPTE ST 12-1 timecode
    units      exact conversion factors
    problems   Problem, Refusal, and the errors that end a command
    estimates  a number with its uncertainty and source
    settings   what trip.toml may say
    boards     reference boards and lenses, as read
    clips      clips, recordings, cameras
    folder     a trip folder as read
    log        logged events
    tracks     raw fixes, the cleaned track, legs
    clocks     clues, solved clocks, placed clips
    trip       the line-up: the one trip record
    lengths    measured fish
    cuts       moments and the edit list
    record     the whole record, for those who write it down
"""
