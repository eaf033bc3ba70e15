"""Which room imports which: read from the code, drawn into DEVELOPERS.md.

python tests/doors.py          print the map
python tests/doors.py --write  refresh the map in DEVELOPERS.md
"""

import ast
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
PACKAGE = ROOT / "reelnotes"
PAGE = ROOT / "DEVELOPERS.md"
BEGIN, END = "<!-- doors: begin -->", "<!-- doors: end -->"

# Lower rooms first; a room may import only what its line says, and `records` and `media` where noted.
ROOMS = ("records", "media", "intake", "track", "clocks", "lineup", "measure", "moments", "cuts", "sorting", "ledger", "summary")
FLOW = {"pipeline": set(ROOMS), "workbench": set(ROOMS), "cli": {*ROOMS, "pipeline", "workbench"}}


def room_of(path: Path) -> str:
    """The room that a file belongs to: its folder, or its own name at the top."""
    inside = path.relative_to(PACKAGE).parts
    return inside[0] if len(inside) > 1 else path.stem


def imports() -> dict[str, dict[str, set[str]]]:
    """room -> imported room -> the modules imported, over the whole package."""
    found: dict[str, dict[str, set[str]]] = {}
    for path in sorted(PACKAGE.rglob("*.py")):
        room = room_of(path)
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            names = []
            if isinstance(node, ast.ImportFrom) and node.module:
                names = [node.module] if node.module != "reelnotes" else [f"reelnotes.{a.name}" for a in node.names]
            elif isinstance(node, ast.Import):
                names = [a.name for a in node.names]
            for name in names:
                parts = name.split(".")
                if parts[0] == "reelnotes" and len(parts) > 1 and parts[1] != room:
                    found.setdefault(room, {}).setdefault(parts[1], set()).add(name)
    return found


def allowed(room: str) -> set[str]:
    """The rooms that a room may import."""
    if room in FLOW:
        return FLOW[room]
    return {"records": set(), "media": {"records"}}.get(room, {"records", "media"})


def drawn() -> str:
    """The map as a Markdown table."""
    found = imports()
    rooms = (*ROOMS, "pipeline", "workbench", "cli")
    names = {room: ", ".join(f"`{name}`" for name in sorted(found.get(room, {}))) for room in rooms}
    lines = ["| room | imports |", "|---|---|", *(f"| `{room}` | {names[room] or 'nothing of ours'} |" for room in rooms)]
    return "\n".join(lines)


def refreshed(page: str) -> str:
    """DEVELOPERS.md with the map as the code has it."""
    before, rest = page.split(BEGIN, 1)
    return f"{before}{BEGIN}\n{drawn()}\n{END}{rest.split(END, 1)[1]}"


if __name__ == "__main__":
    if "--write" in sys.argv:
        PAGE.write_text(refreshed(PAGE.read_text(encoding="utf-8")), encoding="utf-8")
    else:
        sys.stdout.write(drawn() + "\n")
