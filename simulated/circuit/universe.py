"""List every assembly fault that a board can have: each mounted part in each of its modes, and the likely bridges.

What the netlist cannot tell (which pins lie side by side, which capacitors have a plus) comes from a plain
description. Each defect carries its class, for weights by class. A fault that several mishaps cause is listed once,
under the likeliest: a blob from collector to emitter is a pass transistor that shorted, an open part a missing one.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from enum import Enum
from itertools import combinations

from .expressions import evaluate
from .faults import parse_fault
from .netlist import Element, Netlist, parameter_values
from .preferred import misreads, neighbour, wrong_value
from .sites import Fault, bridged_nodes, find_site
from .trimmers import Trimmer, trimmers

__all__ = ["BoardNotes", "Defect", "FaultClass", "universe"]

# What a mounted resistor or wire is not: series resistance of capacitors, tracks and terminals.
_PARASITIC = ("RESR", "RT")
_ELECTROLYTIC_FARADS = 1e-6  # from here on a capacitor counts as polarised where the description does not say
# An electrolytic that has dried out: half its capacitance, or ohms in series. Its usual end of life (-20 %, twice the
# series resistance) shows on no board; one that is noticed is worse. Common practice, no source.
_DRY_VALUE, _DRY_OHMS = "-50%", 5.0
_DRIFT = 0.02  # of a reference's voltage: an aged one is 1 % to 5 % off; common practice, no source
# By the letters of its refdes a diode is one among its kind, which look the same: references, and unlit LEDs.
_REFERENCE, _ALIKE = "DZ", ("DZ", "DLED")


class FaultClass(Enum):
    """Why a defect is there: the classes that assembly faults are weighted by."""

    OPEN = "open or missing joint"
    COLD = "cold joint"
    BRIDGE = "solder bridge"
    NEIGHBOUR = "wrong value: neighbour or confusion"
    DECADE = "wrong value: decade"
    REVERSED = "reversed diode, zener or LED"
    ELECTROLYTIC = "reversed electrolytic"
    ROTATED = "rotated or wrong lead order"
    LOOK_ALIKE = "look-alike swapped"
    TRIMMER = "trimmer"
    DAMAGED = "damaged part"
    FUSE = "fuse"


@dataclass(frozen=True)
class Defect:
    """One fault a board can have, and its class."""

    fault: Fault
    fault_class: FaultClass


@dataclass(frozen=True)
class BoardNotes:
    """What is known of a board beside its netlist; parts as faults name them.

    `neighbours` are pairs of nodes or pins close enough for a bridge, `polarised` the electrolytics (None: every
    capacitor of a microfarad or more), `confused` the values or models a builder takes for a part's own, `turned`
    the leads of a package hole by hole when it sits the wrong way round, `unmounted` what is no part of its own.
    """

    neighbours: Sequence[tuple[str, str]] = ()
    polarised: Sequence[str] | None = None
    confused: Mapping[str, Sequence[str]] = field(default_factory=dict)
    turned: Mapping[str, str] = field(default_factory=dict)
    unmounted: Sequence[str] = ()


def universe(netlist: Netlist, notes: BoardNotes | None = None) -> tuple[Defect, ...]:
    """Return the defects of a board, part by part in the netlist's order, then the bridges.

    Faults that give the same circuit in two ways are listed once. Raises FaultError where a note names no part,
    pin or node of the netlist.
    """
    notes = _resolved(netlist, notes or BoardNotes())
    found: dict[tuple[str, str, str], Defect] = {}
    for text, fault_class in _texts(netlist, notes):
        fault = parse_fault(text)
        found.setdefault((fault.part.upper(), fault.kind, fault.value.lower()), Defect(fault, fault_class))
    return tuple(found.values())


def _resolved(netlist: Netlist, notes: BoardNotes) -> BoardNotes:
    """Return the notes with parts named as in the netlist; FaultError for what is not there."""

    def name(part: str) -> str:
        return find_site(netlist, Fault(part, "open")).name

    for one, other in notes.neighbours:
        bridged_nodes(netlist, Fault(f"{one}-{other}", "bridge"))
    return BoardNotes(
        neighbours=notes.neighbours,
        polarised=None if notes.polarised is None else [name(part) for part in notes.polarised],
        confused={name(part): values for part, values in notes.confused.items()},
        turned={name(part): leads for part, leads in notes.turned.items()},
        unmounted=[name(part) for part in notes.unmounted],
    )


Texts = Iterator[tuple[str, FaultClass]]


def _texts(netlist: Netlist, notes: BoardNotes) -> Texts:
    groups = {element.name: trimmer for trimmer in trimmers(netlist) for element in trimmer.elements}
    told = set[str]()
    for element in netlist.body.elements:
        name = element.name
        if element.added or name in notes.unmounted:
            continue
        trimmer = groups.get(name)
        if trimmer is not None:
            yield from _trimmer(trimmer) if trimmer.name not in told else ()
            told.add(trimmer.name)
            name = trimmer.name
        elif element.kind == "R" and not name.startswith(_PARASITIC):
            yield from _fuse(name) if name.startswith("RF") else _resistor(netlist, element)
        elif element.kind == "C":
            yield from _capacitor(netlist, element, notes)
        elif element.kind == "L":
            yield from ((f"{name}:open", FaultClass.OPEN), (f"{name}:short", FaultClass.DAMAGED), _cold(name))
        elif element.kind == "D":
            yield from _diode(netlist, element)
        elif element.kind == "Q":
            yield from _transistor(name)
        elif element.kind == "X":
            yield from _package(netlist, element, notes)
        yield from _confusions(name, element, notes.confused.get(name, ()))
    for one, other in notes.neighbours:
        yield f"{one}-{other}:bridge", FaultClass.BRIDGE


def _cold(part: str) -> tuple[str, FaultClass]:
    return f"{part}:cold", FaultClass.COLD


def _resistor(netlist: Netlist, element: Element) -> Texts:
    name = element.name
    yield f"{name}:open", FaultClass.OPEN
    yield _cold(name)
    yield f"{name}:short", FaultClass.BRIDGE
    yield f"{name}:value:x10", FaultClass.DECADE
    yield f"{name}:value:/10", FaultClass.DECADE
    ohms = _size(netlist, element)
    if ohms is None:
        return
    same = {wrong_value(text, ohms) for text in ("x10", "/10")}
    for text in ("neighbour+", "neighbour-"):
        same.add(neighbour(ohms, 1 if text.endswith("+") else -1))
        yield f"{name}:value:{text}", FaultClass.NEIGHBOUR
    for text, read in misreads(ohms).items():
        if not any(abs(read - other) < 1e-6 * other for other in same):
            yield f"{name}:value:{text}", FaultClass.NEIGHBOUR


def _size(netlist: Netlist, element: Element) -> float | None:
    if element.value is None:
        return None
    size = evaluate(element.value, parameter_values(netlist, {}))
    return float(size) if float(size) > 0.0 else None


def _fuse(name: str) -> Texts:
    yield f"{name}:blown", FaultClass.FUSE
    yield _cold(name)


def _capacitor(netlist: Netlist, element: Element, notes: BoardNotes) -> Texts:
    name = element.name
    yield f"{name}:open", FaultClass.OPEN
    yield _cold(name)
    yield f"{name}:short", FaultClass.BRIDGE
    yield f"{name}:value:x10", FaultClass.DECADE
    yield f"{name}:value:/10", FaultClass.DECADE
    large = (_size(netlist, element) or 0.0) >= _ELECTROLYTIC_FARADS
    if large if notes.polarised is None else name in notes.polarised:
        yield f"{name}:reversed", FaultClass.ELECTROLYTIC
        yield f"{name}:value:{_DRY_VALUE}", FaultClass.DAMAGED
        yield f"{name}:cold:{_DRY_OHMS:g}", FaultClass.DAMAGED


def _diode(netlist: Netlist, element: Element) -> Texts:
    name = element.name
    yield f"{name}:open", FaultClass.OPEN
    yield _cold(name)
    yield f"{name}:short", FaultClass.DAMAGED
    yield f"{name}:reversed", FaultClass.REVERSED
    ohms = _zener_ohms(netlist, name)
    if ohms is not None:
        yield _drifted(name, ohms)
        yield f"{name}:bridge:{_two_digits(ohms)}", FaultClass.DAMAGED  # soft: it leaks what it should regulate
    for model in _models_alike(netlist, element):
        yield f"{name}:swapped:{model.upper()}", FaultClass.LOOK_ALIKE


def _zener_ohms(netlist: Netlist, flat_name: str) -> float | None:
    """Return a reference's voltage over its test current, None for a diode that is none or does not say."""
    element = netlist.element(flat_name)
    given = netlist.models[element.model or ""].parameters
    if not flat_name.rpartition(".")[2].startswith(_REFERENCE) or not {"bv", "ibv"} <= given.keys():
        return None
    volts, amps = (float(evaluate(given[name], parameter_values(netlist, {}))) for name in ("bv", "ibv"))
    return volts / amps if volts > 0.0 and amps > 0.0 else None


def _drifted(name: str, ohms: float) -> tuple[str, FaultClass]:
    # A reference that drifted upwards, made of ohms in series: the same at its test current, and no other kind can.
    return f"{name}:cold:{_two_digits(_DRIFT * ohms)}", FaultClass.DAMAGED


def _two_digits(ohms: float) -> str:
    return f"{float(f'{ohms:.1e}'):g}"


def _models_alike(netlist: Netlist, element: Element) -> Sequence[str]:
    """Return the other models among the diodes on the board that look like this one, in the netlist's order."""
    letters = _letters(element.name)
    if letters not in _ALIKE:
        return ()
    family = [e.model for e in netlist.body.elements if e.kind == "D" and _letters(e.name) == letters]
    return tuple(dict.fromkeys(model for model in family if model and model != element.model))


def _letters(name: str) -> str:
    return name.rstrip("0123456789")


def _transistor(name: str) -> Texts:
    for pin in "cbe":
        yield f"{name}.{pin}:open", FaultClass.OPEN
        yield _cold(f"{name}.{pin}")
    for one, other in combinations("cbe", 2):
        yield f"{name}.{one}-{other}:short", FaultClass.BRIDGE
    yield f"{name}:rotated", FaultClass.ROTATED
    # The three legs one hole on, either way: a type of another lead order.
    yield f"{name}:rotated:bec", FaultClass.ROTATED
    yield f"{name}:rotated:ecb", FaultClass.ROTATED
    yield f"{name}:swapped", FaultClass.LOOK_ALIKE


def _package(netlist: Netlist, element: Element, notes: BoardNotes) -> Texts:
    name = element.name
    pins = netlist.body.subcircuits[element.model or ""].pins
    for pin in pins:
        yield f"{name}.{pin}:open", FaultClass.OPEN
        yield _cold(f"{name}.{pin}")
    for one, other in combinations(pins, 2):
        if len(pins) == 3:
            yield f"{name}.{one}-{other}:short", FaultClass.BRIDGE
    for inner in netlist.body.subcircuits[element.model or ""].body.elements:
        ohms = _zener_ohms(netlist, f"{name}.{inner.name}") if inner.kind == "D" else None
        if ohms is not None:
            yield _drifted(f"{name}.{inner.name}", ohms)
    turned = notes.turned.get(name, "")
    if turned or len(pins) == 3:
        yield f"{name}:rotated" + (f":{turned}" if turned else ""), FaultClass.ROTATED


def _trimmer(trimmer: Trimmer) -> Texts:
    name = trimmer.name
    yield f"{name}:wiper", FaultClass.OPEN
    if len(trimmer.tracks) == 1:
        yield f"{name}:open", FaultClass.OPEN
        yield _cold(name)
    else:
        for pin in "13":
            yield f"{name}.{pin}:open", FaultClass.OPEN
        for pin in "1w3":
            yield _cold(f"{name}.{pin}")
        for pair in ("1-w", "w-3"):
            yield f"{name}.{pair}:bridge", FaultClass.BRIDGE
    for value in ("x10", "/10"):
        yield f"{name}:value:{value}", FaultClass.TRIMMER
    for end in "01":
        yield f"{name}:end:{end}", FaultClass.TRIMMER


def _confusions(name: str, element: Element, values: Sequence[str]) -> Texts:
    for value in values:
        if element.kind in "RCL":
            yield f"{name}:value:{value}", FaultClass.NEIGHBOUR
        else:
            yield f"{name}:swapped:{value}", FaultClass.LOOK_ALIKE
