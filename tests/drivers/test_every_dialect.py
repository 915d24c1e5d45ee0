"""Every dialect's driver against a simulated instrument that speaks it, with its quirks switched on."""

import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, replace

import pytest

import simulated.instruments as on_the_bench
from drivers import Dialect, DriverError, InstrumentError, Load, Mode, NotPrepared, Supply, dialect, open_links
from drivers.dialects import Question, Step
from simulated.clock import RealClock, VirtualClock
from simulated.instruments import ChannelState, Quirks
from simulated.instruments.channels import Style
from simulated.server import Manners, open_server
from tests.simulated.instruments.wiring import ResistorOnSupply, StiffRailOnLoad

STYLES: tuple[Style, ...] = (
    "channel list",
    "single channel",
    "selected by number",
    "selected by name",
    "selected by name on one switch",
    "channel suffix",
    "channel prefix",
    "serial words",
)
COMMON_SWITCH = ("selected by name on one switch", "serial words")
PLAIN, WELL_BEHAVED = Quirks(), Manners()
QUIRKS = {
    "as in the manual": (Quirks(hides_trip=False), Manners()),
    "units, CR LF, slow first reply, hidden trips": (
        Quirks(units=True, hides_trip=True),
        Manners(terminator=b"\r\n", first_answer_seconds=0.15),
    ),
}


@dataclass
class Bench:
    """A supply of two channels (one where it has no more) on resistors, and a driver on it."""

    spoken: Dialect
    inside: on_the_bench.Supply
    ports: list[ResistorOnSupply]
    clock: VirtualClock
    supply: Supply

    @property
    def last(self) -> int:
        """The last channel: a driver that names none would reach the first."""
        return len(self.ports)

    def prepared(self) -> Supply:
        for channel in range(1, self.last + 1):
            self.supply.prepare(channel, over_volts=30.0, over_amps_delay_seconds=0.1)
        return self.supply

    def feed(self, channel: int, volts: float = 22.0, limit_amps: float = 0.5) -> None:
        self.supply.set_output(channel, volts=volts, limit_amps=limit_amps)
        self.supply.switch(channel, True)

    def output(self, channel: int) -> ChannelState:
        return self.inside.outputs()[channel - 1]


@contextmanager
def bench_of(
    style: Style,
    quirks: Quirks = PLAIN,
    manners: Manners = WELL_BEHAVED,
    spoken: Dialect | None = None,
    clock: VirtualClock | None = None,
) -> Iterator[Bench]:
    clock, words = clock or VirtualClock(), spoken or dialect(style)
    words = replace(words, manners=replace(words.manners, first_reply_seconds=1.0))
    ports = [ResistorOnSupply(ohms=100.0) for _ in range(1 if words.one_channel else 2)]
    inside = on_the_bench.Supply("N,S,1,1", ports, clock, 1, style=style, quirks=quirks)
    with open_server(inside, manners) as server, open_links() as links:
        session = links.open(server.resource, name="supply", timeout_seconds=0.1)
        driver = Supply(session, words, wait=clock.advance, unprotected=True)
        yield Bench(words, inside, ports, clock, driver)


@pytest.fixture(params=STYLES)
def style(request: pytest.FixtureRequest) -> Style:
    return request.param  # type: ignore[no-any-return]


@pytest.fixture(params=list(QUIRKS.values()), ids=list(QUIRKS))
def bench(request: pytest.FixtureRequest, style: Style) -> Iterator[Bench]:
    quirks, manners = request.param
    with bench_of(style, quirks, manners) as opened:
        yield opened


def test_it_is_found_prepared_fed_measured_and_made_safe(bench: Bench) -> None:
    supply = bench.prepared()
    bench.feed(bench.last)
    assert supply.mode(bench.last) is Mode.CV
    measured = supply.measure(bench.last)
    assert measured.volts == pytest.approx(22.0, abs=0.05)
    assert measured.amps == pytest.approx(0.22, abs=0.002)
    assert supply.session.drain_errors() == ()
    assert supply.make_safe(bench.last) == ()
    assert (bench.output(bench.last).on, bench.output(bench.last).volts_set) == (False, 0.0)


def test_a_channel_found_on_is_reported_and_switched_off(bench: Bench) -> None:
    bench.prepared()
    bench.feed(bench.last)
    again = Supply(bench.supply.session, bench.spoken, wait=bench.clock.advance, unprotected=True)
    found = again.prepare(bench.last, over_volts=30.0, over_amps_delay_seconds=0.1)
    assert found.on
    assert found.volts == pytest.approx(22.0, abs=0.05)
    assert not bench.output(bench.last).on


def test_a_short_is_constant_current(bench: Bench) -> None:
    bench.prepared()
    bench.ports[-1].ohms = 1.0
    bench.feed(bench.last)
    # Where its delay can't be set, the protection's own may be over before anybody has looked.
    at_once = Step.OVER_CURRENT in bench.spoken.settings and Step.OVER_CURRENT_DELAY not in bench.spoken.settings
    assert bench.supply.mode(bench.last) is (Mode.TRIPPED if at_once else Mode.CC)


def test_a_lasting_short_trips_where_there_is_a_protection_and_lasts_where_there_is_none(bench: Bench) -> None:
    supply = bench.prepared()
    bench.ports[-1].ohms = 1.0
    bench.feed(bench.last)
    supply.mode(bench.last)
    bench.clock.advance(0.2)
    if Step.OVER_CURRENT in supply.lacking:
        assert supply.mode(bench.last) is Mode.CC  # which is why it is refused, unless somebody answers for it
        return
    assert supply.mode(bench.last) is Mode.TRIPPED
    assert supply.trips(bench.last) == ("over-current",)
    with pytest.raises(NotPrepared):
        bench.feed(bench.last)
    supply.clear_trips(bench.last)
    assert supply.mode(bench.last) is Mode.OFF
    assert not bench.output(bench.last).tripped
    assert not bench.output(bench.last).on


def test_a_voltage_beyond_the_supply_is_found_before_power(bench: Bench) -> None:
    bench.prepared()
    if Step.OVER_VOLTAGE not in bench.supply.lacking:
        bench.supply.prepare(bench.last, over_volts=35.0, over_amps_delay_seconds=0.1)
    else:
        bench.supply.prepare(bench.last, over_volts=99.0, over_amps_delay_seconds=0.1)
    if bench.spoken.common_switch:
        bench.supply.set_output(bench.last, volts=34.0, limit_amps=0.5)  # kept until it goes on
        with pytest.raises(DriverError):
            bench.supply.switch(bench.last, True)
    else:
        with pytest.raises(DriverError):
            bench.supply.set_output(bench.last, volts=34.0, limit_amps=0.5)
    assert bench.ports[-1].volts < 0.1
    assert bench.supply.make_safe(bench.last) == ()


def test_channels_are_fed_apart_and_never_confused(bench: Bench) -> None:
    if bench.last == 1:
        pytest.skip("it has one channel")
    supply = bench.prepared()
    bench.ports[1].ohms = 50.0
    bench.feed(1, volts=22.0)
    assert supply.mode(2) is Mode.OFF
    assert bench.ports[1].state().volts < 0.1
    bench.feed(2, volts=20.0)
    for _ in range(2):
        assert [supply.measure(n).volts for n in (1, 2)] == pytest.approx([22.0, 20.0], abs=0.05)
        assert [supply.mode(n) for n in (1, 2)] == [Mode.CV, Mode.CV]
    bench.feed(1, volts=21.0)
    bench.feed(2, volts=19.0)
    assert [output.volts_set for output in bench.inside.outputs()] == [21.0, 19.0]


def test_switching_one_off_leaves_the_other_on_unless_they_share_a_switch(bench: Bench) -> None:
    if bench.last == 1:
        pytest.skip("it has one channel")
    supply = bench.prepared()
    bench.feed(1)
    bench.feed(2)
    supply.switch(2, False)
    shared = bench.spoken.name in COMMON_SWITCH
    assert [output.on for output in bench.inside.outputs()] == [not shared, False]
    assert [supply.mode(n) for n in (1, 2)] == [Mode.OFF if shared else Mode.CV, Mode.OFF]


@pytest.mark.parametrize("common", COMMON_SWITCH)
def test_a_common_switch_gives_no_volts_to_the_channel_that_is_off(common: Style) -> None:
    with bench_of(common) as bench:
        bench.prepared()
        bench.feed(1)
        bench.feed(2, volts=20.0)
        bench.supply.switch(1, False)
        bench.supply.switch(1, True)  # the second one was at 20 V when all went off
        assert bench.ports[0].state().volts == pytest.approx(22.0, abs=0.05)
        assert bench.ports[1].state().volts < 0.1
        assert bench.supply.mode(2) is Mode.OFF
        bench.supply.set_output(2, volts=10.0, limit_amps=0.5)
        assert bench.ports[1].state().volts < 0.1  # it was set, not switched on
        bench.supply.switch(2, True)
        assert bench.ports[1].state().volts == pytest.approx(10.0, abs=0.05)
        assert bench.ports[0].state().volts == pytest.approx(22.0, abs=0.05)


@pytest.mark.parametrize("common", COMMON_SWITCH)
def test_making_one_channel_of_a_common_switch_safe_leaves_none_on(common: Style) -> None:
    with bench_of(common) as bench:
        bench.prepared()
        bench.feed(1)
        bench.feed(2)
        assert bench.supply.make_safe(2) == ()
        assert [output.on for output in bench.inside.outputs()] == [False, False]
        bench.supply.prepare(2, over_volts=30.0, over_amps_delay_seconds=0.1)
        bench.feed(2, volts=5.0)
        assert bench.ports[0].state().volts < 0.1  # the first one's 22 V did not come back with it


SELECTED: tuple[Style, ...] = ("selected by number", "selected by name", "selected by name on one switch")


@pytest.mark.parametrize("joins", [True, False], ids=["joined", "one command a line"])
@pytest.mark.parametrize("selected", SELECTED)
def test_whoever_turns_the_channel_knob_in_between_reaches_no_other_channel(selected: Style, joins: bool) -> None:
    words = replace(dialect(selected), joins_units=joins)
    with bench_of(selected, spoken=words) as bench:
        bench.prepared()
        bench.feed(1, volts=22.0)
        for turned_to in (1, 2):
            bench.inside.select(turned_to)
            bench.feed(2, volts=10.0 + turned_to)
            bench.inside.select(turned_to)
            assert bench.supply.measure(1).volts == pytest.approx(22.0, abs=0.05)
            bench.inside.select(turned_to)
            assert bench.supply.measure(2).volts == pytest.approx(10.0 + turned_to, abs=0.05)
        bench.inside.select(1)
        assert bench.supply.make_safe(2) == ()
        assert bench.output(2) == replace(bench.output(2), on=False, volts_set=0.0)
        assert bench.output(1).volts_set == 22.0


@pytest.mark.parametrize("joins", [True, False], ids=["joined", "one command a line"])
def test_a_channel_that_is_not_there_reaches_no_other_one(joins: bool) -> None:
    """In one line, what follows a selection out of range is still carried out, on the channel selected before."""
    words = replace(dialect("selected by number"), joins_units=joins)
    with bench_of("selected by number", spoken=words) as bench:
        bench.prepared()
        bench.feed(1)
        with pytest.raises(InstrumentError, match="error queue holds -222"):
            bench.supply.switch(3, False)
        assert bench.output(1).on


def test_the_trap_of_a_selection_out_of_range_is_real() -> None:
    with bench_of("selected by number") as bench:
        bench.prepared()
        bench.feed(1)
        bench.supply.session.write("INST:NSEL 1")
        bench.supply.session.write("INST:NSEL 3;:OUTP OFF")
        assert bench.supply.session.query("*OPC?") == "1"
        assert not bench.output(1).on


def test_two_values_in_one_reply_are_known_by_their_place() -> None:
    words = dialect("channel prefix")
    places = {
        Step.MEASURED_VOLTS: Question("MEAS:VOLT? CH{channel}", "V", place=1),
        Step.MEASURED_AMPS: Question("MEAS:CURR? CH{channel}", "A", place=2),
    }
    with bench_of("channel prefix", Quirks(shows_both=True), spoken=replace(words, questions=places)) as bench:
        bench.prepared()
        bench.feed(2)
        measured = bench.supply.measure(2)
        assert (measured.volts, measured.amps) == pytest.approx((22.0, 0.22), abs=0.05)


def test_two_values_in_one_reply_are_no_amps_for_who_expects_one() -> None:
    with bench_of("channel prefix", Quirks(shows_both=True)) as bench, pytest.raises(DriverError, match="the unit 'V'"):
        bench.prepared()


@pytest.mark.parametrize("local", ["single channel", "channel prefix", "serial words"])
def test_an_instrument_that_is_local_is_told_to_be_remote_first(local: Style) -> None:
    words = dialect(local)
    remote = replace(words, manners=replace(words.manners, remote="SYST:REM"))
    with bench_of(local, Quirks(remote="SYST:REM"), spoken=remote) as bench:
        bench.prepared()
        bench.feed(bench.last)
        assert bench.supply.mode(bench.last) is Mode.CV
    with bench_of(local, Quirks(remote="SYST:REM")) as bench, pytest.raises(DriverError, match="no reply"):
        bench.supply.session.timeout_seconds = 0.05
        bench.prepared()


HASTY = ("single channel", "channel prefix", "serial words")


@pytest.mark.parametrize("hasty", HASTY)
def test_an_instrument_that_drops_what_comes_too_fast_is_paced(hasty: Style) -> None:
    words = dialect(hasty)
    words = replace(words, manners=replace(words.manners, gap_seconds=0.02))
    with bench_of(hasty, Quirks(gap_seconds=0.01), spoken=words, clock=RealClock()) as bench:
        bench.supply.prepare(bench.last, over_volts=30.0, over_amps_delay_seconds=0.5)
        bench.feed(bench.last)
        assert bench.supply.mode(bench.last) is Mode.CV
        assert bench.supply.make_safe(bench.last) == ()
        assert not bench.output(bench.last).on


@pytest.mark.parametrize("hasty", HASTY)
def test_dropped_commands_are_noticed_before_power(hasty: Style) -> None:
    words = dialect(hasty)
    words = replace(words, manners=replace(words.manners, gap_seconds=0.0))
    with bench_of(hasty, Quirks(gap_seconds=0.05), spoken=words, clock=RealClock()) as bench:
        with pytest.raises(DriverError):
            bench.supply.prepare(bench.last, over_volts=30.0, over_amps_delay_seconds=0.5)
        time.sleep(0.06)
        with pytest.raises((DriverError, ValueError)):
            bench.feed(bench.last)
        assert not bench.output(bench.last).on


LOADS: tuple[Style, ...] = ("channel list", "single channel", "selected by number")


@pytest.mark.parametrize("style", LOADS)
@pytest.mark.parametrize("units", [False, True])
def test_a_load_draws_on_the_input_it_is_told(style: Style, units: bool) -> None:
    clock, words = VirtualClock(), dialect(f"{style} load")
    rails = [StiffRailOnLoad(15.0) for _ in range(1 if words.one_channel else 2)]
    inside = on_the_bench.Load("N,L,1,1", rails, clock, 1, style=style, reset_turns_on=True, units=units)
    last = len(rails)
    with ExitStack() as stack:
        server = stack.enter_context(open_server(inside, Manners(terminator=b"\r\n")))
        links = stack.enter_context(open_links())
        load = Load(links.open(server.resource, name="load"), words, wait=clock.advance)
        load.set_current(last, 0.5)
        load.switch(last, True)
        assert load.measure(last).amps == pytest.approx(0.5, abs=0.005)
        assert [rail.on for rail in rails] == [*[False] * (last - 1), True]
        assert load.make_safe(last) == ()
        assert load.session.drain_errors() == ()
        assert not rails[-1].on
