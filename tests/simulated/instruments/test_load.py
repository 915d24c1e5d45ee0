"""The simulated load draws what it is told, shows it within its specification, and protects itself."""

import pytest

from simulated.clock import VirtualClock
from simulated.instruments import InputState, Load
from simulated.instruments.channels import Style
from tests.simulated.instruments.wiring import StiffRailOnLoad, Talk


class Bench:
    """A load on stiff rails of 15 V."""

    def __init__(
        self, count: int = 1, *, style: Style = "channel list", seed: int = 1, reset_turns_on: bool = False
    ) -> None:
        self.ports = [StiffRailOnLoad() for _ in range(count)]
        self.load = Load(
            "RAILBENCH,SIM-LOAD,seed-1,1.0",
            self.ports,
            VirtualClock(),
            seed,
            style=style,
            reset_turns_on=reset_turns_on,
        )
        self.talk = Talk(self.load.connection())


def test_a_new_load_draws_nothing() -> None:
    bench = Bench(2)
    assert bench.load.inputs() == (InputState(False, 0.0, False),) * 2
    assert bench.talk.number("MEAS:CURR? (@1)") == pytest.approx(0.0, abs=1e-3)


@pytest.mark.parametrize(("style", "end"), [("channel list", ",(@1)"), ("single channel", "")])
def test_both_styles_set_mode_current_and_input(style: Style, end: str) -> None:
    bench = Bench(style=style)
    bench.talk.tell(f"MODE CURR{end}", f"FUNC CURRENT{end}", f"CURR 0.5{end}", f"INP ON{end}")
    assert bench.talk.errors() == []
    assert bench.load.inputs() == (InputState(True, 0.5, False),)
    assert bench.ports[0].amps == pytest.approx(0.5, rel=0.0005, abs=0.0005)


@pytest.mark.parametrize("seed", range(20))
def test_readings_stay_within_the_specification(seed: int) -> None:
    bench = Bench(style="single channel", seed=seed)
    bench.talk.tell("CURR 1", "INP ON")
    true = bench.ports[0].state()
    for _ in range(20):
        assert abs(bench.talk.number("MEAS:CURR?") - true.amps) <= 0.001 * true.amps + 0.001
        assert abs(bench.talk.number("MEAS:VOLT?") - true.volts) <= 0.0005 * true.volts + 0.005


def test_constant_current_is_the_only_mode() -> None:
    bench = Bench(style="single channel")
    bench.talk.tell("MODE RES")
    assert bench.talk.errors() == [-141]
    assert bench.talk.ask("MODE?") == "CURR"


@pytest.mark.parametrize(("turns_on", "on"), [(False, False), (True, True)])
def test_reset_leaves_the_input_as_the_maker_likes_it(turns_on: bool, on: bool) -> None:
    bench = Bench(style="single channel", reset_turns_on=turns_on)
    bench.talk.tell("CURR 1", "*RST")
    assert bench.load.inputs() == (InputState(on, 0.0, False),)


def test_more_than_the_protection_allows_switches_the_input_off_for_good() -> None:
    bench = Bench(style="single channel")
    bench.talk.tell("CURR:PROT 0.8", "INP ON", "CURR 1", "CURR 0.5")
    assert bench.talk.ask("STAT:QUES:COND?") == "2"
    assert bench.load.inputs() == (InputState(False, 0.5, True),)
    assert not bench.ports[0].on


@pytest.mark.parametrize(("first", "on"), [([], True), (["INP OFF"], False)])
def test_clearing_restores_the_input_unless_it_was_switched_off_first(first: list[str], on: bool) -> None:
    bench = Bench(style="single channel")
    bench.talk.tell("CURR:PROT 0.8", "INP ON", "CURR 1", "CURR 0.5", *first, "INP:PROT:CLE")
    assert bench.load.inputs() == (InputState(on, 0.5, False),)


def test_a_current_beyond_the_rating_is_refused() -> None:
    bench = Bench(style="single channel")
    bench.talk.tell("CURR 5.1")
    assert bench.talk.errors() == [-222]
    assert bench.talk.number("CURR? MAX") == 5.0
