"""The supply's own communication watchdog, driver and simulated supply together."""

import time
from collections.abc import Iterator
from contextlib import contextmanager

import pytest

import simulated.instruments as on_the_bench
from drivers import InstrumentError, Mode, NotPrepared, Supply, dialect, open_links
from simulated.clock import RealClock, VirtualClock
from simulated.instruments import Quirks
from simulated.instruments.channels import Style
from simulated.server import open_server
from tests.drivers.conftest import Called
from tests.simulated.instruments.wiring import ResistorOnSupply

WITH_ONE: tuple[Style, ...] = (
    "channel list",
    "selected by number",
    "selected by name",
    "selected by name on one switch",
    "channel suffix",
)
WITHOUT: tuple[Style, ...] = ("channel prefix", "serial words")


class Bench:
    def __init__(self, supply: Supply, inside: on_the_bench.Supply, clock: VirtualClock) -> None:
        self.supply, self.inside, self.clock = supply, inside, clock

    def power(self, *channels: int) -> None:
        for channel in channels:
            self.supply.prepare(channel, over_volts=12.0, over_amps_delay_seconds=0.5)
        for channel in channels:
            self.supply.set_output(channel, volts=10.0, limit_amps=0.5)
            self.supply.switch(channel, True)

    @property
    def on(self) -> list[bool]:
        return [output.on for output in self.inside.outputs()]


@contextmanager
def bench_of(style: Style, *, clock: VirtualClock | None = None, watchdog: bool = True) -> Iterator[Bench]:
    clock = clock or VirtualClock()
    ports = [ResistorOnSupply(ohms=100.0) for _ in range(2)]
    inside = on_the_bench.Supply("N,S,1,1", ports, clock, 1, style=style, quirks=Quirks(watchdog=watchdog))
    with open_server(inside) as server, open_links() as links:
        session = links.open(server.resource, name="supply", timeout_seconds=0.2)
        yield Bench(Supply(session, dialect(style), wait=clock.advance, unprotected=True), inside, clock)


@pytest.fixture(params=WITH_ONE)
def bench(request: pytest.FixtureRequest) -> Iterator[Bench]:
    with bench_of(request.param) as opened:
        yield opened


def test_fed_it_lets_the_outputs_on(bench: Bench) -> None:
    assert bench.supply.arm_watchdog(1, 5.0)
    bench.power(1, 2)
    for _ in range(20):
        bench.clock.advance(4.0)
        bench.supply.feed()
    assert bench.on == [True, True]
    assert bench.supply.mode(2) is Mode.CV


def test_any_message_feeds_it(bench: Bench) -> None:
    bench.power(1, 2)
    assert bench.supply.arm_watchdog(1, 5.0)
    for _ in range(5):
        bench.clock.advance(4.0)
        bench.supply.measure(2)
    assert bench.on == [True, True]


def test_unfed_it_switches_all_off_at_its_time_and_they_stay_off(bench: Bench) -> None:
    bench.power(1, 2)
    assert bench.supply.arm_watchdog(1, 5.0)
    bench.clock.advance(4.9)
    assert bench.on == [True, True]
    bench.clock.advance(0.2)
    assert bench.on == [False, False]  # nobody has asked it anything
    for _ in range(3):
        assert bench.supply.mode(1) is Mode.TRIPPED
        bench.clock.advance(60.0)
    assert bench.on == [False, False]


def test_it_is_reported_as_a_trip_by_its_name(bench: Bench) -> None:
    bench.power(1, 2)
    bench.supply.arm_watchdog(1, 5.0)
    bench.clock.advance(6.0)
    assert [bench.supply.trips(channel) for channel in (1, 2)] == [("watchdog",), ("watchdog",)]
    with pytest.raises(NotPrepared):
        bench.supply.mode(1)
        bench.supply.switch(1, True)
    assert bench.on == [False, False]


def test_clearing_it_leaves_the_outputs_off_until_they_are_prepared_again(bench: Bench) -> None:
    bench.power(1, 2)
    bench.supply.arm_watchdog(1, 5.0)
    bench.clock.advance(6.0)
    for channel in (1, 2):
        bench.supply.clear_trips(channel)
    assert [bench.supply.trips(channel) for channel in (1, 2)] == [(), ()]
    assert bench.on == [False, False]
    bench.power(1, 2)
    assert bench.on == [True, True]


def test_cleared_with_the_switch_still_on_the_output_comes_back(bench: Bench) -> None:
    """Why the driver switches off first: the supply remembers that it was on."""
    bench.power(1)
    bench.supply.arm_watchdog(1, 5.0)
    bench.clock.advance(6.0)
    clear = {"channel list": "OUTP:PROT:CLE (@1)", "channel suffix": "OUTP1:PROT:CLE"}
    selecting = {"selected by number": "INST:NSEL 1;:"}.get(bench.supply._talk.dialect.name, "INST OUT1;:")
    name = bench.supply._talk.dialect.name
    bench.supply.session.write(clear.get(name, f"{selecting}OUTP:PROT:CLE"))
    assert bench.supply.session.query("*OPC?") == "1"
    assert bench.on[0]


def test_a_tripped_supply_is_made_safe(bench: Bench) -> None:
    bench.power(1, 2)
    bench.supply.arm_watchdog(1, 5.0)
    bench.clock.advance(6.0)
    assert [bench.supply.make_safe(channel) for channel in (1, 2)] == [(), ()]


def test_disarmed_it_lets_everything_as_it_is(bench: Bench) -> None:
    bench.power(1, 2)
    bench.supply.arm_watchdog(1, 5.0)
    bench.supply.disarm_watchdog(1)
    bench.clock.advance(3600.0)
    assert bench.on == [True, True]
    assert bench.supply.session.drain_errors() == ()


def test_one_that_somebody_else_left_armed_is_disarmed(bench: Bench) -> None:
    bench.power(1, 2)
    bench.supply.arm_watchdog(1, 5.0)
    talk = bench.supply._talk
    Supply(bench.supply.session, talk.dialect, wait=talk.wait).disarm_watchdog(1)
    bench.clock.advance(3600.0)
    assert bench.on == [True, True]


def test_a_longer_delay_holds_from_then_on(bench: Bench) -> None:
    bench.power(1)
    bench.supply.arm_watchdog(1, 5.0)
    bench.supply.arm_watchdog(1, 50.0)
    bench.clock.advance(49.0)
    assert bench.on[0]
    bench.clock.advance(2.0)
    assert not bench.on[0]


def test_a_reset_disarms_it(bench: Bench) -> None:
    bench.supply.arm_watchdog(1, 5.0)
    bench.supply.session.write("*RST")
    assert bench.supply.session.query("OUTP:PROT:WDOG?") == "0"


@pytest.mark.parametrize("style", WITHOUT)
def test_a_dialect_without_one_says_so(style: Style) -> None:
    with bench_of(style) as bench:
        bench.power(1)
        assert not bench.supply.arm_watchdog(1, 5.0)
        bench.supply.disarm_watchdog(1)
        bench.clock.advance(3600.0)
        assert bench.on[0]


@pytest.mark.parametrize("style", WITH_ONE)
def test_a_supply_without_one_says_so_and_stays_prepared(style: Style) -> None:
    with bench_of(style, watchdog=False) as bench:
        bench.supply.prepare(1, over_volts=12.0, over_amps_delay_seconds=0.5)
        assert not bench.supply.arm_watchdog(1, 5.0)
        bench.supply.disarm_watchdog(1)
        bench.supply.set_output(1, volts=10.0, limit_amps=0.5)
        bench.supply.switch(1, True)
        assert bench.on[0]
        assert bench.supply.session.drain_errors() == ()


@pytest.mark.parametrize("seconds", [0.0, -1.0, float("nan")])
def test_a_delay_that_is_no_time_is_never_sent(bench: Bench, seconds: float) -> None:
    with pytest.raises(ValueError, match="write more than 0"):
        bench.supply.arm_watchdog(1, seconds)


def test_a_delay_the_supply_does_not_take_is_refused_and_nothing_armed(bench: Bench) -> None:
    with pytest.raises(InstrumentError, match="error queue holds -222"):
        bench.supply.arm_watchdog(1, 7200.0)
    assert bench.supply.session.query("OUTP:PROT:WDOG?") == "0"


def test_in_real_time_nobody_has_to_ask_for_it_to_bite() -> None:
    """As when the computer is gone: no message, no advance of any clock."""
    with bench_of("channel list", clock=RealClock()) as bench:
        bench.power(1, 2)
        bench.supply.arm_watchdog(1, 1.0)
        fed_until = time.monotonic() + 1.5
        while time.monotonic() < fed_until:
            bench.supply.feed()
            time.sleep(0.1)
        assert bench.on == [True, True]
        silent = time.monotonic()
        while any(bench.on) and time.monotonic() < silent + 10.0:
            time.sleep(0.02)
        assert bench.on == [False, False]
        assert time.monotonic() - silent > 0.8
        assert bench.supply.trips(1) == ("watchdog",)


def test_arming_is_the_delay_first_and_both_read_back(call: Called, waits: list[float]) -> None:
    server, session = call({"OUTP:PROT:WDOG:DEL?": b"5\n", "OUTP:PROT:WDOG?": [b"1\n", b"0\n"]})
    supply = Supply(session, dialect("channel list"), wait=waits.append)
    assert supply.arm_watchdog(1, 5.0)
    supply.disarm_watchdog(1)
    assert server.told == [
        "OUTP:PROT:WDOG:DEL 5",
        "SYST:ERR?",
        "OUTP:PROT:WDOG:DEL 5",
        "OUTP:PROT:WDOG:DEL?",
        "OUTP:PROT:WDOG ON",
        "OUTP:PROT:WDOG?",
        "OUTP:PROT:WDOG OFF",
        "OUTP:PROT:WDOG?",
    ]
