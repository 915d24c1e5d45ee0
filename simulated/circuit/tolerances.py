"""Say how far each part of a netlist may lie from nominal: by its class, or as the board sheet has it.

Figures marked [V] were verified in the source named, [M] are from memory of usual data sheets, the others common
practice without a source.
"""

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from .errors import CircuitError, nearest
from .expressions import evaluate
from .netlist import Element, Netlist, parameter_values
from .offsets import OFFSET_STEP_VOLTS, offset_name
from .trimmers import Trimmer, trimmers

__all__ = ["Spread", "is_led", "spreads_of"]

_METAL_FILM = 0.01  # [M]
_WIREWOUND = 0.05  # [M], what resistors of an ohm or less usually are
_TRIMMER = 0.10  # of the whole track [M]
_FUSE = 0.20  # its cold resistance, no source
_ELECTROLYTIC = 0.20  # modern ones [M], a microfarad or more
_FILM_OR_CERAMIC = 0.10  # [M]
_ZENER = 0.05  # C suffix [M]
# Logarithm of the gain's factor, -40 % to +60 %: within a gain group, 200..450 for a B [V: data sheet of the BC547].
_GAIN = 0.5
# A LED's forward voltage moves by the same amount at any current when its saturation current is multiplied: the
# EMF in series that this is needs no node of its own.
_LED_VOLTS = 0.1  # red 1.7..2.0 V, green 2.0..2.2 V [M]
_LED_USUAL_VOLTS = 2.0  # what a relative tolerance of a LED's forward voltage refers to
_LEAST_VISIBLE_GAP = 1.6  # electronvolts: a diode of a wider band gap shines
_THERMAL_VOLTS = 0.025865  # kT/q at 27 C


@dataclass(frozen=True)
class Spread:
    """One number of one part that varies: `half` its half-width, `draw` the name whose random number it takes.

    The factor on the number is `1 + half * u`, or `exp(half * u)` where `logarithmic`, or `half * u` where the
    nominal is nothing (`from_zero`), u lying between -1 and 1.
    """

    element: str
    parameter: str
    half: float
    draw: str
    logarithmic: bool = False
    from_zero: bool = False


def spreads_of(
    netlist: Netlist,
    tolerances: Mapping[str, float],
    matched: Sequence[Sequence[str]],
    offsets: Mapping[str, float],
) -> tuple[Spread, ...]:
    """Return what varies on a netlist's boards; CircuitError for a name that is no part with a tolerance."""
    wanted = {name.upper(): tolerance for name, tolerance in tolerances.items()}
    leaders = {name.upper(): group[0].upper() for group in matched for name in group}
    found_trimmers = trimmers(netlist)
    groups = {track.name: trimmer for trimmer in found_trimmers for track in trimmer.tracks}
    contacts = {trimmer.contact.name for trimmer in found_trimmers if trimmer.contact}
    found = list[Spread]()
    for element in netlist.elements:
        trimmer = groups.get(element.name)
        names = [element.name, *([trimmer.name] if trimmer else [])]
        given = next((wanted[name] for name in names if name in wanted), None)
        if given is None and (element.added or "." in element.name or element.name in contacts):
            continue
        # Its first track has the draw of a whole trimmer.
        draw = next(
            (leaders[name] for name in names if name in leaders), trimmer.tracks[0].name if trimmer else names[0]
        )
        for spread in _spread(netlist, element, given, trimmer is not None):
            found.append(replace(spread, draw=draw))
    _refuse_unknown(netlist, found_trimmers, {*wanted, *leaders, *leaders.values()})
    for pin, volts in offsets.items():
        found.append(Spread(offset_name(pin), "value", volts / OFFSET_STEP_VOLTS, pin.upper(), from_zero=True))
    return tuple(found)


def _refuse_unknown(netlist: Netlist, found_trimmers: Sequence[Trimmer], names: set[str]) -> None:
    # A part that is there and has no tolerance is let pass: a fault may have put a rectifier where a zener was.
    known = {element.name for element in netlist.elements} | {trimmer.name for trimmer in found_trimmers}
    unknown = names - known
    if unknown:
        close = nearest(min(unknown), known)
        raise CircuitError(f"no part '{min(unknown)}' with a tolerance in {netlist.name}; write one of {close}")


def _spread(netlist: Netlist, element: Element, given: float | None, is_trimmer: bool) -> Iterator[Spread]:
    name = element.name
    if element.kind in "RC":
        usual = _TRIMMER if is_trimmer else _usual(netlist, element)
        yield Spread(name, "value", usual if given is None else given, name)
    elif element.kind in "VI" and given is not None:
        yield Spread(name, "value", given, name)
    elif element.kind == "Q":
        yield Spread(name, "bf", _GAIN if given is None else given, name, logarithmic=True)
    elif element.kind == "D":
        if "bv" in netlist.models[element.model or ""].parameters:
            yield Spread(name, "bv", _ZENER if given is None else given, name)
        elif is_led(netlist, element):
            volts = _LED_VOLTS if given is None else given * _LED_USUAL_VOLTS
            emission = _parameter(netlist, element, "n", 1.0)
            yield Spread(name, "is", volts / (emission * _THERMAL_VOLTS), name, logarithmic=True)


def _usual(netlist: Netlist, element: Element) -> float:
    size = math.inf
    if element.value is not None:
        size = float(np.max(evaluate(element.value, parameter_values(netlist, {}))))
    if element.kind == "C":
        return _ELECTROLYTIC if size >= 1e-6 else _FILM_OR_CERAMIC
    if element.name.startswith("RF"):
        return _FUSE
    return _WIREWOUND if size <= 1.0 else _METAL_FILM


def is_led(netlist: Netlist, element: Element) -> bool:
    """Whether a diode shines: by its name, its model's, or its band gap."""
    named = "LED" in element.name or "led" in (element.model or "")
    return named or _parameter(netlist, element, "eg", 0.0) >= _LEAST_VISIBLE_GAP


def _parameter(netlist: Netlist, element: Element, name: str, default: float) -> float:
    given = netlist.models[element.model or ""].parameters.get(name)
    return default if given is None else float(np.max(evaluate(given, parameter_values(netlist, {}))))
