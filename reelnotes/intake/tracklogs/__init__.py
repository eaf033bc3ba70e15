"""Position logs: one reader a format, all giving the same frame of raw fixes.

    sniff      which format a file is, by its content first and its name second
    gpx        GPX 1.0 and 1.1 (gpxpy)
    nmea       NMEA 0183 text, RMC joined with GGA (pynmea2)
    fit        FIT (fitdecode)
    csv_track  CSV, TSV and the like with time, lat, lon
    coords     coordinates, speeds and epochs as text
    fixes      rows -> the frame of records.tracks.FIX_COLUMNS
    tally      thousands of bad lines told as one problem

Nothing is smoothed or judged here: a fix that the file gives is a fix, however wild.
"""

from reelnotes.intake.tracklogs.sniff import looks_like_track, read_track_file

__all__ = ["looks_like_track", "read_track_file"]
