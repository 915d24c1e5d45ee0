"""The simulated supply keeps its settings, regulates, trips, latches and shows it as system supplies do."""

from dataclasses import dataclass

import pytest

from simulated.clock import VirtualClock
from simulated.instruments import ChannelState, Quirks, Supply
from simulated.instruments.channels import Style
from tests.simulated.instruments.wiring import ResistorOnSupply, Talk

IDENTITY = "RAILBENCH,SIM-SUPPLY,seed-1,1.0"


@dataclass
class Bench:
    supply: Supply
    talk: Talk
    ports: list[ResistorOnSupply]
    clock: VirtualClock


def bench_of(*ohms: float, style: Style = "channel list", seed: int = 1, query_hides_trip: bool = True) -> Bench:
    clock = VirtualClock()
    ports = [ResistorOnSupply(each) for each in ohms]
    supply = Supply(IDENTITY, ports, clock, seed, style=style, quirks=Quirks(hides_trip=query_hides_trip))
    return Bench(supply, Talk(supply.connection()), ports, clock)


def powered(
    *ohms: float, volts: float = 10.0, amps: float = 1.0, seed: int = 1, query_hides_trip: bool = True
) -> Bench:
    """A bench whose first channel is on."""
    bench = bench_of(*ohms, seed=seed, query_hides_trip=query_hides_trip)
    bench.talk.tell(f"VOLT {volts},(@1)", f"CURR {amps},(@1)", "OUTP ON,(@1)")
    return bench


def test_a_new_supply_is_off_at_zero_volts_and_says_who_it_is() -> None:
    bench = bench_of(10.0, 10.0)
    assert bench.supply.outputs() == (ChannelState(False, 0.0, 0.1, False),) * 2
    assert bench.talk.ask("*IDN?") == IDENTITY


def test_channel_lists_set_and_ask_several_channels_at_once() -> None:
    bench = bench_of(10.0, 20.0)
    bench.talk.tell("VOLT 5,(@1,2)", "VOLT 7,(@2)", "OUTP ON,(@1:2)")
    assert [float(each) for each in bench.talk.ask("VOLT? (@2,1)").split(",")] == [7.0, 5.0]
    assert bench.talk.ask("OUTP? (@1,2)") == "1,1"
    assert [port.on for port in bench.ports] == [True, True]


def test_the_single_channel_style_takes_no_lists() -> None:
    bench = bench_of(10.0, style="single channel")
    bench.talk.tell("VOLT 5", "CURR 1", "VOLT:PROT 6", "VOLT:PROT:STAT ON", "OUTP ON", "VOLT 3,(@1)")
    assert bench.talk.errors() == [-108]
    assert bench.talk.number("MEAS:VOLT?") == pytest.approx(5.0, abs=0.02)
    assert bench.supply.outputs() == (ChannelState(True, 5.0, 1.0, False),)


def test_the_channel_list_style_asks_for_its_list() -> None:
    bench = bench_of(10.0)
    bench.talk.tell("VOLT 5", "OUTP ON", "VOLT 5,(@2)")
    assert bench.talk.errors() == [-109, -109, -222]
    assert bench.supply.outputs()[0] == ChannelState(False, 0.0, 0.1, False)


@pytest.mark.parametrize(
    ("query", "limit"),
    [
        ("VOLT? MAX,(@1)", 32.0),
        ("CURR? MAX,(@1)", 3.0),
        ("VOLT:PROT? MIN,(@1)", 0.5),
        ("OUTP:PROT:DEL? MAX,(@1)", 10.0),
    ],
)
def test_limits_can_be_asked(query: str, limit: float) -> None:
    assert bench_of(10.0).talk.number(query) == limit


def test_a_setting_beyond_its_limit_is_refused_and_leaves_the_old_one() -> None:
    bench = powered(10.0, volts=10.0)
    bench.talk.tell("VOLT 32.001,(@1)", "CURR 3.1,(@1)")
    assert bench.talk.errors() == [-222, -222]
    assert bench.supply.outputs()[0] == ChannelState(True, 10.0, 1.0, False)


def test_settings_are_rounded_to_the_resolution() -> None:
    bench = bench_of(10.0)
    bench.talk.tell("VOLT 5.0004,(@1)", "CURR 0.12344,(@1)")
    assert (bench.talk.number("VOLT? (@1)"), bench.talk.number("CURR? (@1)")) == (5.0, 0.1234)


def test_a_light_load_is_constant_voltage_and_a_heavy_one_constant_current() -> None:
    bench = powered(100.0, volts=10.0, amps=0.5)
    assert bench.talk.ask("STAT:OPER:COND? (@1)") == "256"
    bench.ports[0].ohms = 10.0
    assert bench.talk.ask("STAT:OPER:COND? (@1)") == "1024"
    assert bench.talk.number("MEAS:CURR? (@1)") == pytest.approx(0.5, abs=0.001)
    bench.talk.tell("OUTP OFF,(@1)")
    assert bench.talk.ask("STAT:OPER:COND? (@1)") == "0"


@pytest.mark.parametrize("seed", range(20))
def test_what_is_applied_and_what_is_shown_stay_within_the_specification(seed: int) -> None:
    bench = powered(40.0, volts=20.0, amps=1.0, seed=seed)
    true = bench.ports[0].state()
    assert true.volts == pytest.approx(20.0, rel=0.0005, abs=0.005)
    for _ in range(20):
        assert abs(bench.talk.number("MEAS:VOLT? (@1)") - true.volts) <= 0.0005 * 20.0 + 0.005
        assert abs(bench.talk.number("MEAS:CURR? (@1)") - true.amps) <= 0.001 * 0.5 + 0.0005


def test_the_same_seed_and_commands_give_the_same_readings_and_another_seed_others() -> None:
    seeds = (3, 3, 4)
    first, again, other = (powered(40.0, seed=seed).talk.ask("MEAS:VOLT? (@1);:MEAS:CURR? (@1)") for seed in seeds)
    assert first == again != other


def test_overvoltage_switches_the_output_off_for_good() -> None:
    bench = powered(100.0, volts=10.0)
    bench.talk.tell("VOLT:PROT 12,(@1)", "VOLT 13,(@1)", "VOLT 5,(@1)")
    assert bench.talk.ask("STAT:QUES:COND? (@1);:VOLT:PROT:TRIP? (@1);:CURR:PROT:TRIP? (@1)") == "1;1;0"
    assert bench.supply.outputs()[0] == ChannelState(False, 5.0, 1.0, True)
    assert not bench.ports[0].on


def test_a_protection_level_below_the_present_voltage_trips_at_once() -> None:
    bench = powered(100.0, volts=10.0)
    bench.talk.tell("VOLT:PROT 8,(@1)")
    assert not bench.ports[0].on


def test_overvoltage_of_one_channel_leaves_the_other_one_on() -> None:
    bench = bench_of(100.0, 100.0)
    bench.talk.tell("VOLT 10,(@1,2)", "CURR 1,(@1,2)", "OUTP ON,(@1,2)", "VOLT:PROT 8,(@2)")
    assert bench.talk.ask("STAT:QUES:COND? (@1,2)") == "0,1"
    assert [port.on for port in bench.ports] == [True, False]


def test_overcurrent_trips_when_the_limit_has_lasted_longer_than_the_delay() -> None:
    bench = powered(100.0, volts=10.0, amps=0.5)
    bench.talk.tell("CURR:PROT:STAT ON,(@1)", "OUTP:PROT:DEL 0.1,(@1)")
    bench.ports[0].ohms = 10.0
    assert bench.talk.ask("STAT:QUES:COND? (@1)") == "0"
    bench.clock.advance(0.09)
    assert bench.talk.ask("STAT:QUES:COND? (@1)") == "0"
    bench.clock.advance(0.02)
    assert bench.talk.ask("STAT:QUES:COND? (@1)") == "2"
    assert bench.supply.outputs()[0].tripped


def test_a_limit_left_in_time_starts_the_delay_anew() -> None:
    bench = powered(10.0, volts=10.0, amps=0.5)
    bench.talk.tell("CURR:PROT:STAT ON,(@1)", "OUTP:PROT:DEL 0.1,(@1)")
    for ohms in (100.0, 10.0, 100.0, 10.0):
        bench.clock.advance(0.09)
        bench.ports[0].ohms = ohms
        assert bench.talk.ask("STAT:QUES:COND? (@1)") == "0"


def test_without_overcurrent_protection_the_limit_lasts() -> None:
    bench = powered(10.0, volts=10.0, amps=0.5)
    bench.clock.advance(3600.0)
    assert bench.talk.ask("STAT:OPER:COND? (@1)") == "1024"


@pytest.mark.parametrize(("hides", "answer"), [(True, "1"), (False, "0")])
def test_the_output_query_may_hide_a_trip(hides: bool, answer: str) -> None:
    bench = powered(100.0, volts=10.0, query_hides_trip=hides)
    bench.talk.tell("VOLT:PROT 8,(@1)")
    assert bench.talk.ask("OUTP? (@1)") == answer


@pytest.mark.parametrize(("first", "on"), [([], True), (["OUTP OFF,(@1)"], False)])
def test_clearing_a_trip_brings_the_output_back_unless_it_was_switched_off_first(first: list[str], on: bool) -> None:
    bench = powered(100.0, volts=10.0)
    bench.talk.tell("VOLT:PROT 8,(@1)", "VOLT 5,(@1)", *first, "OUTP:PROT:CLE (@1)")
    assert bench.supply.outputs()[0] == ChannelState(on, 5.0, 1.0, False)
    assert bench.ports[0].on is on


def test_clearing_while_the_cause_is_there_trips_again() -> None:
    bench = powered(100.0, volts=10.0)
    bench.talk.tell("VOLT:PROT 8,(@1)", "OUTP:PROT:CLE (@1)")
    assert bench.supply.outputs()[0].tripped


def test_a_trip_is_latched_as_an_event_until_it_is_read() -> None:
    bench = powered(100.0, volts=10.0)
    bench.talk.tell("STAT:QUES:ENAB 3,(@1)", "VOLT:PROT 8,(@1)", "OUTP OFF,(@1)", "OUTP:PROT:CLE (@1)")
    assert int(bench.talk.ask("*STB?")) & 8
    assert [bench.talk.ask("STAT:QUES? (@1)") for _ in range(2)] == ["1", "0"]


def test_reset_switches_off_and_opens_the_protections() -> None:
    bench = powered(100.0, volts=10.0)
    bench.talk.tell("VOLT:PROT 8,(@1)", "*RST")
    assert bench.supply.outputs()[0] == ChannelState(False, 0.0, 0.1, False)
    assert bench.talk.number("VOLT:PROT? (@1)") == 35.2


def test_measuring_waits_until_a_new_output_has_settled() -> None:
    bench = powered(100.0)
    bench.talk.ask("MEAS:VOLT? (@1)")
    assert bench.clock.seconds() == pytest.approx(0.020)  # the query's own millisecond is a part of it
    bench.talk.tell("VOLT 12,(@1)")
    bench.talk.ask("MEAS:VOLT? (@1)")
    assert bench.clock.seconds() == pytest.approx(0.030)
    bench.talk.ask("MEAS:VOLT? (@1)")
    assert bench.clock.seconds() == pytest.approx(0.031)


def test_overvoltage_protection_cannot_be_switched_off() -> None:
    bench = bench_of(10.0, style="single channel")
    bench.talk.tell("VOLT:PROT:STAT OFF")
    assert bench.talk.errors() == [-224]
    assert bench.talk.ask("VOLT:PROT:STAT?") == "1"


@pytest.mark.parametrize(("style", "count"), [("single channel", 2), ("channel list", 0)])
def test_a_style_that_cannot_name_the_channels_is_refused(style: Style, count: int) -> None:
    with pytest.raises(ValueError, match=f"style '{style}' cannot have {count} channels"):
        bench_of(*[10.0] * count, style=style)


def test_an_identity_that_is_not_four_fields_is_refused() -> None:
    with pytest.raises(ValueError, match="'SUPPLY' is no identity; write 'maker,model,serial,version'"):
        Supply("SUPPLY", [ResistorOnSupply()], VirtualClock(), 1, style="channel list")
