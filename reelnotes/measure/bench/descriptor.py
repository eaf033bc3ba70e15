"""Writing boards/*.toml and lenses/*.toml, as intake reads them."""

import json

from reelnotes.records.boards import Board, Lens


def board_toml(board: Board) -> str:
    """The text of a board's descriptor. Its picture is named by file name: both lie in one folder."""
    lines = [f"name = {_text(board.name)}", f"length_mm = {board.length_mm:.4f}", f"width_mm = {board.width_mm:.4f}"]
    if board.picture is not None and board.px_per_mm is not None and board.zero_px is not None:
        lines += [f"picture = {_text(board.picture.name)}", "", "[picture_scale]", f"px_per_mm = {board.px_per_mm:.6g}",
                  f"zero_px = [{board.zero_px[0]:.3f}, {board.zero_px[1]:.3f}]"]  # fmt: skip
    for marker in board.markers:
        corners = ", ".join(f"[{x:.2f}, {y:.2f}]" for x, y in marker.corners_mm)
        lines += ["", "[[marker]]", f"dictionary = {_text(marker.dictionary)}", f"id = {marker.id}", f"corners_mm = [{corners}]"]
    return "\n".join(lines) + "\n"


def lens_toml(lens: Lens) -> str:
    """The text of a lens calibration."""
    rows = ", ".join("[" + ", ".join(f"{v:.6f}" for v in row) + "]" for row in lens.camera_matrix)
    lines = [
        f"name = {_text(lens.name)}",
        f"model = {_text(lens.model)}",
        f"width = {lens.width_px}",
        f"height = {lens.height_px}",
        f"camera_matrix = [{rows}]",
        f"distortion = [{', '.join(f'{v:.8f}' for v in lens.distortion)}]",
    ]
    if lens.rms_px is not None:
        lines.append(f"rms_px = {lens.rms_px:.4f}")
    if lens.focal_sigma is not None:
        lines.append(f"focal_sigma = {lens.focal_sigma:.6f}")
    return "\n".join(lines) + "\n"


def _text(value: str) -> str:
    # A JSON string is a TOML basic string, but for DEL, which TOML wants escaped.
    return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
