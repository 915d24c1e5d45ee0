"""The drivers over TCP against the simulated instruments: both ends of the wire, written apart."""

from collections.abc import Iterator
from contextlib import ExitStack
from typing import Literal

import pytest

import simulated.instruments as on_the_bench
from drivers import (
    DriverError,
    InstrumentError,
    Load,
    Meter,
    Mode,
    NoReply,
    NotPrepared,
    Overloaded,
    Session,
    Supply,
    dialect,
    open_links,
)
from simulated.clock import VirtualClock
from simulated.server import Manners, Server, open_server
from tests.simulated.instruments.wiring import KnownVolts, ResistorOnSupply, StiffRailOnLoad

Style = Literal["channel list", "single channel"]


class Bench:
    """One supply on a resistor, one meter on known volts and one load on a stiff rail, with a driver on each."""

    def __init__(self, stack: ExitStack, style: Style) -> None:
        self.clock = VirtualClock()
        self.resistor, self.rail = ResistorOnSupply(ohms=100.0), StiffRailOnLoad(15.0)
        self.input_volts = KnownVolts({1: 15.0, 2: -15.0, 3: 0.05})
        self.supply_inside = on_the_bench.Supply("N,S,1,1", [self.resistor], self.clock, 1, style=style)
        self.meter_inside = on_the_bench.Meter("N,M,2,1", self.input_volts, 3, self.clock, 2)
        self.load_inside = on_the_bench.Load("N,L,3,1", [self.rail], self.clock, 3, style=style, reset_turns_on=True)
        self.links = stack.enter_context(open_links())
        self.supply_server = stack.enter_context(open_server(self.supply_inside))
        self.supply = Supply(self.link(self.supply_server, "supply"), dialect(style), wait=self.clock.advance)
        meter_server = stack.enter_context(open_server(self.meter_inside))
        self.meter = Meter(self.link(meter_server, "meter"), wait=self.clock.advance)
        load_server = stack.enter_context(open_server(self.load_inside))
        self.load = Load(self.link(load_server, "load"), dialect(f"{style} load"), wait=self.clock.advance)

    def link(self, server: Server, name: str) -> Session:
        return self.links.open(server.resource, name=name, timeout_seconds=0.1)

    def feed(self, volts: float, limit_amps: float) -> Mode:
        self.supply.prepare(1, over_volts=30.0, over_amps_delay_seconds=0.5)
        self.supply.set_output(1, volts=volts, limit_amps=limit_amps)
        self.supply.switch(1, True)
        return self.supply.mode(1)


@pytest.fixture(params=["channel list", "single channel"])
def bench(request: pytest.FixtureRequest) -> Iterator[Bench]:
    with ExitStack() as stack:
        yield Bench(stack, request.param)


def test_an_output_goes_on_and_is_measured(bench: Bench) -> None:
    assert bench.feed(volts=22.0, limit_amps=0.5) is Mode.CV
    measured = bench.supply.measure(1)
    assert measured.volts == pytest.approx(22.0, abs=0.05)
    assert measured.amps == pytest.approx(0.22, abs=0.002)
    assert bench.supply.session.drain_errors() == ()


def test_making_safe_is_seen_on_the_instruments_side(bench: Bench) -> None:
    bench.feed(volts=22.0, limit_amps=0.5)
    assert bench.supply.make_safe(1) == ()
    (output,) = bench.supply_inside.outputs()
    assert (output.on, output.volts_set) == (False, 0.0)


def test_a_short_puts_it_in_constant_current_and_then_trips_it(bench: Bench) -> None:
    bench.resistor.ohms = 1.0
    assert bench.feed(volts=22.0, limit_amps=0.5) is Mode.CC
    bench.clock.advance(0.6)
    assert bench.supply.mode(1) is Mode.TRIPPED
    assert bench.supply.trips(1) == ("over-current",)
    with pytest.raises(NotPrepared, match="channel 1 was to go on"):
        bench.supply.switch(1, True)


def test_clearing_a_trip_leaves_the_output_off(bench: Bench) -> None:
    bench.resistor.ohms = 1.0
    bench.feed(volts=22.0, limit_amps=0.5)
    bench.clock.advance(0.6)
    bench.supply.clear_trips(1)
    assert bench.supply.mode(1) is Mode.OFF
    assert not bench.supply_inside.outputs()[0].tripped
    assert not bench.supply_inside.outputs()[0].on


def test_a_tripped_output_is_made_safe(bench: Bench) -> None:
    bench.resistor.ohms = 1.0
    bench.feed(volts=22.0, limit_amps=0.5)
    bench.clock.advance(0.6)
    assert bench.supply.make_safe(1) == ()


def test_a_voltage_beyond_the_supply_is_refused_before_power(bench: Bench) -> None:
    bench.supply.prepare(1, over_volts=35.0, over_amps_delay_seconds=0.5)
    with pytest.raises(InstrumentError, match=r"after 'VOLT 34.*' its error queue holds -222"):
        bench.supply.set_output(1, volts=34.0, limit_amps=0.5)
    assert not bench.supply_inside.outputs()[0].on


@pytest.mark.parametrize(
    ("manners", "error"),
    [
        (Manners(drop_answer=1), NoReply),
        (Manners(hold_answer=1), NoReply),  # it comes before the answer to the next question
        (Manners(cut_answer=1), DriverError),
    ],
)
def test_an_answer_that_fails_is_neither_taken_for_another_nor_keeps_the_output_on(
    bench: Bench, manners: Manners, error: type[DriverError]
) -> None:
    bench.feed(volts=22.0, limit_amps=0.5)
    bench.supply_server.misbehave(manners)
    with pytest.raises(error):
        bench.supply.measure(1)
    assert bench.supply.make_safe(1) == ()
    assert not bench.supply_inside.outputs()[0].on
    assert bench.supply.measure(1).volts == pytest.approx(0.0, abs=0.02)


@pytest.mark.parametrize("manners", [Manners(drop_answer=1), Manners(hold_answer=2), Manners(cut_answer=3)])
def test_one_answer_lost_while_making_safe_is_asked_for_again(bench: Bench, manners: Manners) -> None:
    bench.feed(volts=22.0, limit_amps=0.5)
    bench.supply_server.misbehave(manners)
    assert bench.supply.make_safe(1) == ()
    assert not bench.supply_inside.outputs()[0].on


@pytest.mark.parametrize(("channel", "volts", "range_volts"), [(1, 15.0, 100.0), (2, -15.0, 100.0), (3, 0.05, 0.1)])
@pytest.mark.parametrize("cycles", [0.02, 1.0, 10.0])
def test_a_meter_reads_within_its_accuracy(
    bench: Bench, channel: int, volts: float, range_volts: float, cycles: float
) -> None:
    reading = bench.meter.read_volts(channel, expected_volts=volts, power_line_cycles=cycles)
    assert reading.volts == pytest.approx(volts, abs=50e-6 * abs(volts) + 100e-6 * range_volts)
    assert (reading.range_volts, reading.power_line_cycles_actual) == (range_volts, cycles)
    assert bench.meter_inside.connected_input() == channel
    assert bench.meter.session.drain_errors() == ()


def test_a_reading_takes_the_bench_time_that_it_says(bench: Bench) -> None:
    bench.meter.read_volts(1, expected_volts=15.0, power_line_cycles=10.0)
    before = bench.clock.seconds()
    reading = bench.meter.read_volts(1, expected_volts=15.0, power_line_cycles=10.0)
    assert reading.seconds == pytest.approx(0.4)
    assert bench.clock.seconds() - before == pytest.approx(0.4, abs=0.03)


def test_more_than_expected_is_read_on_the_highest_range(bench: Bench) -> None:
    bench.input_volts.at_inputs[1] = 150.0
    assert bench.meter.read_volts(1, expected_volts=15.0).range_volts == 1000.0


def test_more_than_the_highest_range_is_overload(bench: Bench) -> None:
    bench.input_volts.at_inputs[1] = -1300.0
    with pytest.raises(Overloaded, match="overload at channel 1 on its highest range, 1000 V"):
        bench.meter.read_volts(1, expected_volts=15.0)


@pytest.mark.parametrize(
    ("ohms", "test_amps", "range_ohms"), [(470.0, 1e-3, 1e3), (4700.0, 1e-4, 1e4), (82e3, 1e-5, 1e5)]
)
def test_a_meter_reads_ohms_within_its_accuracy(bench: Bench, ohms: float, test_amps: float, range_ohms: float) -> None:
    bench.input_volts.at_inputs[3], bench.input_volts.resistors[3] = 0.0, ohms
    reading = bench.meter.read_ohms(3, test_amps=test_amps)
    assert reading.ohms == pytest.approx(ohms, abs=1e-4 * ohms + 5e-5 * range_ohms)
    assert (reading.range_ohms, reading.power_line_cycles_actual) == (range_ohms, 1.0)
    assert bench.meter.session.drain_errors() == ()


def test_a_test_current_flows_until_volts_are_read_elsewhere(bench: Bench) -> None:
    bench.input_volts.at_inputs[3], bench.input_volts.resistors[3] = 0.0, 470.0
    bench.meter.read_ohms(3, test_amps=1e-3)
    flowing = bench.input_volts.driven
    assert flowing == (3, 1e-3)
    assert bench.meter.read_volts(1, expected_volts=15.0).volts == pytest.approx(15.0, abs=2e-3)
    assert bench.input_volts.driven[1] == 0.0


def test_a_meter_reads_what_alternates(bench: Bench) -> None:
    bench.input_volts.alternating[1] = 0.01
    assert bench.meter.read_ripple(1).volts_rms == pytest.approx(0.01, abs=0.0006 * 0.01 + 50e-6)
    assert bench.meter.read_volts(1, expected_volts=15.0).volts == pytest.approx(15.0, abs=2e-3)


def test_ohms_of_open_leads_are_overload(bench: Bench) -> None:
    with pytest.raises(Overloaded, match="overload at channel 3 on its range of 1000 ohm"):
        bench.meter.read_ohms(3, test_amps=1e-3)


def test_a_load_that_is_on_after_a_reset_is_off_before_its_current_is_set(bench: Bench) -> None:
    bench.load.session.write("*RST")
    bench.load.set_current(1, 0.5)
    (state,) = bench.load_inside.inputs()
    assert (state.on, state.amps_set) == (False, 0.5)


def test_a_load_draws_what_it_is_told(bench: Bench) -> None:
    bench.load.set_current(1, 0.5)
    bench.load.switch(1, True)
    assert bench.load.measure(1).amps == pytest.approx(0.5, abs=0.005)
    assert bench.load.make_safe(1) == ()
    assert not bench.load_inside.inputs()[0].on
    assert bench.load.session.drain_errors() == ()


def test_two_channels_are_prepared_one_after_the_other_and_fed_apart() -> None:
    clock, resistors = VirtualClock(), [ResistorOnSupply(ohms=100.0), ResistorOnSupply(ohms=50.0)]
    inside = on_the_bench.Supply("N,S,1,1", resistors, clock, 1, style="channel list")
    with open_server(inside) as server, open_links() as links:
        supply = Supply(links.open(server.resource, name="supply"), dialect("channel list"), wait=clock.advance)
        for channel in (1, 2):
            supply.prepare(channel, over_volts=28.0, over_amps_delay_seconds=0.5)
        for channel, volts in ((1, 22.0), (2, 20.0)):
            supply.set_output(channel, volts=volts, limit_amps=0.5)
            supply.switch(channel, True)
        assert supply.make_safe(2) == ()
        assert [(output.on, output.volts_set) for output in inside.outputs()] == [(True, 22.0), (False, 0.0)]
        assert supply.mode(1) is Mode.CV


def test_bench_time_is_the_same_in_every_run() -> None:
    def seconds() -> float:
        with ExitStack() as stack:
            bench = Bench(stack, "channel list")
            bench.feed(volts=22.0, limit_amps=0.5)
            bench.meter.read_volts(1, expected_volts=15.0, power_line_cycles=1.0)
            bench.load.set_current(1, 0.5)
            bench.supply.make_safe(1)
            return bench.clock.seconds()

    assert seconds() == seconds()
