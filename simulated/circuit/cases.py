"""Solve a stored list of faults on one netlist, each under every load of the list.

The list is JSON: `sources` (name: [plus, minus, volts]), `loads_ohm` (condition: node: ohms), `faults` (each an `id`
and exact `edits`). The loads are lanes of one batch, and so are faults that only change values.
"""

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from .edits import add_element, apply_edit
from .errors import CircuitError, TopologyError, nearest
from .expressions import Number
from .netlist import GROUND, Element, Netlist, node_name
from .parts import Parts
from .solve import Circuit

__all__ = ["Case", "CaseList", "CaseResult", "read_cases", "solved_cases"]


@dataclass(frozen=True)
class Case:
    """One fault: its id and the edits that make it."""

    id: str
    edits: tuple[Mapping[str, object], ...]


@dataclass(frozen=True)
class CaseList:
    """A list of faults: sources (name, plus, minus, volts), loads (condition, ((node, ohms), ...)), cases."""

    name: str
    sources: tuple[tuple[str, str, str, float], ...]
    loads: tuple[tuple[str, tuple[tuple[str, float], ...]], ...]
    cases: tuple[Case, ...]


@dataclass(frozen=True)
class CaseResult:
    """What one fault gives under one load: volts by node, empty without a solution, and then why."""

    id: str
    condition: str
    converged: bool
    nodes: Mapping[str, float]
    why: str = ""


def read_cases(text: str, name: str) -> CaseList:
    """Return the list in a JSON text; CircuitError says where its form is another."""
    try:
        given = json.loads(text)
    except (ValueError, RecursionError) as error:
        raise CircuitError(f"{name}: this is not JSON ({error}); give a file of faults") from None
    try:
        sources = tuple((str(key), str(p), str(m), float(v)) for key, (p, m, v) in given["sources"].items())
        loads = tuple(
            (str(condition), tuple((str(node), float(ohms)) for node, ohms in hung.items()))
            for condition, hung in given["loads_ohm"].items()
        )
        cases = tuple(Case(str(fault["id"]), tuple(dict(edit) for edit in fault["edits"])) for fault in given["faults"])
    except (KeyError, TypeError, ValueError, AttributeError) as error:
        what = f"{name}: the list is not understood ({type(error).__name__}: {error})"
        form = '"sources": {"V1": ["inp", "0", 22]}, "loads_ohm": {"half": {"outp": 30}}, "faults": [{"id", "edits"}]'
        raise CircuitError(f"{what}; write {form}") from None
    if not all(ohms > 0.0 for _, hung in loads for _, ohms in hung) or not loads:
        raise CircuitError(f"{name}: a load is not above zero ohm, or there is none; write for example 1e9 for no load")
    return CaseList(name, sources, loads, cases)


def solved_cases(netlist: Netlist, cases: CaseList, celsius: float | None = None) -> list[CaseResult]:
    """Return what each case gives under each load, in the list's order.

    Raises CircuitError where a source or load names no node, or an edit cannot be made; a case whose circuit has no
    solution, as it is wired or for the solver, is not converged.
    """
    fed = _fed(netlist, cases)
    edited = [(case, _edited(fed, case)) for case in cases.cases]
    results: dict[str, list[CaseResult]] = {}
    for group in _alike(edited):
        results |= _solved(group, cases, celsius)
    return [result for case in cases.cases for result in results[case.id]]


def _fed(netlist: Netlist, cases: CaseList) -> Netlist:
    hung = dict.fromkeys(node for _, loads in cases.loads for node, _ in loads)
    ends = [node for _, plus, minus, _ in cases.sources for node in (plus, minus)]
    for node in (*ends, *hung):
        if node_name(node) not in (*netlist.nodes, GROUND):
            close = nearest(node, netlist.nodes)
            raise CircuitError(f"{cases.name}: {netlist.name} has no node '{node}'; write one of {close}")
    for name, plus, minus, volts in cases.sources:
        netlist = add_element(netlist, name if name[:1].upper() == "V" else f"V{name}", (plus, minus), value=volts)
    for node in hung:
        netlist = add_element(netlist, _load(node), (node, GROUND), value=1.0)
    return netlist


def _load(node: str) -> str:
    return f"RLOAD({node_name(node)})".upper()


def _edited(netlist: Netlist, case: Case) -> Netlist:
    try:
        for edit in case.edits:
            netlist = apply_edit(netlist, edit)
    except CircuitError as error:
        raise CircuitError(f"fault {case.id}: {error}") from None
    return netlist


Group = list[tuple[Case, Netlist]]


def _alike(edited: Sequence[tuple[Case, Netlist]]) -> Iterator[Group]:
    """Yield groups of cases whose netlists differ in plain values of resistors only: one circuit solves them all."""
    groups: dict[object, Group] = {}
    for case, netlist in edited:
        wiring = tuple((e.name, e.nodes, e.model, None if _plain(e) else e.value) for e in netlist.elements)
        groups.setdefault((wiring, tuple(netlist.params.items())), []).append((case, netlist))
    yield from groups.values()


def _plain(element: Element) -> bool:
    return element.kind == "R" and isinstance(element.value, Number) and element.value.value > 0.0


def _solved(group: Group, cases: CaseList, celsius: float | None) -> dict[str, list[CaseResult]]:
    conditions = [condition for condition, _ in cases.loads]
    netlist = group[0][1]
    try:
        point = Circuit(netlist).operating_point(parts=_lanes(group, cases), celsius=celsius)
    except TopologyError as error:
        return {case.id: [CaseResult(case.id, c, False, {}, str(error)) for c in conditions] for case, _ in group}
    volts = {node: point.volts(node) for node in netlist.nodes}
    results = {}
    for at, (case, _) in enumerate(group):
        found = []
        for lane, condition in enumerate(conditions, start=at * len(conditions)):
            solved = bool(point.solved[lane])
            nodes = {node: float(values[lane]) for node, values in volts.items()} if solved else {}
            why = "" if solved else f"no DC solution was found; the last step still moved {point.worst_node(lane)}"
            found.append(CaseResult(case.id, condition, solved, nodes, why))
        results[case.id] = found
    return results


def _lanes(group: Group, cases: CaseList) -> Parts:
    """Return the lanes of a group, case by case and load by load, as factors on the first netlist's values."""
    loads = [dict(hung) for _, hung in cases.loads]
    factors = {
        (_load(node), "value"): np.tile([hung.get(node, 1e12) for hung in loads], len(group))
        for node in dict.fromkeys(node for hung in loads for node in hung)
    }
    for element in group[0][1].elements:
        if _plain(element) and (element.name, "value") not in factors:
            values = [float(netlist.element(element.name).value.value) for _, netlist in group]  # type: ignore[union-attr]  # _alike saw to it
            if len(set(values)) > 1:
                factors[element.name, "value"] = np.repeat(np.array(values) / values[0], len(loads))
    return Parts(len(group) * len(loads), factors)
