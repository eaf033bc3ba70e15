"""From a trip folder to one record of everything in it, as each device and hand wrote it.

folder     read_trip: the one verb
finding    what lies where: every file put into one heap
naming     a file's name as text, fit for every output
settings   trip.toml, checked key by key; tomls: reading and checking any TOML file
cameras    which camera each clip is from
chapters   chaptered recordings joined into one continuous take
boards, lenses, limits, tide   the small files that the angler writes or prints
zone       the trip's time zone and date
tracklogs  position logs: GPX, NMEA 0183, FIT, CSV
catchlog   the catch log; tables: text tables of any encoding and delimiter
inventory  what was found, what is missing, and what each missing thing costs
"""

from reelnotes.intake.folder import read_trip
from reelnotes.intake.inventory import Found, Missing, inventory

__all__ = ["Found", "Missing", "inventory", "read_trip"]
