"""The simulated meter switches inputs, chooses ranges, takes its time and reads within its specification."""

from dataclasses import dataclass

import numpy as np
import pytest

from simulated.clock import VirtualClock
from simulated.instruments import Meter
from simulated.instruments.converter import METER_RANGES
from tests.simulated.instruments.wiring import KnownVolts, Talk


@dataclass
class Bench:
    meter: Meter
    talk: Talk
    clock: VirtualClock


def bench_of(*volts: float, seed: int = 1, inputs: int | None = None) -> Bench:
    clock = VirtualClock()
    port = KnownVolts(dict(enumerate(volts, start=1)))
    meter = Meter("RAILBENCH,SIM-METER,seed-1,1.0", port, inputs or len(volts), clock, seed)
    return Bench(meter, Talk(meter.connection()), clock)


def connected(*volts: float, seed: int = 1) -> Bench:
    """A bench whose first input is connected."""
    bench = bench_of(*volts, seed=seed)
    bench.talk.tell("ROUT:CLOS:EXCL (@101)", "CONF:VOLT:DC")
    return bench


def test_the_meter_reads_the_input_that_is_connected() -> None:
    bench = connected(15.0, -12.0)
    assert bench.talk.number("READ?") == pytest.approx(15.0, abs=2e-3)
    bench.talk.tell("ROUT:CLOS:EXCL (@102)")
    assert bench.talk.number("READ?") == pytest.approx(-12.0, abs=2e-3)
    assert bench.talk.ask("ROUT:CLOS? (@101:102)") == "0,1"
    assert bench.meter.connected_input() == 2


def test_with_nothing_connected_the_meter_reads_its_own_zero() -> None:
    bench = connected(15.0)
    bench.talk.tell("ROUT:OPEN:ALL")
    assert bench.talk.number("READ?") == pytest.approx(0.0, abs=1e-5)


def test_an_input_that_is_not_there_is_refused() -> None:
    bench = bench_of(15.0)
    bench.talk.tell("ROUT:CLOS:EXCL (@102)")
    assert bench.talk.errors() == [-222]
    assert bench.meter.connected_input() is None


@pytest.mark.parametrize(
    ("expected_volts", "range_volts"),
    [(0.0, 0.1), (0.1, 0.1), (0.11, 1.0), (5.0, 10.0), (10.0, 10.0), (22.0, 100.0), (500.0, 1000.0)],
)
def test_a_fixed_range_is_the_next_one_up(expected_volts: float, range_volts: float) -> None:
    bench = connected(0.05)
    bench.talk.tell(f"VOLT:DC:RANG {expected_volts}")
    assert bench.talk.number("VOLT:DC:RANG?") == range_volts
    assert bench.talk.ask("VOLT:DC:RANG:AUTO?") == "0"


@pytest.mark.parametrize(
    ("volts", "answer"),
    [(12.1, "+9.90000000E+37"), (-12.1, "-9.90000000E+37")],
)
def test_beyond_120_percent_of_a_fixed_range_the_answer_is_overload(volts: float, answer: str) -> None:
    bench = connected(volts)
    bench.talk.tell("VOLT:DC:RANG 10")
    assert bench.talk.ask("READ?") == answer


def test_up_to_120_percent_of_its_name_a_range_reads() -> None:
    bench = connected(11.9)
    bench.talk.tell("VOLT:DC:RANG 10")
    assert bench.talk.number("READ?") == pytest.approx(11.9, abs=1e-3)


def test_autorange_goes_up_above_120_percent_and_down_below_a_tenth() -> None:
    bench = connected(0.05, 11.0, 12.1, 11.0, 9.9)
    ranges = []
    for channel in range(101, 106):
        bench.talk.tell(f"ROUT:CLOS:EXCL (@{channel})")
        bench.talk.ask("READ?")
        ranges.append(bench.talk.number("VOLT:DC:RANG?"))
    assert ranges == [0.1, 10.0, 100.0, 100.0, 10.0]


@pytest.mark.parametrize(
    ("cycles", "autozero", "seconds"),
    [(0.02, "OFF", 0.0004), (1, "OFF", 0.02), (1, "ON", 0.04), (10, "ON", 0.4), (100, "OFF", 2.0)],
)
def test_a_reading_takes_its_power_line_cycles_twice_with_autozero(
    cycles: float, autozero: str, seconds: float
) -> None:
    bench = connected(15.0)
    bench.talk.tell("VOLT:DC:RANG 100", f"VOLT:DC:NPLC {cycles}", f"ZERO:AUTO {autozero}")
    start = bench.clock.seconds()
    bench.talk.ask("READ?")
    assert bench.clock.seconds() - start == pytest.approx(seconds + 0.001)  # and the query itself


def test_a_relay_takes_time_only_when_it_switches() -> None:
    bench = bench_of(15.0, 12.0)
    for _ in range(3):
        bench.talk.tell("ROUT:CLOS:EXCL (@101)")
    assert bench.clock.seconds() == pytest.approx(0.020)


@pytest.mark.parametrize("seed", range(10))
@pytest.mark.parametrize("number", range(len(METER_RANGES)))
def test_the_calibration_error_lies_within_the_specification_of_its_range(number: int, seed: int) -> None:
    each = METER_RANGES[number]
    true = 0.9 * each.volts
    bench = connected(true, seed=seed)
    bench.talk.tell(f"VOLT:DC:RANG {each.volts}", "VOLT:DC:NPLC 100")
    error = bench.talk.number("READ?") - true
    assert 0 < abs(error) <= each.of_reading * true + each.of_range * each.volts


def noise(cycles: float) -> float:
    bench = connected(8.0)
    bench.talk.tell("VOLT:DC:RANG 10", f"VOLT:DC:NPLC {cycles}", "SAMP:COUN 400")
    return float(np.std([float(each) for each in bench.talk.ask("READ?").split(",")]))


@pytest.mark.parametrize(
    ("cycles", "rms_volts"),
    [
        (0.02, 10e-6 / 0.02**0.5),
        (1, 10e-6),
        (100, 2e-6),  # the floor; the root alone would give 1 uV
    ],
)
def test_noise_falls_with_the_root_of_the_integration_time_down_to_a_floor(cycles: float, rms_volts: float) -> None:
    assert noise(cycles) == pytest.approx(rms_volts, rel=0.15)


@pytest.mark.parametrize(("cycles", "step"), [(0.02, 1e-4), (0.2, 3e-5), (1, 1e-5), (10, 3e-6), (100, 1e-6)])
def test_the_resolution_follows_the_integration_time(cycles: float, step: float) -> None:
    bench = connected(7.1234567)
    bench.talk.tell("VOLT:DC:RANG 10", f"VOLT:DC:NPLC {cycles}")
    steps = bench.talk.number("READ?") / step
    assert steps == pytest.approx(round(steps), abs=0.02)


@pytest.mark.parametrize(
    ("command", "cycles"),
    [
        ("CONF:VOLT:DC 10", 10.0),
        ("CONF:VOLT:DC 10,0.001", 0.02),
        ("CONF:VOLT:DC 10,0.00003", 0.2),
        ("CONF:VOLT:DC 10,MIN", 100.0),  # the finest resolution takes longest
        ("CONF:VOLT:DC 10,DEF", 10.0),
        ("VOLT:DC:NPLC 0.5", 1.0),  # the next effort up
        ("VOLT:DC:NPLC MIN", 0.02),
    ],
)
def test_integration_is_chosen_by_resolution_or_by_cycles(command: str, cycles: float) -> None:
    bench = connected(5.0)
    bench.talk.tell(command)
    assert bench.talk.number("VOLT:DC:NPLC?") == cycles


def test_a_resolution_without_a_fixed_range_is_a_conflict() -> None:
    bench = connected(5.0)
    bench.talk.tell("CONF:VOLT:DC DEF,0.001")
    assert bench.talk.errors() == [-221]


def test_configure_and_measure_bring_the_presets_back() -> None:
    bench = connected(5.0)
    bench.talk.tell("VOLT:DC:NPLC 0.02", "ZERO:AUTO OFF", "SAMP:COUN 3", "TRIG:SOUR BUS")
    assert bench.talk.number("MEAS:VOLT:DC? 10") == pytest.approx(5.0, abs=1e-3)
    assert bench.talk.ask("ZERO:AUTO?;:SAMP:COUN?;:TRIG:SOUR?") == "1;1;IMM"


def test_readings_of_a_bus_trigger_are_fetched_as_often_as_asked() -> None:
    bench = connected(5.0)
    bench.talk.tell("TRIG:SOUR BUS", "SAMP:COUN 3", "INIT", "*TRG")
    first, again = bench.talk.ask("FETC?"), bench.talk.ask("FETC?")
    assert first == again
    assert len(first.split(",")) == 3


def test_two_meters_that_are_begun_together_integrate_at_the_same_time() -> None:
    clock, port = VirtualClock(), KnownVolts({1: 5.0})
    both = [Talk(Meter("RAILBENCH,SIM-METER,1,1.0", port, 1, clock, seed).connection()) for seed in (1, 2)]
    for talk in both:
        talk.tell("ROUT:CLOS:EXCL (@101)", "CONF:VOLT:DC 10")
    begun = clock.seconds()
    for talk in both:
        talk.tell("INIT")
    assert [talk.number("FETC?") for talk in both] == pytest.approx([5.0, 5.0], abs=1e-3)
    assert clock.seconds() - begun == pytest.approx(0.4, abs=0.01)  # 10 power-line cycles and the zero, once


@pytest.mark.parametrize("waits", ["*OPC?", "*WAI", "*OPC"])  # the status byte is asked for behind each
def test_what_is_pending_is_waited_for_where_that_is_asked(waits: str) -> None:
    """IEEE 488.2, 12.5: the three ways to wait for an overlapped command."""
    bench = connected(5.0)
    begun = bench.clock.seconds()
    bench.talk.tell("INIT")
    bench.talk.ask(f"{waits};*STB?")
    assert bench.clock.seconds() - begun >= 0.4  # 10 power-line cycles at 50 Hz, and as long again for the zero


@pytest.mark.parametrize(
    ("messages", "code"),
    [
        (["FETC?"], -230),
        (["INIT", "VOLT:DC:NPLC 1", "FETC?"], -230),  # a new setting empties the memory
        (["TRIG:SOUR BUS", "READ?"], -214),
        (["TRIG:SOUR BUS", "INIT", "INIT"], -213),
        (["*TRG"], -211),
        (["SENS:FUNC \"FRES\""], -224),
        (["VOLT:DC:RANG 1001"], -222),
    ],
)  # fmt: skip
def test_what_cannot_be_done_is_told(messages: list[str], code: int) -> None:
    bench = connected(5.0)
    bench.talk.tell(*messages)
    assert bench.talk.errors() == [code]


def test_the_function_is_answered_quoted_and_short() -> None:
    bench = connected(5.0)
    bench.talk.tell('SENS:FUNC "VOLTage:DC"')
    assert bench.talk.ask("SENS:FUNC?") == '"VOLT"'


def test_the_same_seed_and_commands_give_the_same_readings() -> None:
    first, again, other = (connected(15.0, seed=seed).talk.ask("READ?;READ?") for seed in (5, 5, 6))
    assert first == again != other


def test_a_meter_without_inputs_is_refused() -> None:
    with pytest.raises(ValueError, match="a meter cannot have 100 inputs; write 1 to 99"):
        bench_of(inputs=100)


@pytest.mark.parametrize(
    ("true_volts", "shown_volts"),
    [
        (0.0, 20e-6),  # its own floor
        (20e-6, 28.3e-6),  # adds in quadrature
        (1e-3, 1e-3),
        (0.5, 0.5),
    ],
)
def test_what_alternates_is_shown_as_true_rms_above_the_meters_own_floor(true_volts: float, shown_volts: float) -> None:
    bench = connected(15.0)
    port = KnownVolts({1: 15.0}, {1: true_volts})
    meter = Meter("RAILBENCH,SIM-METER,seed-1,1.0", port, 1, bench.clock, 1)
    talk = Talk(meter.connection())
    talk.tell("ROUT:CLOS:EXCL (@101)")
    assert talk.number("MEAS:VOLT:AC?") == pytest.approx(shown_volts, rel=6e-4, abs=36e-6)


def test_an_alternating_reading_takes_the_second_its_filter_needs() -> None:
    bench = connected(15.0)
    before = bench.clock.seconds()
    bench.talk.number("MEAS:VOLT:AC?")
    assert bench.clock.seconds() - before == pytest.approx(1.0, abs=0.01)
