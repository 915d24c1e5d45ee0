"""Whatever goes wrong, wherever: the bench ends off or loudly unsafe, nothing read is lost, nothing false is Passed.

A short test of a board is run again and again, each time with one operation on the wires or the record spoilt, or all
from there on. A sample in CI; with `pytest --exhaustive` every operation, which takes some minutes.
"""

import logging
from collections import Counter
from pathlib import Path

import pytest

from station.asks import Judged, Read, Reading
from station.envelope import Envelope
from station.errors import InputError, StationError
from station.exits import NOT_SAFE, TROUBLE, exit_code
from station.lines import Outcome
from station.opening import open_simulated
from station.program import compiled
from station.record import begin
from station.rehearsal import highest_volts
from station.run import run
from station.store import open_store
from tests.dividers import divider
from tests.whole.spoiling import Kind, Spoiler, SpoiltStore

SHORT = """\
profile: divider/short
revision: A
board: board.yaml
steps:
  - ramp: {inputs: [INP], to: nominal, over: 1 s, current limit: 50 mA}
  - measure: {INP: {current: 3 mA .. 8 mA}, OUTP: {voltage: 5 V ± 10 %}}
  - discharge: {below: 2 V, within: 60 s}
"""


NO_SPOILING = SpoiltStore("nothing", at=0)


class Told:
    """What a run was told, and what must come of it whatever was spoilt."""

    def __init__(self) -> None:
        self.readings = 0
        self.values: dict[str, tuple[float, float]] = {}

    def __call__(self, ask, reply):
        self.readings += isinstance(ask, Read) and isinstance(reply, Reading)
        if isinstance(ask, Judged) and ask.judgement.value is not None:
            self.values[ask.judgement.line.title] = ask.judgement.value, ask.judgement.u or 0.0


def tried(folder: Path, spoiler: Spoiler, spoil_store: SpoiltStore = NO_SPOILING):
    """Run the short profile spoilt; returns how it ended (None where it never began), what was told, what is on."""
    profile, told = divider(SHORT), Told()
    ended, on = None, [False]
    with open_store(folder / "r.sqlite") as store:
        try:
            with open_simulated(profile.board, highest_volts(profile), seed=1, wrapped=spoiler.wrapped) as bench:
                try:
                    record = begin(store, profile, "S1", simulated=True, bench=bench.facts, software="test")
                    with spoil_store.spoilt(store):
                        envelope = Envelope(profile.board)
                        ended = run(compiled(profile), bench.performer, record, envelope=envelope, told=told)
                finally:
                    on = [output.on for output in bench.inside.supply.outputs()]
        except StationError as error:  # not even opened: nothing was powered
            assert not isinstance(error, InputError)
        stored = store.found("S1")
    kept = 0 if stored is None else sum('"reply": "Reading"' in row["reply"] for row in stored.answers)
    return ended, told, on, kept


@pytest.fixture(scope="module")
def whole(tmp_path_factory):
    """The run that nothing spoils, and how many operations it takes."""
    spoiler = Spoiler(Kind.NO_REPLY, at=0)
    ended, told, on, kept = tried(tmp_path_factory.mktemp("whole"), spoiler)
    assert ended is not None and ended.outcome is Outcome.PASSED and not any(on) and kept == told.readings
    return spoiler.count, told


def check(ended, told, on, kept, whole, what):
    """Hold what must hold after every run; returns how it ended, in a word for the table."""
    assert kept == told.readings, f"{what}: {told.readings} readings were acknowledged, {kept} are in the record"
    if ended is None:
        assert not any(on), f"{what}: an output is on though the bench was never opened"
        return "never began"
    code = exit_code(ended)
    assert code in (0, 1, 3, 4, TROUBLE, NOT_SAFE), f"{what}: exit code {code}"
    if any(on):
        assert code == NOT_SAFE, f"{what}: an output is on, and the run ended with {code}"
    if code == NOT_SAFE:
        assert ended.safe.problems, f"{what}: not verified safe, without a word why"
        return "loud"
    if ended.outcome is Outcome.PASSED:
        for title, (value, u) in whole[1].values.items():
            found = told.values[title][0]
            assert abs(found - value) < 10.0 * u + 0.05 * abs(value) + 0.3, f"{what}: Passed with {title} = {found}"
    return "safe"


@pytest.mark.parametrize("for_ever", [False, True], ids=["once", "for ever"])
@pytest.mark.parametrize("kind", Kind, ids=lambda kind: kind.value)
def test_whatever_the_wire_does(kind, for_ever, whole, exhaustive, tmp_path, caplog, capsys):
    caplog.set_level(logging.CRITICAL)
    operations = whole[0]
    places = range(1, operations + 1) if exhaustive else sample(operations, 5, list(Kind).index(kind) + 7 * for_ever)
    ends: Counter[str] = Counter()
    for at in places:
        folder = tmp_path / str(at)
        folder.mkdir()
        what = f"{kind.value} at {at}{' and ever after' if for_ever else ''}"
        ended, told, on, kept = tried(folder, Spoiler(kind, at, for_ever))
        ends[check(ended, told, on, kept, whole, what)] += 1
    if exhaustive:
        with capsys.disabled():
            shown = "  ".join(f"{word} {count}" for word, count in sorted(ends.items()))
            print(f"\n{kind.value:<20}{'for ever' if for_ever else 'once':<10}{sum(ends.values()):>5} cases  {shown}")
    assert sum(ends.values()) == len(places)


@pytest.mark.parametrize("for_ever", [False, True], ids=["once", "for ever"])
@pytest.mark.parametrize("cause", ["database or disk is full", "database is locked"])
def test_whatever_the_disk_does(cause, for_ever, whole, exhaustive, tmp_path, caplog):
    caplog.set_level(logging.CRITICAL)
    count = SpoiltStore(cause, at=0)
    tried(tmp_path, Spoiler(Kind.NO_REPLY, at=0), count)
    for at in range(1, count.count + 1) if exhaustive else sample(count.count, 4, len(cause)):
        folder = tmp_path / str(at)
        folder.mkdir()
        spoiling = SpoiltStore(cause, at, for_ever)
        ended, told, on, kept = tried(folder, Spoiler(Kind.NO_REPLY, at=0), spoiling)
        assert ended is not None and not any(on) and ended.safe.verified
        assert exit_code(ended) == TROUBLE, f"{cause} at {at}: exit code {exit_code(ended)}"
        assert ended.outcome is not Outcome.PASSED or at == count.count  # all was judged, only its end is not written
        assert kept == told.readings


def sample(operations: int, number: int, shift: int) -> list[int]:
    """Return places spread evenly over all operations, other ones for another shift."""
    step = operations / number
    return sorted({min(operations, 1 + int((index + (shift * 0.37) % 1.0) * step)) for index in range(number)})
