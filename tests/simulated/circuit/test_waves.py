"""Sources that move by themselves: formulas, ngspice itself where it is installed, and what is wrong."""

import math
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from simulated.circuit import Circuit, NetlistError, Transient, read_netlist
from simulated.circuit.trace import Trace

from . import ngspice

Floats = NDArray[np.float64]
LOW_PASS = "t\nV1 a 0 {}\nR1 a b 1k\nC1 b 0 1u\n"
DECKS = {  # netlist, node, seconds; what ngspice is compared on
    "sine": (LOW_PASS.format("SIN(1 10 50 5m 20 30)"), "b", 0.1),
    "sine with an offset": (LOW_PASS.format("DC 2 AC 1 SIN(2 5 200)"), "b", 0.03),
    "pulses": (LOW_PASS.format("PULSE(0 5 1m 0.1m 0.2m 2m 6m)"), "b", 0.02),
    "one pulse": (LOW_PASS.format("PULSE(1 5 1m 1m 1m 3m)"), "b", 0.01),
    "line": ("t\nI1 0 b PWL(0 0 2m 1m 3m 1m 5m -1m)\nR1 b 0 1k\nC1 b 0 0.5u\n", "b", 0.01),
    "half-wave rectifier": (
        "t\nV1 a 0 SIN(0 20 50)\nR0 a s 0.5\nD1 s o DR\n.model DR D(IS=1e-9 N=1.7 RS=50m)\nC1 o 0 1m\nR1 o 0 100\n",
        "o",
        0.1,
    ),
}
OF_SPAN = 0.003  # measured: 0.15 %


def followed(text: str, node: str, seconds: float, **parameters: float) -> Trace:
    """What a node does from the operating point on."""
    circuit = Circuit(read_netlist(text))
    run = Transient(circuit, parameters=parameters)
    run.start_from(circuit.operating_point(parameters=parameters))
    return run.advance(seconds, watch=[node])


def points(trace: Trace) -> tuple[Floats, Floats]:
    """Times (T,) and volts (T,) of the one node."""
    return trace.seconds, trace.volts[0, :, 0]


@pytest.mark.skipif(not ngspice.available(), reason="ngspice is not installed")
@pytest.mark.parametrize("name", DECKS)
def test_ngspice_agrees(name: str, tmp_path: Path) -> None:
    text, node, seconds = DECKS[name]
    wanted = ngspice.transient(text, [node], seconds, seconds / 2000.0, tmp_path)
    found = followed(text, node, seconds).at(np.clip(wanted[:, 0], 0.0, seconds))[0, :, 0]
    assert np.abs(found - wanted[:, 1]).max() < OF_SPAN * np.ptp(wanted[:, 1])


def test_a_sine_through_a_low_pass_has_the_amplitude_and_lag_of_the_formula() -> None:
    times, volts = points(followed(LOW_PASS.format("SIN(0 10 159.155)"), "b", 0.05))  # the corner: 1 / (2 pi R C)
    late = times > 0.03  # thirty time constants
    phase = 2.0 * math.pi * 159.155 * times[late] - math.pi / 4.0
    assert volts[late] == pytest.approx(10.0 / math.sqrt(2.0) * np.sin(phase), abs=0.02)


def test_an_operating_point_takes_the_value_at_time_zero_or_the_dc_value() -> None:
    for text, volts in (("SIN(1 10 50 0 0 30)", 6.0), ("DC 3 SIN(1 10 50)", 3.0), ("PULSE(2 5 1m)", 2.0)):
        point = Circuit(read_netlist(LOW_PASS.format(text))).operating_point()
        assert point.volts("b")[0] == pytest.approx(volts)


def test_a_sine_without_amplitude_costs_nothing() -> None:
    text = ".param mains=0\n" + LOW_PASS.format("SIN(0 {mains*10} 50)").partition("\n")[2]
    still, moving = (followed(f"t\n{text}", "b", 0.2, mains=mains).seconds.size for mains in (0.0, 1.0))
    assert still < 50 < 0.2 * 50.0 * 40.0 <= moving  # forty steps a period


def test_no_corner_is_stepped_over() -> None:
    """A pulse of a microsecond in the middle of a second of nothing is seen."""
    times, volts = points(followed(LOW_PASS.format("PULSE(0 1000 0.5 10n 10n 1u)"), "b", 1.0))
    peak = 1000.0 * -math.expm1(-1.01e-6 / 1e-3)
    assert volts.max() == pytest.approx(peak, rel=0.02)
    assert times[np.argmax(volts)] == pytest.approx(0.5, abs=1e-5)


@pytest.mark.parametrize(
    ("words", "message"),
    [
        ("SIN(0 10)", r"V1: SIN has 2 arguments; write SIN\(VO VA FREQ \[TD THETA PHASE\]\)"),
        ("SIN(0 10 0)", "V1: a sine of 0 Hz is none; write SIN"),
        ("PULSE(1)", r"V1: PULSE has 1 arguments; write PULSE\(V1 V2 "),
        ("PWL(0 1 2)", r"V1: PWL is no rising times; write PWL\(T1 V1 T2 V2"),
        ("PWL(0 1 2m 3 1m 4)", "V1: PWL is no rising times"),
    ],
)
def test_arguments_without_sense_are_refused(words: str, message: str) -> None:
    with pytest.raises(NetlistError, match=message):
        Transient(Circuit(read_netlist(LOW_PASS.format(words))))


def test_a_wave_without_arguments_is_refused_at_once() -> None:
    with pytest.raises(NetlistError, match=r"V1: SIN has no arguments; write SIN\(...\)"):
        read_netlist(LOW_PASS.format("SIN()"))


def test_a_source_in_a_subcircuit_takes_its_parameters() -> None:
    text = "t\nX1 b SOURCE level=4\n.subckt SOURCE out level=1\nV1 out 0 SIN(0 {level} 50)\nR1 out 0 1k\n.ends\n"
    _, volts = points(followed(text, "b", 0.02))
    assert volts.max() == pytest.approx(4.0, abs=0.02)
