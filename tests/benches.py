"""Open simulated benches and run profiles on them, with good defaults."""

from collections.abc import Sequence
from functools import cache

from station.envelope import Envelope
from station.interrupts import Interrupts
from station.opening import open_simulated
from station.profile import Profile, load_profile
from station.program import compiled
from station.record import RunRecord, begin
from station.rehearsal import highest_volts
from station.replay import Replay, replayed
from station.run import Ended, NoRecord, RecordKeeper, Told, run
from station.store import Store
from tests.commands import FULL


@cache
def full_profile() -> Profile:
    """Return the shipped full profile of dual15."""
    return load_profile(FULL)


def run_simulated(
    seed: int = 1,
    faults: Sequence[str] = (),
    record: RecordKeeper | None = None,
    interrupts: Interrupts | None = None,
    told: Told = lambda ask, reply: None,
) -> tuple[Ended, tuple[tuple[bool, float], ...], tuple[bool, ...]]:
    """Run the full profile; returns how it ended, each supply output as (on, volts set), each load input as on."""
    profile = full_profile()
    with open_simulated(
        profile.board, highest_volts(profile), seed=seed, faults=faults, interrupts=interrupts
    ) as bench:
        ended = run(
            compiled(profile),
            bench.performer,
            record or NoRecord(),
            envelope=Envelope(profile.board),
            interrupts=interrupts,
            told=told,
        )
        outputs = tuple((output.on, output.volts_set) for output in bench.inside.supply.outputs())
        inputs = tuple(each.on for each in bench.inside.load.inputs())
    return ended, outputs, inputs


def recorded(store: Store, serial: str, seed: int = 1, faults: Sequence[str] = ()) -> Ended:
    """Run the full profile into a store."""
    facts = {"seed": seed, "faults": list(faults), "instruments": {}}
    record: RunRecord = begin(store, full_profile(), serial, simulated=True, bench=facts, software="test")
    return run_simulated(seed, faults, record)[0]


def judged_again(store: Store, serial: str) -> Ended:
    """Judge a stored run again from its record alone."""
    stored = store.found(serial)
    assert stored is not None
    return replay(replayed(stored))


def replay(performer: Replay) -> Ended:
    """Run the full profile on a replay."""
    return run(compiled(full_profile()), performer, NoRecord(), envelope=Envelope(full_profile().board))
