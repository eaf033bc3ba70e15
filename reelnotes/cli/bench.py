"""The measuring bench: what is made once, outside any trip."""

import typer


def register(app: typer.Typer) -> None:
    """Add this module's commands to the program."""
