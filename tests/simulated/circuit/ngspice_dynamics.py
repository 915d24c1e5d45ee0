"""Ask ngspice for frequency responses and power-up ramps; as a program, store what it says of the reference decks."""

import json
import re
import subprocess
import tempfile
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from simulated.circuit import Netlist, read_netlist

from . import ngspice

STORED = ngspice.REFERENCE / "dynamics_ngspice.json"
# Decks and the source that is wobbled or raised; the card is replaced whole.
RESPONSES = {"charges": "V1", "series_pass": "V1", "zener_follower": "VIN", "pnp_dropout": "VBAT", "opamp_dual": "VP"}
RAMPS = {"series_pass": ("V1", "in", 24.0), "zener_follower": ("VIN", "in", 20.0), "pnp_dropout": ("VBAT", "bat", 6.1)}
TEMPERATURES = (-20, 27, 85)
HERTZ = tuple(10.0**decade for decade in range(1, 8))
RAMP_SECONDS, END_SECONDS, POINTS = 0.02, 0.05, 51
_OPTIONS = ".options reltol=1e-5 abstol=1e-13 vntol=1e-8 gmin=1e-12 itl1=500 itl2=500"


def text_of(deck: str) -> str:
    return (ngspice.REFERENCE / f"{deck}.cir").read_text()


def with_card(text: str, name: str, card: str) -> str:
    """The deck with the card of one element replaced."""
    replaced, count = re.subn(rf"(?im)^{name}\s.*$", card, text)
    assert count == 1, name
    return replaced


def wobbled(deck: str) -> str:
    """The deck with one volt of AC on its source."""
    text, name = text_of(deck), RESPONSES[deck]
    card = next(line for line in text.splitlines() if line.upper().startswith(f"{name} "))
    return text if "AC" in card else with_card(text, name, f"{card} AC 1")


def nodes_of(text: str) -> list[str]:
    """The nodes that are compared: those of the deck's top level."""
    netlist: Netlist = read_netlist(text)
    return [node for node in netlist.nodes if "." not in node]


def responses(text: str, celsius: float) -> dict[str, list[list[float]]]:
    """Each node's real and imaginary parts at HERTZ."""
    nodes = nodes_of(text)
    columns = _columns(text, f".temp {celsius}", "ac dec 1 10 10meg", nodes)
    return {node: columns[:, 3 * at + 1 : 3 * at + 3].tolist() for at, node in enumerate(nodes)}


def ramp(deck: str) -> dict[str, list[float]]:
    """Each node's volts at POINTS even times, its source raised from zero in RAMP_SECONDS."""
    name, node, volts = RAMPS[deck]
    text = with_card(text_of(deck), name, f"{name} {node} 0 PWL(0 0 {RAMP_SECONDS} {volts})")
    text = re.sub(r"(?i)\bIC=0\b", "", text)
    nodes = nodes_of(text)
    columns = _columns(text, ".temp 27", f"tran {END_SECONDS / 500} {END_SECONDS} 0 {END_SECONDS / 1000}", nodes)
    times = np.linspace(0.0, END_SECONDS, POINTS)
    return {
        node: np.interp(times, columns[:, 2 * at], columns[:, 2 * at + 1]).tolist() for at, node in enumerate(nodes)
    }


def _columns(text: str, cards: str, analysis: str, nodes: list[str]) -> NDArray[np.float64]:
    bare = re.sub(r"(?im)^\.(end|op|temp.*)\s*$", "", text)
    with tempfile.TemporaryDirectory() as folder:
        target = Path(folder) / "table.data"
        vectors = " ".join(f"v({node})" for node in nodes)
        control = f".control\nset numdgt=10\n{analysis}\nwrdata {target} {vectors}\nquit\n.endc\n.end\n"
        deck = f"{bare}\n{cards}\n{_OPTIONS}\n{control}"
        done = subprocess.run(["ngspice", "-b"], input=deck, capture_output=True, text=True, timeout=60, check=False)
        table = target
        if not table.exists():
            raise RuntimeError(f"ngspice has no result:\n{done.stdout[-500:]}{done.stderr[-500:]}")
        return np.loadtxt(table, ndmin=2)


def main() -> None:
    stored = {
        "responses": {deck: {str(t): responses(wobbled(deck), t) for t in TEMPERATURES} for deck in RESPONSES},
        "ramps": {deck: ramp(deck) for deck in RAMPS},
    }
    rounded = json.loads(json.dumps(stored), parse_float=lambda number: float(f"{float(number):.8g}"))
    STORED.write_text(json.dumps(rounded) + "\n")


if __name__ == "__main__":
    main()
