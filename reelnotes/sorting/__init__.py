"""Sorted clips: the clips again as links, in a tree by day, leg and catch, that can be taken back.

    naming     names that every common file system takes
    planning   where each clip belongs
    journal    what was made, written before it is made
    tree       making the tree and undoing it

The verbs are :func:`sort_clips` and :func:`undo_sort`.
"""

from reelnotes.sorting.tree import TREE, SortReport, UndoReport, sort_clips, undo_sort

__all__ = ["TREE", "SortReport", "UndoReport", "sort_clips", "undo_sort"]
