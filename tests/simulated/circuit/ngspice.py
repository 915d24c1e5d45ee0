"""Run ngspice, the reference simulator, on a deck; as a program, store what it says of the textbook decks."""

import json
import re
import shutil
import subprocess
from collections.abc import Sequence
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
REFERENCE = Path(__file__).parents[2] / "reference" / "circuits"
STORED = REFERENCE / "textbook_ngspice.json"
DECKS = [
    "bandgap",
    "bipolars",
    "crowbar",
    "diodes",
    "linear",
    "opamp_dual",
    "pnp_dropout",
    "series_pass",
    "three_terminal",
    "zener_follower",
]
TEMPERATURES = (-20, 0, 27, 60, 100)
_OPTIONS = "reltol=1e-6 abstol=1e-14 vntol=1e-9 gmin=1e-12 itl1=500 itl2=500"


def available() -> bool:
    return shutil.which("ngspice") is not None


def operating_point(text: str, celsius: float) -> dict[str, float]:
    """Node voltages by name, and amps delivered by V sources as `amps NAME`."""
    bare = re.sub(r"(?im)^\.(end|op|temp.*)\s*$", "", text)
    control = ".control\nset numdgt=12\nop\nprint all\nquit\n.endc\n.end\n"
    deck = f"{bare}\n.temp {celsius}\n.options {_OPTIONS}\n{control}"
    done = subprocess.run(["ngspice", "-b"], input=deck, capture_output=True, text=True, timeout=60, check=False)
    found = dict(re.findall(r"(?m)^(\S+) = (-?[0-9.]+e[+-][0-9]+)\s*$", done.stdout))
    if not found:
        raise RuntimeError(f"ngspice found no operating point:\n{done.stdout[-500:]}{done.stderr[-500:]}")
    volts = {name: float(value) for name, value in found.items() if "#" not in name}
    amps = {
        f"amps {name.removesuffix('#branch').removeprefix('v.').upper()}": -float(value)
        for name, value in found.items()
        if re.fullmatch(r"v.*#branch", name)
    }
    return volts | amps


def transient(text: str, nodes: Sequence[str], stop: float, step: float, folder: Path, start: float = 0.0) -> Floats:
    """Times and node voltages (T, 1 + nodes) from `start` to `stop`, steps being no longer than `step`."""
    watched = " ".join(f"v({node})" for node in nodes)
    place = folder / "found.txt"
    commands = f"tran {step} {stop} {start} {step}\nset wr_singlescale\nwrdata {place} {watched}\nquit"
    deck = f"{text}\n.options reltol=1e-5\n.control\n{commands}\n.endc\n.end\n"
    done = subprocess.run(["ngspice", "-b"], input=deck, capture_output=True, text=True, timeout=120, check=False)
    if not place.exists():
        raise RuntimeError(f"ngspice followed nothing:\n{done.stdout[-500:]}{done.stderr[-500:]}")
    return np.loadtxt(place)


def main() -> None:
    stored = {
        deck: {str(t): operating_point((REFERENCE / f"{deck}.cir").read_text(), t) for t in TEMPERATURES}
        for deck in DECKS
    }
    STORED.write_text(json.dumps(stored, indent=1) + "\n")


if __name__ == "__main__":
    main()
