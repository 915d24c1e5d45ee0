"""Laws that hold for any circuit: small random ones of R V I D Q, and what ngspice says of them."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from simulated.circuit import Circuit, OperatingPoint, Parts, read_netlist

from .ngspice import available, operating_point

MODELS = """.model DS D(IS=1e-14 N=1.1 RS=0.5)
.model DZ D(IS=1e-14 BV=5.1 IBV=1m RS=3)
.model QN NPN(IS=1e-14 BF=150 VAF=80 IKF=0.2 ISE=1e-14)
.model QP PNP(IS=1e-14 BF=90 VAF=60 BR=3 RB=20)
"""
NODES = ["0", "a", "b", "c", "d"]
ohms = st.sampled_from([47.0, 330.0, 1e3, 2.2e3, 10e3, 68e3, 470e3])


@dataclass(frozen=True)
class Cards:
    """The cards of a circuit that has a solution: a resistor from every node, sources that make no loop."""

    parts: tuple[str, ...]

    @property
    def text(self) -> str:
        return "a random circuit\n" + "\n".join(self.parts) + "\n" + MODELS


@st.composite
def circuits(draw: Callable[[st.SearchStrategy[Any]], Any], linear: bool = False) -> Cards:
    node = st.sampled_from(NODES)
    parts = [
        f"R{at} {name} {draw(st.sampled_from([n for n in NODES if n != name]))} {draw(ohms)}"
        for at, name in enumerate(NODES[1:])
    ]
    parts += [f"RG{name} {name} 0 {draw(ohms)}" for name in NODES[1:]]
    # Behind a resistor: a junction straight across a source of volts has no solution.
    parts += [f"V1 s 0 {draw(st.sampled_from([-12.0, 1.0, 5.0, 9.0]))}", f"RS s a {draw(ohms)}"]
    parts += [
        f"I{at} {draw(node)} {draw(node)} {draw(st.sampled_from([-5e-3, 1e-4, 2e-3]))}"
        for at in range(draw(st.integers(0, 2)))
    ]
    if not linear:
        parts += [
            f"D{at} {draw(node)} {draw(node)} {draw(st.sampled_from(['DS', 'DZ']))}"
            for at in range(draw(st.integers(0, 3)))
        ]
        for at in range(draw(st.integers(0, 2))):
            leads = draw(st.lists(node, min_size=3, max_size=3, unique=True))
            parts.append(f"Q{at} {' '.join(leads)} {draw(st.sampled_from(['QN', 'QP']))}")
    return Cards(tuple(parts))


def solved(text: str, **given: Any) -> OperatingPoint:
    point = Circuit(read_netlist(text)).operating_point(**given)
    assert point.solved.all()
    return point


def volts(point: OperatingPoint, lane: int = 0) -> list[float]:
    return [float(point.volts(node)[lane]) for node in NODES[1:]]


few = settings(max_examples=40, deadline=None, derandomize=True)


@pytest.mark.skipif(not available(), reason="ngspice is not installed")
@settings(max_examples=15, deadline=None, derandomize=True)
@given(circuits())
def test_ngspice_arrives_at_the_same_voltages(cards: Cards) -> None:
    reference = operating_point(cards.text, 27.0)
    assert volts(solved(cards.text)) == pytest.approx([reference[node] for node in NODES[1:]], abs=2e-6, rel=1e-6)


def with_ammeters(cards: Cards) -> tuple[str, dict[str, list[tuple[str, float]]]]:
    """The circuit with a 0 V source in every lead, and by node the ammeters that count what leaves it."""
    lines, leaving = [], dict[str, list[tuple[str, float]]]()
    for part in cards.parts:
        name, *rest = part.split()
        count = 3 if name.startswith("Q") else 2
        for at in range(count):
            meter, inner = f"VM{name}_{at}", f"{name.lower()}_{at}"
            lines.append(f"{meter} {rest[at]} {inner} 0")
            leaving.setdefault(rest[at], []).append((meter, -1.0))
            rest[at] = inner
        lines.append(" ".join([name, *rest]))
    return Cards(tuple(lines)).text, leaving


@few
@given(circuits())
def test_the_currents_at_every_node_and_into_every_part_add_up_to_nothing(cards: Cards) -> None:
    text, leaving = with_ammeters(cards)
    point = solved(text)
    amps = {meter: sign * float(point.branch_amps(meter)[0]) for found in leaving.values() for meter, sign in found}
    largest = max(abs(current) for current in amps.values())
    for found in leaving.values():
        assert sum(amps[meter] for meter, _ in found) == pytest.approx(0.0, abs=1e-9 + 1e-6 * largest)
    for part in cards.parts:
        into = [current for meter, current in amps.items() if meter.startswith(f"VM{part.split()[0]}_")]
        assert sum(into) == pytest.approx(0.0, abs=1e-9 + 1e-6 * largest)


@few
@given(circuits(linear=True))
def test_resistors_carry_what_ohm_says(cards: Cards) -> None:
    text, _ = with_ammeters(cards)
    point = solved(text)
    for part in cards.parts:
        name, one, other, size, *_ = part.split()
        if name.startswith("R"):
            across = float((point.volts(one) - point.volts(other))[0])
            assert -float(point.branch_amps(f"VM{name}_0")[0]) == pytest.approx(
                across / float(size), abs=1e-9, rel=1e-6
            )


@few
@given(circuits(), st.lists(st.floats(0.5, 2.0), min_size=2, max_size=5))
def test_a_batch_is_one_board_after_the_other(cards: Cards, factors: list[float]) -> None:
    batch = solved(cards.text, parts=Parts(len(factors), {("R1", "value"): np.array(factors)}))
    alone = [solved(cards.text, parts=Parts(1, {("R1", "value"): np.array([factor])})) for factor in factors]
    for lane, point in enumerate(alone):
        assert volts(batch, lane) == pytest.approx(volts(point), abs=1e-7, rel=1e-7)


@few
@given(circuits(), st.randoms(use_true_random=False))
def test_the_order_of_the_parts_changes_nothing(cards: Cards, shuffler: Any) -> None:
    parts = list(cards.parts)
    shuffler.shuffle(parts)
    assert volts(solved(Cards(tuple(parts)).text)) == pytest.approx(volts(solved(cards.text)), abs=1e-6, rel=1e-6)


@few
@given(circuits(), st.sampled_from(NODES[1:]), st.sampled_from(NODES))
def test_a_part_of_infinite_resistance_changes_nothing(cards: Cards, one: str, other: str) -> None:
    more = Cards((*cards.parts, f"RNONE {one} {other} 1e18"))
    assert volts(solved(more.text)) == pytest.approx(volts(solved(cards.text)), abs=1e-6, rel=1e-6)
