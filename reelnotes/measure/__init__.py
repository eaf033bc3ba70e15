"""Lengths of fish from clips that show a measuring board.

The board's geometry:

    board_model    a board ready to be looked for, and rasters of its plane
    lens_model     a lens as arithmetic
    nets           the small trained nets, read once
    glance, looking   what a frame's look says of a board in it; which frames to search at all
    region         where in a frame a board might lie, as a small net sees it
    find_board     the board in a frame: ways to propose where it lies, and the print as their judge
    find_markers, find_region, find_print, find_outline   the ways: numbered squares, the place that the net sees, features
                   of the whole picture, four-sided patches
    guided         features sought near their places; a pose grown over all of the board
    find_strips    long pieces of a ruler sought near theirs, where its ticks pass for their neighbours
    match_print, refine   the print found again piece by piece; from a rough pose to an exact one
    scan           the board followed through a clip to the frames worth posing
    pose, pose_fit, lens_slopes, solve_lens, pool_lens   the camera against the board, frame by frame; the lens when none is given
    scale_doubt    what a scale is worth when neighbouring print errs together
    posed, rectify the types handed on; frames drawn square on

The fish on it:

    photo          a photo as a clip of one frame
    scenes         before the fish is laid, with it, after
    stack          many frames as one picture of the board's plane
    smooth         wide blurs, cheaply
    board_match    what the empty board would look like under this light
    light, light_grid   sun and shade on one board
    outline        what the board does not explain
    parts          fish and hands as a small net sees them
    seen_fish      the fish by that look; whether a measured one agrees with it
    stop_shade     a nose short of the stop, where the stop's shade hides the gap
    shape          depth, bend, one body or two, is its end a tail
    masks          masks grown, shrunk and smoothed
    joined         an arm, a stain, a glint's veil taken off a piece
    fish_piece     which piece is the fish; what forbids a length
    matte          the share of fish in each pixel
    landmarks, tip_fit   tail tip and fork below the pixel
    own_shade      a tail told from its own shade on the board
    tail           the tail's end in close-up
    tail_end       which piece ends in the likeliest tail, at a quick look
    parallax       height above the board taken out
    budget         the sum of doubts (JCGM 100:2008)
    fish           all of these in a row
    verdict        measured, check or refused
    evidence, pictures   the picture that shows it; a run's pictures in their folder
    limits         a length against the angler's own limits
    measure_clip   one clip or photo
    whole_trip     a trip's clips, in worker processes, with one lens a camera
    bench          boards, enrolment and calibration, outside any trip
"""

from reelnotes.measure.limits import limit_notes, limit_remarks
from reelnotes.measure.measure_clip import ClipMeasure, measure_clip
from reelnotes.measure.pictures import with_rows, write_evidence
from reelnotes.measure.whole_trip import TripMeasure, measure_clips, usable_boards

__all__ = [
    "ClipMeasure",
    "TripMeasure",
    "limit_notes",
    "limit_remarks",
    "measure_clip",
    "measure_clips",
    "usable_boards",
    "with_rows",
    "write_evidence",
]
