"""Run the installed command the way a user types it."""

import os
import subprocess
import sys
from collections.abc import Mapping
from pathlib import Path

RAILBENCH = str(Path(sys.executable).parent / "railbench")
FULL = Path(__file__).resolve().parent.parent / "profiles" / "dual15" / "full.yaml"


def environment(home: Path, **more: str) -> Mapping[str, str]:
    """Return the environment with a home of its own, so that no test touches the user's record."""
    own = {"HOME": str(home), "XDG_DATA_HOME": str(home / "data"), "XDG_STATE_HOME": str(home / "state")}
    return {**os.environ, **own, "NO_COLOR": "1", **more}


def railbench(*arguments: object, home: Path) -> subprocess.CompletedProcess[str]:
    """Return what `railbench ARGUMENTS` did."""
    words = [RAILBENCH, *(str(argument) for argument in arguments)]
    return subprocess.run(words, env=environment(home), cwd=home, capture_output=True, text=True, timeout=120)
