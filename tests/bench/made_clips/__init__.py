"""Measuring clips drawn by an independent renderer, with their exact truth; nothing here knows the product.

camera.py      lenses (OpenCV's fisheye law, pinhole with Brown's), poses, handheld motion
boards.py      random measuring boards: print, wear, markers, their toml
fish_drawn.py  fish as solids: stacked elliptical sections and fins, their lengths
things.py      boxes, tubes, hands and other solids as quads
decks.py       ground textures and where the sun falls
render.py      the rasteriser, the frame and the sensor
scenes.py      one clip of each kind: what lies where, how the camera moves, what is to be expected
no_board.py    single pictures without any board
"""
