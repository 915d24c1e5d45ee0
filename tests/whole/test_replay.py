"""A stored record is a performer: the same judgements again, and others where a reading is changed."""

import json

import pytest
from sqlalchemy import update

from station.lines import Outcome
from station.store import answers, open_store
from tests.benches import judged_again, recorded

FAULTS = [(), ("DLED102:open",), ("R108:open",), ("R206:open",), ("D101:reversed",), ("RF201:open",)]


@pytest.fixture
def store(tmp_path):
    with open_store(tmp_path / "records.sqlite") as opened:
        yield opened


@pytest.mark.parametrize("seed", range(2))
@pytest.mark.parametrize("faults", FAULTS, ids=lambda faults: " ".join(faults) or "healthy")
def test_a_record_replayed_is_judged_the_same(store, seed, faults):
    ended = recorded(store, "D15-1", seed, faults)

    again = judged_again(store, "D15-1")

    assert again.judgements == ended.judgements
    assert again.outcome is ended.outcome


def test_a_changed_reading_changes_the_judgement(store):
    recorded(store, "D15-1")
    stored = store.found("D15-1")
    rows = [r for r in stored.answers if '"Read"' in r["ask"] and '"INN"' in r["ask"] and '"current"' in r["ask"]]
    with store.writing() as connection:
        for row in rows:  # all of them: looks that disagree would be asked for more than the record holds
            reply = {**json.loads(row["reply"]), "value": 0.013}
            where = (answers.c.run == row["run"]) & (answers.c.sequence == row["sequence"])
            connection.execute(update(answers).where(where).values(reply=json.dumps(reply)))

    again = judged_again(store, "D15-1")

    failed = [judgement.line.title for judgement in again.judgements if judgement.outcome is Outcome.FAILED]
    assert failed == ["no load: INN current", "final: INN current, no load again"]
