"""Solve a board's circuit from its SPICE netlist, for one board or thousands at once.

Read a netlist, put a fault in, draw parts within their tolerances, and ask a `Circuit` for its DC
operating point with the bench's supplies, loads and meters on it. Boards with different faults are solved
together by `fleet.Fleet`, which is imported from there by those who need it.
"""

from .edits import apply_edit
from .ends import LoadEnd, MeterEnd, SupplyEnd, SupplySetting
from .errors import CircuitError, FaultError, NetlistError, TopologyError
from .faults import Fault, fault_kind, fault_kinds, parse_fault, with_fault
from .netlist import Netlist
from .offsets import with_offsets
from .parts import Parts, draw_parts, nominal_parts
from .point import OperatingPoint
from .reader import read_netlist
from .smallsignal import transfer
from .solve import Circuit
from .stepping import Tolerance
from .trace import Trace
from .transient import Transient
from .universe import BoardNotes, Defect, FaultClass, universe

__all__ = [
    "BoardNotes",
    "Circuit",
    "CircuitError",
    "Defect",
    "Fault",
    "FaultClass",
    "FaultError",
    "LoadEnd",
    "MeterEnd",
    "Netlist",
    "NetlistError",
    "OperatingPoint",
    "Parts",
    "SupplyEnd",
    "SupplySetting",
    "Tolerance",
    "TopologyError",
    "Trace",
    "Transient",
    "apply_edit",
    "draw_parts",
    "fault_kind",
    "fault_kinds",
    "nominal_parts",
    "parse_fault",
    "read_netlist",
    "transfer",
    "universe",
    "with_fault",
    "with_offsets",
]
