"""The measuring bench: what is made once, outside any trip.

marker_board   a marker board of our own: layout, picture, descriptor
board_pdf      the same board as a true-scale PDF on A4 or Letter strips
descriptor     writing boards/*.toml and lenses/*.toml
enrol          an own board from one oblique photo; quad: its outline, ticks: its rule
calibrate      a lens from a clip of a checkerboard or a marker board
lens_doubt     what views lack to tell a lens, and how well they told it
"""
