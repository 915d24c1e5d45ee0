"""A board of three resistors, whose coverage can be worked out on paper, with a profile that half proves it."""

from pathlib import Path

from station.board import Board, parse_board
from station.profile import Profile, parse_profile

SHEET = """\
board: divider
title: Two to one
circuit: board.cir
terminals:
  INP:  {node: inp,  kind: input,  nominal: 10 V, never above: 12 V}
  OUTP: {node: outp, kind: output, nominal: 5 V,  never above: 11.9 V}
"""
NETLIST = """\
* half of the input; R3 draws 10 uA, which no bench supply shows
R1 inp outp 1k
R2 outp 0 1k
R3 inp 0 1meg
"""
PROFILE = """\
profile: divider/full
board: board.yaml
decision: {rule: guarded, false accept at most: 2 %}
steps:
  - ramp: {inputs: [INP], to: nominal, over: 1 s, current limit: 50 mA}
  - measure: {name: half, OUTP: {voltage: 5 V ± 10 %}}
"""


def divider(profile: str = PROFILE, *, sheet: str = SHEET, netlist: str = NETLIST) -> Profile:
    """Return the profile of a divider that lies on no disk."""
    board = Board(parse_board(sheet, "board.yaml"), Path("board.yaml"), sheet, netlist)
    return parse_profile(profile, Path("full.yaml"), board)


def written(folder: Path, profile: str = PROFILE, *, sheet: str = SHEET, netlist: str = NETLIST) -> Path:
    """Return the path of the profile, written with its board into a folder."""
    for name, text in (("board.yaml", sheet), ("board.cir", netlist), ("full.yaml", profile)):
        (folder / name).write_text(text, encoding="utf-8")
    return folder / "full.yaml"
