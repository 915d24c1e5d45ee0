"""A bench with two meters reads both rails at once: the same answers in less bench time, and all of them kept."""

import math
from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import cache
from typing import Any

import pytest
from sqlalchemy import func, select

from station.abreast import Abreast, ReadTogether
from station.asks import Ask, Quantity, Read, Reading, StepEnded, StepStarted
from station.envelope import Envelope
from station.opening import open_simulated
from station.profile import Profile, parse_profile
from station.program import compiled
from station.record import begin
from station.rehearsal import highest_volts
from station.replay import replayed
from station.run import Ended, NoRecord, run
from station.store import Store, open_store, readings
from tests.benches import full_profile

TEXT = """\
profile: dual15/rails
revision: A
board: board.yaml
decision: {rule: guarded, false accept at most: 2 %}
steps:
  - ramp: {inputs: [INP, INN], to: nominal, over: 2 s, current limit: 150 mA}
  - measure: {name: no load, OUTP: {voltage: 13 V .. 17 V}, OUTN: {voltage: -17 V .. -13 V}}
  - line sweep:
      inputs: 19 V .. 26 V
      points: 8
      OUTP: {line regulation: at most 0.01 %/V}
      OUTN: {line regulation: at most 0.01 %/V}
  - discharge: {below: 2 V}
"""
READ = {"no load", "line sweep"}  # steps that read both rails under one condition


@dataclass
class Run:
    """What a run told: how it ended, its readings and bench seconds by step, and what the record held at each end."""

    ended: Ended | None = None
    seconds: dict[str, float] = field(default_factory=dict)
    readings: dict[str, list[tuple[Read, Reading]]] = field(default_factory=dict)
    kept: list[tuple[int, int]] = field(default_factory=list)  # readings told, readings on disk
    abreast: set[bool] = field(default_factory=set)

    def values(self, step: str, terminal: str) -> list[Reading]:
        return [reading for ask, reading in self.readings[step] if ask.terminal == terminal]


@cache
def profile() -> Profile:
    board = full_profile().board
    return parse_profile(TEXT, board.path.parent / "rails.yaml", board)


def ran(meters: int, store: Store, seed: int = 1) -> Run:
    told_run, step, begun = Run(), "", 0.0
    record = begin(store, profile(), f"{meters}", simulated=True, bench={}, software="test")
    with open_simulated(profile().board, highest_volts(profile()), seed=seed, meters=meters) as bench:

        def told(ask: Ask[Any], reply: object) -> None:
            nonlocal step, begun
            if isinstance(ask, StepStarted):
                step, begun = ask.title, bench.clock.seconds()
            elif isinstance(ask, StepEnded):
                told_run.seconds[ask.title] = bench.clock.seconds() - begun
                told_run.kept.append((sum(map(len, told_run.readings.values())), on_disk(store, record.id)))
            elif isinstance(ask, Read) and isinstance(reply, Reading):
                told_run.readings.setdefault(step, []).append((ask, reply))
            elif isinstance(ask, Abreast):
                told_run.abreast.add(bool(reply))

        envelope = Envelope(profile().board)
        told_run.ended = run(compiled(profile()), bench.performer, record, envelope=envelope, told=told)
    return told_run


def on_disk(store: Store, run: str) -> int:
    with store.engine.connect() as connection:
        return int(connection.execute(select(func.count()).where(readings.c.run == run)).scalar_one())


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Store]:
    with open_store(tmp_path_factory.mktemp("meters") / "r.sqlite") as opened:
        yield opened


@pytest.fixture(scope="module")
def one(store: Store) -> Run:
    return ran(1, store)


@pytest.fixture(scope="module")
def two(store: Store) -> Run:
    return ran(2, store)


def test_only_a_bench_with_a_meter_a_rail_reads_them_at_once(one: Run, two: Run) -> None:
    assert (one.abreast, two.abreast) == ({False}, {True})


@pytest.mark.parametrize("terminal", ["OUTP", "OUTN"])
def test_two_meters_read_what_one_reads(one: Run, two: Run, terminal: str) -> None:
    for a, b in zip(one.values("no load", terminal), two.values("no load", terminal), strict=False):
        doubt = math.hypot(a.u_random, a.u_common, b.u_random, b.u_common)
        assert abs(a.value - b.value) < 4.0 * doubt


def test_both_ways_judge_alike(one: Run, two: Run) -> None:
    outcomes = [[(each.line.title, each.outcome) for each in run.ended.judgements] for run in (one, two) if run.ended]
    assert outcomes[0] == outcomes[1]


def test_each_rail_is_on_its_own_meter(two: Run) -> None:
    """What one meter's readings have in common cancels between them only, so the source has to tell them apart."""
    sources = {name: {each.source for each in two.values("line sweep", name)} for name in ("OUTP", "OUTN")}
    assert sources == {"OUTP": {"meter, 100 V range"}, "OUTN": {"meter b, 100 V range"}}


def test_two_meters_take_less_bench_time(one: Run, two: Run) -> None:
    """Seen: 0.71. Relays that need not switch make the most of it; quick looks integrate for no time."""
    ratio = sum(two.seconds[step] for step in READ) / sum(one.seconds[step] for step in READ)
    assert ratio < 0.75


def test_one_meter_integrates_while_the_other_does() -> None:
    reads = tuple(Read(name, Quantity.VOLTAGE, 10.0) for name in ("OUTP", "OUTN"))
    with open_simulated(profile().board, highest_volts(profile()), seed=1, meters=2) as bench:
        for each in reads:  # once, for relays and ranges
            bench.performer.read(each)
        begun = bench.clock.seconds()
        bench.performer.read_together(ReadTogether(reads))
        seconds = bench.clock.seconds() - begun
    assert seconds == pytest.approx(0.4, abs=0.01)  # 10 power-line cycles at 50 Hz and the zero, once


def test_no_meter_reads_volts_while_the_other_drives_a_test_current() -> None:
    with open_simulated(profile().board, highest_volts(profile()), seed=1, meters=2) as bench:
        bench.performer.read(Read("OUTP", Quantity.RESISTANCE, 1.0, test_amps=1e-3))
        assert bench.inside.board.volts("OUTP") > 0.3
        bench.performer.read(Read("OUTN", Quantity.VOLTAGE, 1.0))
        bench.clock.wait(60.0)
        assert abs(bench.inside.board.volts("OUTP")) < 0.05


def test_every_reading_is_on_disk_before_the_step_ends(two: Run) -> None:
    assert two.kept and all(told == kept for told, kept in two.kept)


def test_a_record_of_two_meters_replays(store: Store, two: Run) -> None:
    stored = store.found("2")
    assert stored is not None and two.ended is not None
    again = run(compiled(profile()), replayed(stored), NoRecord(), envelope=Envelope(profile().board))
    assert again.judgements == two.ended.judgements
