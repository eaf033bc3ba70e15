"""The catch log: rows written by a hand on a rocking boat -> logged events.

vocabulary  every word the reader knows, in five languages: one table, easy to extend
words       a written word -> what it means, misspelt ones too
quantities  lengths, weights and depths as text -> SI
times       times as text -> what was written (date, clock, zone, precision)
timeline    what was written -> instants: dates filled in, midnight, the hour that comes twice
cells       the cells of one row -> the fields of an event
reader      the whole file: looks_like_log, read_log_file; several files: without_copies
"""

from reelnotes.intake.catchlog.reader import looks_like_log, read_log_file, without_copies

__all__ = ["looks_like_log", "read_log_file", "without_copies"]
