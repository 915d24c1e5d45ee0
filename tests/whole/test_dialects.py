"""The whole test of a healthy board with instruments of every dialect that ships; the meter speaks its own."""

from collections.abc import Sequence
from itertools import cycle
from pathlib import Path

import pytest

from drivers import dialect, dialect_names
from station.envelope import Envelope
from station.lines import Outcome
from station.opening import open_simulated
from station.program import compiled
from station.rehearsal import highest_volts
from station.run import NoRecord, run
from tests.benches import full_profile
from tests.station.test_dialectfile import TOKENS

SUPPLIES, LOADS = (
    [name for name in dialect_names() if dialect(name).instrument == kind] for kind in ("supply", "load")
)


def outcome_of(supply: str, load: str, faults: Sequence[str] = ()) -> Outcome:
    """Run the full profile, and see that everything was verified off, from both sides."""
    profile, dialects = full_profile(), {"supply": supply, "load": load}
    with open_simulated(profile.board, highest_volts(profile), seed=1, faults=faults, dialects=dialects) as bench:
        ended = run(compiled(profile), bench.performer, NoRecord(), envelope=Envelope(profile.board))
        outputs = [output for supply in bench.inside.supplies for output in supply.outputs()]
        inputs = [each for load in bench.inside.loads for each in load.inputs()]
    assert ended.safe.verified
    assert [(output.on, output.volts_set) for output in outputs] == [(False, 0.0)] * 2
    assert [each.on for each in inputs] == [False, False]
    return ended.outcome


@pytest.mark.parametrize(("supply", "load"), list(zip(SUPPLIES, cycle(LOADS), strict=False)), ids=SUPPLIES)
def test_a_healthy_board_passes_whatever_its_bench_speaks(supply: str, load: str) -> None:
    assert outcome_of(supply, load) is Outcome.PASSED


@pytest.mark.parametrize("supply", ["serial words", "channel prefix", "selected by name on one switch"])
def test_a_shorted_board_fails_with_a_supply_that_says_little(supply: str) -> None:
    assert outcome_of(supply, "channel list load", ["C101:short"]) is Outcome.FAILED


def test_a_healthy_board_passes_on_a_supply_whose_dialect_is_a_file(tmp_path: Path) -> None:
    (tmp_path / "tokens.yaml").write_text(TOKENS, encoding="utf-8")
    assert outcome_of(str(tmp_path / "tokens.yaml"), "channel list load") is Outcome.PASSED


def test_every_load_dialect_has_had_its_turn() -> None:
    assert len(SUPPLIES) >= len(LOADS) == 3
