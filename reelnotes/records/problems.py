"""What went wrong, said once and clearly; and the errors that end a command."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing that was wrong with the input, in four short parts that read as one sentence.

    where   the file, with line, column or clip: ``log/catches.csv line 4, column length``
    what    what is wrong: ``'6x cm' is no length``
    done    what was done about it: ``the row was kept without it``
    advice  what the user can do, or '' : ``write it as 63.5 cm or 25 1/4"``
    serious True when something was set aside (exit code 1), False for a remark
    """

    where: str
    what: str
    done: str = ""
    advice: str = ""
    serious: bool = True

    def __str__(self) -> str:
        text = f"{self.where}: {self.what}"
        if self.done:
            text += f"; {self.done}"
        if not self.advice:
            return text
        return f"{text}; {self.advice}" if text.endswith(")") else f"{text} ({self.advice})"  # no two brackets in a row


@dataclass(frozen=True, slots=True)
class Refusal:
    """A result that could not be had, with its reason; falsy, so ``if result:`` reads well."""

    reason: str

    def __bool__(self) -> bool:
        return False


class ReelnotesError(Exception):
    """Base of all errors that end a command. ``exit_code`` 2: usage, or nothing usable."""

    exit_code = 2

    def __init__(self, where: str, what: str, advice: str = "") -> None:
        self.problem = Problem(where, what, "", advice)
        super().__init__(str(self.problem))


class UsageError(ReelnotesError):
    """The command was given something that cannot be: no such folder, a bad option value."""


class SettingsError(ReelnotesError):
    """trip.toml, a board, a lens or limits.toml says something that cannot be."""


class UnreadableError(ReelnotesError):
    """A file cannot be read as what it is meant to be. Readers raise it; intake sets the file aside."""
