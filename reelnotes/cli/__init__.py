"""The command line: parse, call, print. One module a group of commands.

console    progress, problems, exit codes
options    the options that every command shares
trip       run, check, lineup, lengths, cuts, sort, summary
bench      measure, board, enrol, lens: the measuring bench, outside any trip
page       clockpage
"""

from reelnotes.cli.app import main

__all__ = ["main"]
