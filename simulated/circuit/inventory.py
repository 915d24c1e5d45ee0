"""Sort a netlist's elements by kind, with their parameters' names and defaults.

Defaults are SPICE's own (Berkeley SPICE3 manual, from memory; NBV = N as ngspice has it). Parameters
that matter to charges, noise or layout only are known and left alone; anything else is a warning.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from .netlist import Element, Netlist
from .parts import nominal_parts
from .tables import ModelTable

__all__ = [
    "BIPOLAR_DEFAULTS",
    "DIODE_DEFAULTS",
    "RESISTOR_DEFAULTS",
    "Inventory",
    "take_inventory",
    "unread_parameters",
]

Defaults = Mapping[str, float | str]

_NOT_GIVEN = float("nan")  # marks a nominal temperature that the netlist's own stands in for
RESISTOR_DEFAULTS: Defaults = {"tc1": 0.0, "tc2": 0.0, "tce": 0.0, "tnom": _NOT_GIVEN, "multiplier": 1.0}
DIODE_DEFAULTS: Defaults = {
    "is": "js",
    "js": 1e-14,
    "n": 1.0,
    "rs": 0.0,
    "bv": 0.0,
    "ibv": 1e-3,
    "nbv": "n",
    "eg": 1.11,
    "xti": 3.0,
    "tcv": 0.0,
    "trs1": "trs",
    "trs": 0.0,
    "trs2": 0.0,
    "ikf": "ik",
    "ik": 0.0,
    "isr": 0.0,
    "nr": 2.0,
    "vj": "pb",
    "pb": 1.0,
    "m": "mj",
    "mj": 0.5,
    "area": 1.0,
    "multiplier": 1.0,
    "tnom": _NOT_GIVEN,
}
BIPOLAR_DEFAULTS: Defaults = {
    "is": 1e-16,
    "bf": 100.0,
    "br": 1.0,
    "nf": 1.0,
    "nr": 1.0,
    "vaf": "va",
    "va": 0.0,
    "var": "vb",
    "vb": 0.0,
    "ikf": "ik",
    "ik": 0.0,
    "ikr": 0.0,
    "nkf": "nk",
    "nk": 0.5,
    "ise": 0.0,
    "ne": 1.5,
    "isc": 0.0,
    "nc": 2.0,
    "rb": 0.0,
    "rbm": "rb",
    "irb": 0.0,
    "rc": 0.0,
    "re": 0.0,
    "xtb": 0.0,
    "eg": 1.11,
    "xti": "pt",
    "pt": 3.0,
    "area": 1.0,
    "multiplier": 1.0,
    "tnom": _NOT_GIVEN,
}
# Charges, noise, layout and simulator housekeeping: no meaning in DC.
_NO_DC = frozenset(
    """cjo cj0 cj cjp cjsw php tt fc fcs fca level kf af temp dtemp type mfg vpk iave icrating vceo bvj bv_max id_max
    cje vje mje pe me cjc vjc mjc pc mc xcjc tf tr xtf vtf itf ptf cjs vjs mjs csub psub esub
    l w narrow defw ic scale ac noisy tc1 tc2 tce tnom cap r c m thermal""".split()  # noqa: SIM905
)


@dataclass(frozen=True)
class Inventory:
    """A netlist's elements by kind; the `*_series` tuples are columns of devices with an inner node."""

    resistors: tuple[Element, ...]
    diodes: tuple[Element, ...]
    bipolars: tuple[Element, ...]
    signs: tuple[float, ...]  # of transistors: +1 NPN, -1 PNP
    volts: tuple[Element, ...]
    amps: tuple[Element, ...]
    coils: tuple[Element, ...]
    controlled: tuple[Element, ...]
    diode_series: tuple[int, ...]
    base_series: tuple[int, ...]
    base_fixed: tuple[int, ...]  # base resistance is a constant
    base_varying: tuple[int, ...]  # base resistance falls with current (RBM, IRB)
    collector_series: tuple[int, ...]
    emitter_series: tuple[int, ...]
    diode_table: ModelTable
    bipolar_table: ModelTable


def take_inventory(netlist: Netlist) -> Inventory:
    """Return the elements of a netlist by kind."""
    by_kind = {kind: tuple(e for e in netlist.elements if e.kind == kind) for kind in "RDQVILEGFH"}
    diode_table = ModelTable(netlist, by_kind["D"], DIODE_DEFAULTS)
    bipolar_table = ModelTable(netlist, by_kind["Q"], BIPOLAR_DEFAULTS)
    diodes, bipolars = (table.at(nominal_parts(netlist), None) for table in (diode_table, bipolar_table))
    rb, rbm = bipolars["rb"][0], bipolars["rbm"][0]
    return Inventory(
        resistors=by_kind["R"],
        diodes=by_kind["D"],
        bipolars=by_kind["Q"],
        signs=tuple(1.0 if netlist.models[e.model or ""].kind == "NPN" else -1.0 for e in by_kind["Q"]),
        volts=by_kind["V"],
        amps=by_kind["I"],
        coils=by_kind["L"],
        controlled=by_kind["E"] + by_kind["G"] + by_kind["F"] + by_kind["H"],
        diode_series=_columns(diodes["rs"][0] > 0),
        base_series=_columns(rb > 0),
        base_fixed=_columns((rb > 0) & (rbm == rb)),
        base_varying=_columns((rb > 0) & (rbm != rb)),
        collector_series=_columns(bipolars["rc"][0] > 0),
        emitter_series=_columns(bipolars["re"][0] > 0),
        diode_table=diode_table,
        bipolar_table=bipolar_table,
    )


def _columns(mask: np.ndarray) -> tuple[int, ...]:
    return tuple(int(column) for column in np.flatnonzero(mask))


def unread_parameters(netlist: Netlist) -> Iterator[str]:
    """Yield a warning for every model parameter that neither the DC engine nor a charge model knows."""
    known: dict[str, Sequence[str]] = {
        "D": [*DIODE_DEFAULTS],
        "NPN": [*BIPOLAR_DEFAULTS],
        "PNP": [*BIPOLAR_DEFAULTS],
        "R": [*RESISTOR_DEFAULTS],
    }
    for model in netlist.models.values():
        unread = sorted(model.parameters.keys() - set(known.get(model.kind, ())) - _NO_DC)
        if unread:
            yield f"{model.place}: model {model.name}: {', '.join(unread)} not read"
    for element in netlist.elements:
        unread = sorted({name for name, _ in element.options} & {"temp", "dtemp"})
        if unread and element.kind in "RDQ":
            yield f"{element.place}: {element.name}: {', '.join(unread)} not read; parts are as warm as the board"
