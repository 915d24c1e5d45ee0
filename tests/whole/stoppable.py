"""A run in a process of its own, told line by line, for tests that stop or kill it.

    python -m tests.whole.stoppable STORE SERIAL

Prints 'ask N' once the N-th answer is acknowledged, and at the end one JSON line with what the instruments say.
"""

import json
import sys

from station.interrupts import deferred_signals
from station.record import begin
from station.store import open_store
from tests.benches import full_profile, run_simulated


def main() -> None:
    store, serial = sys.argv[1:]
    count = 0

    def told(ask, reply):
        nonlocal count
        if type(ask).__name__ not in ("StepStarted", "StepEnded", "Judged", "Warned"):
            count += 1
            print(f"ask {count}", flush=True)

    with open_store(store) as record, deferred_signals() as interrupts:
        facts = {"seed": 1, "faults": [], "instruments": {}}
        writing = begin(record, full_profile(), serial, simulated=True, bench=facts, software="test")
        ended, outputs, inputs = run_simulated(1, (), writing, interrupts, told)
    print(
        json.dumps(
            {
                "outcome": ended.outcome.value,
                "cause": str(ended.trouble or ""),
                "verified": ended.safe.verified,
                "outputs": outputs,
                "inputs": inputs,
            }
        )
    )


if __name__ == "__main__":
    main()
