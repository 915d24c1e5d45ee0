"""Write a run as a self-contained page: board, instruments, rule, and every line with reading, limit and outcome."""

import json
from collections.abc import Mapping, Sequence
from typing import Any

from station.quantities import format_value
from station.report.pages import template
from station.report.wording import conformity_text, reading_text
from station.store import StoredRun

__all__ = ["certificate_html"]


def certificate_html(run: StoredRun, *, title: str, rule: str, untraceable: Sequence[str] = ()) -> str:
    """Return the page for a stored run; `title` names the board and `rule` the decision rule in words.

    `untraceable` says which readings hang on no valid calibration.
    """
    safe = (
        json.loads(run.head["safe"]) if run.head["safe"] else {"verified": False, "problems": ["the run did not end"]}
    )
    return template("certificate.html").render(
        head=run.head,
        bench=run.bench,
        title=title,
        rule=rule,
        untraceable=untraceable,
        safe=safe,
        cautions=_cautions(run),
        lines=[_line(row) for row in run.judgements],
        passed=sum(row["outcome"] == "Passed" for row in run.judgements),
    )


def _cautions(run: StoredRun) -> list[str]:
    """Return what was asked with a caution, what was answered, and when (UTC)."""
    asked = ((json.loads(row["ask"]), json.loads(row["reply"]), row["told"]) for row in run.answers)
    return [
        f"{ask['text'].partition('.')[0]}: {reply['said']} at {told}"
        for ask, reply, told in asked
        if ask["ask"] == "Question" and ask["caution"] and "said" in reply
    ]


def _line(row: Mapping[str, Any]) -> dict[str, str]:
    measured = row["limit"] is not None
    return {
        "step": row["step"],
        "what": f"{row['terminal']} {row['name']}".strip(),
        "reading": reading_text(row["value"], row["u"], row["unit"]) if measured else "–",
        "limit": row["limit"] or "answer yes",
        "guard": format_value(row["guard"], row["unit"], digits=2) if row["guard"] else "–",
        "conformity": conformity_text(row["conformity"]),
        "outcome": row["outcome"],
        "cause": row["cause"],
    }
