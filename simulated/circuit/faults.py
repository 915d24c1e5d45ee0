"""Put assembly faults into a netlist: `R108:open`, `Q101.c-b:short`, `R109:value:47k`, `pref-pfb:bridge`.

A fault is text, `REFDES[.PIN]:KIND[:VALUE]`, and each kind is one function from netlist to netlist.
Adding a kind is adding one decorated function here.
"""

from collections.abc import Callable

from .edits import add_element, add_parameter, set_model, set_nodes, set_tree, set_value, with_model
from .errors import CircuitError, FaultError, nearest
from .expressions import ExpressionError, evaluate, parse_number
from .netlist import Model, Netlist, parameter_values
from .preferred import wrong_value
from .sites import Fault, FaultSite, bridged_nodes, find_site, lifted, site_of
from .trimmers import scaled_track, track_ends, track_ohms, track_turned_by

__all__ = ["Fault", "fault_kind", "fault_kinds", "parse_fault", "with_fault"]

# A contact that is lost, a blob of solder and a joint that is cold, as the stored reference results have them.
_OPEN_OHMS, _SHORT_OHMS, _COLD_OHMS = 1e9, 0.01, 100.0

FaultFunction = Callable[[Netlist, Fault], Netlist]
_KINDS: dict[str, FaultFunction] = {}


def fault_kind(name: str) -> Callable[[FaultFunction], FaultFunction]:
    """Register a fault kind; a name used twice or a function without docstring is refused at import."""

    def register(function: FaultFunction) -> FaultFunction:
        if name in _KINDS:
            raise CircuitError(f"fault kind '{name}' is there already; give {function.__name__} another name")
        if not function.__doc__:
            raise CircuitError(f"fault kind '{name}' has no docstring; say in one line what it does")
        _KINDS[name] = function
        return function

    return register


def fault_kinds() -> dict[str, str]:
    """Return every fault kind and the first line of what it does."""
    return {name: (function.__doc__ or "").splitlines()[0] for name, function in _KINDS.items()}


def parse_fault(text: str) -> Fault:
    """Return the fault a text describes; FaultError for a wrong form or an unknown kind."""
    words = [word.strip() for word in text.split(":", 2)]
    if len(words) < 2 or not words[0] or not words[1]:
        raise FaultError(f"fault '{text}' is not understood; write REFDES[.PIN]:KIND[:VALUE], for example R108:open")
    kind = words[1].lower()
    if kind not in _KINDS:
        raise FaultError(f"fault '{text}': kind '{words[1]}' is not known; write one of {nearest(kind, _KINDS)}")
    return Fault(words[0], kind, words[2] if len(words) > 2 else "")


def with_fault(netlist: Netlist, fault: Fault) -> Netlist:
    """Return the netlist with the fault in it; FaultError names near parts, or the pins there are."""
    return _KINDS[fault.kind](netlist, fault)


@fault_kind("open")
def _open(netlist: Netlist, fault: Fault) -> Netlist:
    """Stop the current through a two-pin part or at one pin, as in Q101.b:open; of a trimmer, at its wiper."""
    site = find_site(netlist, fault)
    if not site.named and site.element.kind == "R":
        return set_value(netlist, site.element.name, _OPEN_OHMS) if _is_one(site) else _wiper(netlist, fault)
    return lifted(netlist, site, site.one_leg("open", otherwise=1), _OPEN_OHMS)


def _is_one(site: FaultSite) -> bool:
    return site.trimmer is None or len(site.trimmer.tracks) == 1


@fault_kind("short")
def _short(netlist: Netlist, fault: Fault) -> Netlist:
    """Join the two pins of a part by 10 milliohm, or two named pins, as in Q101.c-b:short."""
    site = find_site(netlist, fault)
    one, other = site.two_legs()
    return add_element(netlist, "RFAULT", (one.node, other.node), value=_SHORT_OHMS, beside=site.name)


@fault_kind("bridge")
def _bridge(netlist: Netlist, fault: Fault) -> Netlist:
    """Join two nodes or pins by 10 milliohm, or VALUE ohms: pref-pfb:bridge, R106.1-Q101.b:bridge, outp-gnd:bridge."""
    ohms = _ohms(fault, _SHORT_OHMS)
    return add_element(netlist, "RFAULT", bridged_nodes(netlist, fault), value=ohms)


@fault_kind("cold")
def _cold(netlist: Netlist, fault: Fault) -> Netlist:
    """Put 100 ohm, or VALUE ohms, in series with a pin: R106:cold, Q101.b:cold:1k."""
    ohms = _ohms(fault, _COLD_OHMS)
    site = find_site(netlist, fault)
    return lifted(netlist, site, site.one_leg("cold", otherwise=0), ohms)


def _ohms(fault: Fault, usual: float) -> float:
    if not fault.value:
        return usual
    try:
        ohms = parse_number(fault.value)
    except ExpressionError as error:
        raise FaultError(f"{fault}: {error}") from None
    if ohms <= 0.0:
        raise FaultError(f"{fault}: {ohms:g} ohm is none; write ohms above zero")
    return ohms


@fault_kind("reversed")
def _reversed(netlist: Netlist, fault: Fault) -> Netlist:
    """Turn a two-pin part; a capacitor, plus being its first node, keeps its value and leaks.

    The leakage diode's anode is at the node that should see plus.
    """
    site = find_site(netlist, fault)
    if site.named or len(site.legs) != 2:
        what = f"only a two-pin part can be reversed as a whole; {site.name} has pins {site.pin_list()}"
        raise site.wrong(f"{what}; write {site.name}:rotated")
    if site.element.kind == "C":
        return add_element(netlist, "DFAULT", site.element.nodes, model="DELREV", beside=site.name)
    return set_nodes(netlist, site.name, site.element.nodes[::-1])


@fault_kind("rotated")
def _rotated(netlist: Netlist, fault: Fault) -> Netlist:
    """Turn a part of three leads end for end (collector for emitter), or VALUE names the leads hole by hole.

    The holes are in the order of the pins: `Q101:rotated:bec` has the base in the collector's hole, the emitter in
    the base's. Leads of several letters are parted by dashes; a word that is no pin leaves its hole empty, and a
    lead that is not named hangs in the air: `XU101:rotated:vcc-out-inp-nc-inn` is the package turned round.
    """
    site = find_site(netlist, fault)
    if site.named or site.trimmer or len(site.legs) < 3:
        raise site.wrong("only a part with three leads or more is rotated; write REFDES:reversed for one with two")
    if not site.value:
        if len(site.legs) > 3:
            raise site.wrong(f"say which lead is in which hole, as in {_example(site)}; pins {site.pin_list()}")
        return set_nodes(netlist, site.name, site.element.nodes[::-1])
    words = _leads(site)
    holes = {word: leg.node for word, leg in zip(words, site.legs, strict=True)}
    stem = site.name.rpartition(".")[2].lower()
    nodes = []
    for at, leg in enumerate(site.legs):
        hole = next((holes[name] for name in leg.names if name in holes), f"f_{stem}_{at}")
        nodes.append(hole)
    return set_nodes(netlist, site.name, nodes)


def _example(site: FaultSite) -> str:
    return f"{site.name}:rotated:{'-'.join(leg.names[0] for leg in reversed(site.legs))}"


def _leads(site: FaultSite) -> list[str]:
    text = site.value.lower()
    words = text.split("-") if "-" in text else list(text)
    pins = [word for word in words if any(word in leg.names for leg in site.legs)]
    if len(words) != len(site.legs) or len(set(pins)) < max(2, len(pins)):
        raise site.wrong(f"'{site.value}' names no lead for each hole; write for example {_example(site)}")
    return words


@fault_kind("swapped")
def _swapped(netlist: Netlist, fault: Fault) -> Netlist:
    """Fit a look-alike: a transistor's complement, or VALUE names a model, or the part it is exchanged with."""
    site = find_site(netlist, fault)
    if site.named or site.trimmer or (not site.value and site.element.kind != "Q"):
        models = [name for name, model in netlist.body.models.items() if model.kind == site.element.kind]
        raise site.wrong(f"name the model or part that is fitted instead, {nearest('', models)}")
    if not site.value:
        return _with_complement(netlist, site)
    other = site_of(netlist, fault, site.value)
    if other is not None:
        return _exchanged(netlist, site, other)
    if site.element.model is None:
        raise site.wrong(f"{site.name} has no model; write the part it is exchanged with, or {site.name}:value:VALUE")
    known = netlist.body.subcircuits if site.inner else netlist.body.models
    if site.value.lower() not in known:
        raise site.wrong(f"'{site.value}' is no model and no part; write one of {nearest(site.value, known)}")
    return set_model(netlist, site.name, site.value)


def _with_complement(netlist: Netlist, site: FaultSite) -> Netlist:
    """Fit the model of the same name with NPN for PNP; where there is none, one of the same parameters."""
    fitted = site.element.model or ""
    model = netlist.models[netlist.element(site.name).model or ""]
    kind = "PNP" if model.kind == "NPN" else "NPN"
    name = fitted.replace(model.kind.lower(), kind.lower())
    found = netlist.body.models.get(name)
    if found is None or found.kind != kind:
        name = f"{fitted}_{kind.lower()}"
        netlist = with_model(netlist, Model(name, kind, model.parameters, model.place))
    return set_model(netlist, site.name, name)


def _exchanged(netlist: Netlist, site: FaultSite, other: FaultSite) -> Netlist:
    one, two = site.element, other.element
    if one.kind != two.kind or other.trimmer:
        raise site.wrong(f"{site.name} and {other.name} are no look-alikes; name a part of the same kind")
    for name, fitted in ((site.name, two), (other.name, one)):
        if fitted.model is not None:
            netlist = set_model(netlist, name, fitted.model)
        if fitted.value is not None:
            netlist = set_tree(netlist, name, fitted.value)
    return netlist


@fault_kind("value")
def _value(netlist: Netlist, fault: Fault) -> Netlist:
    """Fit another value: 47k, x10, /10, neighbour+, neighbour- (E24), +20% (drift), band3=orange (misread)."""
    site = find_site(netlist, fault)
    if site.element.kind not in "RCL" or site.named:
        raise site.wrong("only resistors, capacitors and coils have a value; write for example R109:value:47k")
    try:
        if site.trimmer:
            return _longer_track(netlist, site)
        return _other_value(netlist, site)
    except ExpressionError as error:
        raise site.wrong(str(error)) from None


def _other_value(netlist: Netlist, site: FaultSite) -> Netlist:
    tree = netlist.element(site.name).value
    if tree is None:
        return set_value(netlist, site.name, wrong_value(site.value, 1.0))
    present = float(evaluate(tree, parameter_values(netlist, {})))
    return set_value(netlist, site.name, wrong_value(site.value, present))


def _longer_track(netlist: Netlist, site: FaultSite) -> Netlist:
    trimmer = site.trimmer
    assert trimmer is not None
    present = track_ohms(netlist, trimmer)
    factor = wrong_value(site.value, present) / present
    for track in trimmer.tracks:
        netlist = set_tree(netlist, track.name, scaled_track(netlist, trimmer, track, factor))
    return netlist


@fault_kind("end")
def _end(netlist: Netlist, fault: Fault) -> Netlist:
    """Leave a trimmer's wiper stuck at its end, VALUE 0 or 1: RV101:end:1."""
    site = find_site(netlist, fault)
    if site.trimmer is None:
        raise site.wrong("only a trimmer has ends, resistors whose values follow one parameter; name one")
    if site.value not in ("0", "1"):
        raise site.wrong(f"'{site.value}' is no end of its travel; write {site.name}:end:0 or {site.name}:end:1")
    # A parameter of its own: the bench may turn the trimmer, its wiper stays.
    stuck = f"{site.name.lower()}_stuck"
    netlist = add_parameter(netlist, stuck, float(site.value))
    for track in site.trimmer.tracks:
        netlist = set_tree(netlist, track.name, track_turned_by(netlist, site.trimmer, track, stuck))
    return netlist


@fault_kind("wiper")
def _wiper(netlist: Netlist, fault: Fault) -> Netlist:
    """Lift a trimmer's wiper; a rheostat, its wiper being tied to one end, is left at its whole track."""
    site = find_site(netlist, fault)
    if site.trimmer is None or site.named:
        raise site.wrong("only a trimmer has a wiper, resistors whose values follow one parameter; name one")
    if len(site.trimmer.tracks) == 1:
        (track,) = site.trimmer.tracks
        return set_value(netlist, track.name, max(track_ends(netlist, track, site.trimmer.parameter)))
    if site.trimmer.contact is not None:
        return set_value(netlist, site.trimmer.contact.name, _OPEN_OHMS)
    return lifted(netlist, site, site.legs[1], _OPEN_OHMS)


@fault_kind("blown")
def _blown(netlist: Netlist, fault: Fault) -> Netlist:
    """Blow a fuse, a resistor whose name begins with RF."""
    site = find_site(netlist, fault)
    if site.named or site.element.kind != "R" or not site.name.startswith("RF"):
        raise site.wrong(f"only a fuse (a resistor RF...) blows; write {site.name}:open")
    return set_value(netlist, site.name, _OPEN_OHMS)
