"""A board with two rails, and profiles for it, with good defaults."""

from pathlib import Path

from station.board import Board, parse_board
from station.judge import Rule
from station.profile import BoundStep, Profile, parse_profile
from station.program import Program

SHEET = """\
board: twin
title: Two rails
circuit: board.cir
terminals:
  INP:  {node: inp,  kind: input,  nominal: 22 V,  never above: 28 V}
  INN:  {node: inn,  kind: input,  nominal: -22 V, never above: 28 V}
  OUTP: {node: outp, kind: output, nominal: 15 V,  rated: 1 A, never above: 18 V}
  OUTN: {node: outn, kind: output, nominal: -15 V, rated: 1 A, never above: 18 V}
  TP1:  {node: pref, kind: probe}
trimmers:
  RV101: {parameter: trim_p, sets: OUTP, clockwise: raises}
  RV201: {parameter: trim_n, sets: OUTN, clockwise: raises}
  RV301: {parameter: trim_q, sets: OUTP, clockwise: lowers}
"""
NETLIST = "* two resistors, for tests that never solve them\nR1 inp outp 1k\nR2 inn outn 1k\n"
RAMP = "ramp: {inputs: [INP, INN], to: nominal, over: 5 s, current limit: 150 mA}"


def twin(sheet: str = SHEET) -> Board:
    return Board(parse_board(sheet, "board.yaml"), Path("board.yaml"), sheet, NETLIST)


def profile_text(*steps: str, decision: str = "{rule: guarded, false accept at most: 2 %}") -> str:
    listed = "".join(f"  - {step}\n" for step in steps)
    return f"profile: twin/test\nrevision: A\nboard: board.yaml\ndecision: {decision}\nsteps:\n{listed}"


def profile_of(
    *steps: str, decision: str = "{rule: guarded, false accept at most: 2 %}", sheet: str = SHEET
) -> Profile:
    return parse_profile(profile_text(*steps, decision=decision), Path("test.yaml"), twin(sheet))


def program_of(*steps: str, decision: str = "{rule: guarded, false accept at most: 2 %}") -> Program:
    return Program(profile_of(*steps, decision=decision).steps)


def step_of(text: str, decision: str = "{rule: guarded, false accept at most: 2 %}") -> BoundStep:
    """One step as a profile writes it, after the ramp whose current limit it inherits."""
    return profile_of(RAMP, text, decision=decision).steps[-1]


def rule_of(decision: str) -> Rule:
    return profile_of(RAMP, decision=decision).rule
