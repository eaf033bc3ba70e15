"""Colours, in one place for the page, its pictures and the card; all pairs in use are checked for contrast."""

LIGHT = {
    "paper": "#f4f1e8",
    "sheet": "#fffdf7",
    "ink": "#13262d",
    "soft": "#4a5f67",
    "rule": "#d8d2c2",
    "water": "#0c6273",
    "float": "#b0380f",
    "clip": "#21434e",
    "not-moving": "#7d8a8c",
    "under-way": "#2c7da0",
    "trolling": "#12836f",
    "drifting": "#9a6b00",
    "circling": "#9c3f87",
}
DARK = {
    "paper": "#0b171c",
    "sheet": "#12232a",
    "ink": "#eaf0ed",
    "soft": "#a4b7bb",
    "rule": "#2a414a",
    "water": "#67c5d4",
    "float": "#ff9a6e",
    "clip": "#cfe3e6",
    "not-moving": "#76868a",
    "under-way": "#5aa9d6",
    "trolling": "#3fbf9f",
    "drifting": "#d9a83a",
    "circling": "#d884c4",
}
TEXT = ("ink", "soft", "water", "float")  # drawn as text on paper and sheet
SHAPES = ("clip", "not-moving", "under-way", "trolling", "drifting", "circling", "float")  # drawn as shapes on the sheet
