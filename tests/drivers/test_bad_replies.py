"""One reply is replaced by another: a driver's own errors come of it, or the true value, never a wrong one.

The instruments are simulated, on a wire of their own without a socket, so that thousands of cases take a minute.
"""

import math
from collections import deque
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, field
from functools import partial
from typing import Any

from hypothesis import given
from hypothesis import strategies as st

import simulated.instruments as on_the_bench
from drivers import DriverError, Load, Meter, Mode, Session, Supply, dialect
from drivers.wire import Silence
from simulated.clock import VirtualClock
from simulated.instruments.channels import Style
from simulated.instruments.scpi import Connection
from tests.drivers.test_every_dialect import STYLES
from tests.simulated.instruments.wiring import KnownVolts, ResistorOnSupply, StiffRailOnLoad


@dataclass
class Wire:
    """Carries lines to an instrument in this process; puts `bad` in the place of the reply number `at`, from 1."""

    talker: Connection
    at: int = 0
    bad: bytes = b""
    count: int = 0
    waiting: deque[bytes] = field(default_factory=deque)

    def write_line(self, text: str) -> None:
        for line in self.talker.receive(text.encode() + b"\n").splitlines(keepends=True):
            self.count += 1
            self.waiting.extend((self.bad if self.count == self.at else line).splitlines(keepends=True))

    def read_line(self, timeout_seconds: float) -> bytes:
        assert 0.0 < timeout_seconds < 60.0
        line = self.waiting.popleft() if self.waiting else b""
        if not line.endswith(b"\n"):
            raise Silence(line)
        return line

    def unread(self) -> int:
        return sum(map(len, self.waiting))

    def close(self) -> None:
        self.waiting.clear()

    abort = close


def near(value: float, wanted: float, within: float) -> bool:
    return math.isfinite(value) and abs(value - wanted) <= within


@dataclass
class Bench:
    """A driver on an instrument, what can be asked of it, and whether an answer is true."""

    wire: Wire
    looks: dict[str, tuple[Callable[[], Any], Callable[[Any], bool]]]
    is_off: Callable[[], bool]
    make_safe: Callable[[], tuple[str, ...]]


def session(wire: Wire) -> Session:
    opened = Session("it", "here", lambda: wire, timeout_seconds=1.0)
    opened.open()
    return opened


def supply(style: Style) -> Bench:
    words, clock = dialect(style), VirtualClock()
    ports = [ResistorOnSupply(ohms=100.0) for _ in range(1 if words.one_channel else 2)]
    inside = on_the_bench.Supply("N,S,1,1", ports, clock, 1, style=style)
    wire, channel = Wire(inside.connection()), len(ports)
    driver = Supply(session(wire), words, wait=clock.advance, unprotected=True)
    driver.identify()
    driver.prepare(channel, over_volts=30.0, over_amps_delay_seconds=0.1)

    def feed() -> Mode:
        driver.set_output(channel, volts=10.0, limit_amps=0.5)
        driver.switch(channel, True)
        return driver.mode(channel)

    def state() -> tuple[bool, float]:
        return inside.outputs()[channel - 1].on, inside.outputs()[channel - 1].volts_set

    feed()
    looks: dict[str, tuple[Callable[[], Any], Callable[[Any], bool]]] = {
        "measure": (
            lambda: driver.measure(channel),
            lambda told: near(told.volts, 10.0, 0.05) and near(told.amps, 0.1, 0.005),
        ),
        "feed": (feed, lambda mode: mode is Mode.CV and state() == (True, 10.0)),
        "trips": (lambda: driver.trips(channel), lambda told: told == ()),
        "identify": (driver.identify, lambda told: told.fields.startswith("N,S")),
        "prepare": (
            lambda: driver.prepare(channel, over_volts=20.0, over_amps_delay_seconds=0.1),
            lambda found: found.on and state() == (False, 0.0),
        ),
    }
    return Bench(wire, looks, lambda: state() == (False, 0.0), lambda: driver.make_safe(channel))


def load(style: Style) -> Bench:
    clock = VirtualClock()
    inside = on_the_bench.Load("N,L,1,1", [StiffRailOnLoad(), StiffRailOnLoad()], clock, 1, style=style)
    wire = Wire(inside.connection())
    driver = Load(session(wire), dialect(f"{style} load"), wait=clock.advance)
    driver.identify()

    def draw() -> None:
        driver.set_current(2, 0.5)
        driver.switch(2, True)

    def state() -> tuple[bool, float]:
        return inside.inputs()[1].on, inside.inputs()[1].amps_set

    draw()
    looks: dict[str, tuple[Callable[[], Any], Callable[[Any], bool]]] = {
        "measure": (
            lambda: driver.measure(2),
            lambda told: near(told.volts, 15.0, 0.1) and near(told.amps, 0.5, 0.01),
        ),
        "draw": (draw, lambda _: state() == (True, 0.5)),
        "prepare": (lambda: driver.prepare(2), lambda _: state() == (False, 0.0)),
    }
    return Bench(wire, looks, lambda: state() == (False, 0.0), lambda: driver.make_safe(2))


def meter() -> Bench:
    clock = VirtualClock()
    at_inputs = KnownVolts({1: 15.0, 2: 300.0}, {3: 1e-3}, {4: 150.0})
    wire = Wire(on_the_bench.Meter("N,M,1,1", at_inputs, 20, clock, 1).connection())
    driver = Meter(session(wire), wait=clock.advance)
    driver.identify()
    looks: dict[str, tuple[Callable[[], Any], Callable[[Any], bool]]] = {
        "volts": (
            lambda: driver.read_volts(1, expected_volts=15.0, power_line_cycles=1.0),
            lambda told: near(told.volts, 15.0, 0.01) and told.power_line_cycles_actual == 1.0,
        ),
        "overload": (lambda: driver.read_volts(2, expected_volts=15.0), lambda told: near(told.volts, 300.0, 0.2)),
        "ohms": (lambda: driver.read_ohms(4, test_amps=1e-3), lambda told: near(told.ohms, 150.0, 1.0)),
        "ripple": (lambda: driver.read_ripple(3), lambda told: near(told.volts_rms, 1e-3, 1e-4)),
    }
    return Bench(wire, looks, lambda: True, lambda: ())


BENCHES: dict[str, Callable[[], Bench]] = {
    **{f"supply, {style}": partial(supply, style) for style in STYLES},
    "load, channel list": partial(load, "channel list"),
    "load, selected by number": partial(load, "selected by number"),
    "meter": meter,
}
# What is no answer to any question: a number in place of another is beyond any driver, these are not.
SENSELESS: list[bytes] = [b"\x00", b"\x07\xff#?!", b"\xb5", b"?", b"", b"9" * 400, b"x" * 5000]
SENSELESS += rb"""9.91E37 +9.90000000E+37 -9.9E37 1e999 NAN nan -INF 4,98 4,98;0,10 5.0.0 --5 5e 5KG 0x #15abcde
1;2;3;4;5;6;7 -113,"Undefined-header" <html> MAKER,OTHER,1,1""".split()
REPLIES = st.one_of(
    st.sampled_from(SENSELESS), st.sampled_from([b"0", b"1", b"-1", b"1e30", b"-1e30", b"1\n2"]), st.binary(max_size=12)
)


@given(name=st.sampled_from(sorted(BENCHES)), data=st.data(), bad=st.sampled_from(SENSELESS), at=st.integers(1, 12))
def test_a_senseless_reply_is_an_error_or_makes_no_difference(
    name: str, data: st.DataObject, bad: bytes, at: int
) -> None:
    bench = BENCHES[name]()
    look, is_true = bench.looks[data.draw(st.sampled_from(sorted(bench.looks)))]
    bench.wire.at, bench.wire.bad = bench.wire.count + at, bad + b"\n"
    try:
        told = look()
    except DriverError as error:
        assert str(error).isprintable() and len(str(error)) < 1000
    else:
        assert is_true(told), told


@given(name=st.sampled_from(sorted(BENCHES)), data=st.data(), bad=REPLIES, at=st.integers(1, 12), ended=st.booleans())
def test_whatever_is_replied_only_a_drivers_own_errors_come_of_it(
    name: str, data: st.DataObject, bad: bytes, at: int, ended: bool
) -> None:
    bench = BENCHES[name]()
    look, _ = bench.looks[data.draw(st.sampled_from(sorted(bench.looks)))]
    bench.wire.at, bench.wire.bad = bench.wire.count + at, bad + b"\n" * ended
    with suppress(DriverError):
        look()


@given(name=st.sampled_from(sorted(BENCHES)), bad=REPLIES, at=st.integers(1, 8))
def test_making_safe_ends_off_whatever_is_replied_once(name: str, bad: bytes, at: int) -> None:
    bench = BENCHES[name]()
    bench.wire.at, bench.wire.bad = bench.wire.count + at, bad + b"\n"
    problems = bench.make_safe()
    assert bench.is_off() and all(problem.isprintable() for problem in problems)
