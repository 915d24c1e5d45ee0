"""Show where simulated healthy boards lie on each line of a profile, and what its windows leave them.

The windows of profiles/dual15/full.yaml were chosen from this table: wide enough for all healthy boards with their
part tolerances and the station's guard bands, tight enough that a dark LED shows in the input current.

Of ohms it shows where boards at rest lie: a run passes them while they still move.

    python -m tests.healthy_limits [PROFILE] [BOARDS]
"""

import math
import sys
from collections import defaultdict
from pathlib import Path

from station.envelope import Envelope
from station.lockstep import LaneBoard, in_lockstep
from station.opening import open_simulated
from station.profile import Profile, load_profile
from station.program import Program, compiled
from station.quantities import format_value
from station.rehearsal import highest_volts
from station.run import NoRecord, run

FULL = Path(__file__).resolve().parent.parent / "profiles" / "dual15" / "full.yaml"


def healthy_values(profile: Profile, seeds: range, faults: tuple[str, ...] = ()) -> dict[str, list[float]]:
    """Return the judged values of each line, by its title, over simulated boards without faults (or with these)."""
    values: dict[str, list[float]] = defaultdict(list)
    for seed in seeds:
        with open_simulated(profile.board, highest_volts(profile), seed=seed, faults=faults) as bench:
            ended = run(compiled(profile), bench.performer, NoRecord(), envelope=Envelope(profile.board))
        for judgement in ended.judgements:
            if judgement.value is not None:
                values[judgement.line.title].append(judgement.value)
    return values


def resting_ohms(profile: Profile, seeds: range) -> dict[str, list[float]]:
    """Return the ohms of boards at rest by the line's title; infinite where they lie beyond the meter's range."""
    program = Program(tuple(step for step in profile.steps if step.form.kind == "resistance"))
    values: dict[str, list[float]] = defaultdict(list)
    if program.steps:
        for ended in in_lockstep(program, profile.board, highest_volts(profile), [LaneBoard(seed) for seed in seeds]):
            for judgement in ended.judgements:
                values[judgement.line.title].append(math.inf if judgement.value is None else judgement.value)
    return values


def _shown(value: float, unit: str) -> str:
    return format_value(value, unit, digits=5) if math.isfinite(value) else "beyond"


def main() -> None:
    """Print the table."""
    profile = load_profile(Path(sys.argv[1]) if len(sys.argv) > 1 else FULL)
    boards = int(sys.argv[2]) if len(sys.argv) > 2 else 100
    values = healthy_values(profile, range(boards)) | resting_ohms(profile, range(boards))
    for line in compiled(profile).lines():
        found = values.get(line.title)
        if line.limit and found:
            low, high = (_shown(value, line.limit.unit) for value in (min(found), max(found)))
            print(f"{line.title:<44} {low:>14} .. {high:<14} window {line.limit}")


if __name__ == "__main__":
    main()
