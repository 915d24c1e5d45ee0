"""Say how a run ends the process: the table of exit codes, in one place."""

from station.errors import InputError, Interrupted
from station.lines import Outcome
from station.run import Ended

__all__ = ["ABORTED", "DONE", "FAILED", "NOT_SAFE", "OUR_BUG", "TROUBLE", "UNDECIDED", "WRONG_INPUT", "exit_code"]

DONE, FAILED, WRONG_INPUT, UNDECIDED, ABORTED, TROUBLE, NOT_SAFE, OUR_BUG = 0, 1, 2, 3, 4, 5, 6, 70

_BY_OUTCOME = {
    Outcome.PASSED: DONE,
    Outcome.FAILED: FAILED,
    Outcome.UNDECIDED: UNDECIDED,
    Outcome.ABORTED: ABORTED,
    Outcome.NOT_STARTED: ABORTED,
}


def exit_code(ended: Ended) -> int:
    """Return the exit code of a run: a bench that is not safe outweighs everything, trouble outweighs the outcome."""
    if not ended.safe.verified:
        return NOT_SAFE
    if ended.trouble is None:
        return _BY_OUTCOME[ended.outcome]
    if isinstance(ended.trouble, Interrupted):
        return ABORTED
    return WRONG_INPUT if isinstance(ended.trouble, InputError) else TROUBLE
