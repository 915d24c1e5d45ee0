import sqlite3
import uuid
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import create_engine, event, text

from station.asks import Fed, Feed, Judged, Mode, Quantity, Read, SafeState, StepEnded, StepStarted, Warned
from station.errors import StoreError, Unreadable
from station.journal import Journal
from station.judge import Rule
from station.lines import Outcome
from station.quantities import Limit
from station.record import RunRecord, begin, new_id
from station.steps import Setup
from station.store import Store, about, open_store, steps, store_url
from station.uncertainty import Result
from tests.station.boards import RAMP, profile_of, twin
from tests.station.scripts import reading

PROFILE = profile_of(RAMP)


def begun(store: Store, serial: str = "SN1") -> RunRecord:
    return begin(store, PROFILE, serial, simulated=True, bench={"seed": 7}, software="railbench 0")


def counted(store: Store, table: str) -> int:
    with store.engine.connect() as connection:
        return int(connection.execute(text(f"select count(*) from {table}")).scalar_one())


def test_a_run_is_there_from_its_begin(store: Store) -> None:
    record = begun(store)
    (head,) = store.heads()
    assert (head["id"], head["serial"], head["profile"], head["board"]) == (record.id, "SN1", "twin/test", "twin")
    assert (head["simulated"], head["outcome"], head["ended"]) == (True, None, None)


def test_a_run_can_be_explained_from_its_texts(store: Store) -> None:
    begun(store)
    (head,) = store.heads()
    kept = [store.text(head[name]) for name in ("profile_sha256", "board_sha256", "netlist_sha256")]
    assert kept == [PROFILE.text, twin().text, twin().netlist]


def test_a_run_refers_to_the_texts_of_its_bench(store: Store) -> None:
    texts = {"bench file": "bench: north", "dialect of psu": "dialect: ours"}
    begin(store, PROFILE, "SN1", simulated=False, bench={"bench": "north"}, software="railbench 0", texts=texts)
    found = store.found("SN1")
    assert found is not None and found.bench["bench"] == "north"
    assert {name: store.text(sha256) for name, sha256 in found.bench["texts"].items()} == texts


def test_a_text_is_kept_once(store: Store) -> None:
    for serial in ("SN1", "SN2", "SN3"):
        begun(store, serial)
    assert (counted(store, "runs"), counted(store, "texts")) == (3, 3)


def test_answers_are_kept_in_order_with_their_step(store: Store) -> None:
    record = begun(store)
    record.noted(StepStarted(0, "ramp"))
    record.answered(Feed("INP", 2.0, 0.15), Fed(Mode.CV))
    record.noted(StepEnded(0, "ramp"))
    record.noted(StepStarted(1, "no load"))
    record.answered(Read("OUTP", Quantity.VOLTAGE), reading(15.0))
    found = store.found("SN1")
    assert found is not None
    assert [(row["sequence"], row["step"]) for row in found.answers] == [(1, 0), (2, 1)]


def test_a_reading_has_columns_of_its_own(store: Store) -> None:
    begun(store).answered(Read("OUTP", Quantity.VOLTAGE, 10.0), reading(15.0, 1e-4, common=2e-4, effort=10.0))
    with store.engine.connect() as connection:
        (row,) = connection.execute(text("select * from readings")).mappings()
    assert (row["terminal"], row["quantity"], row["value"], row["effort"]) == ("OUTP", "voltage", 15.0, 10.0)
    assert (row["u_random"], row["u_common"], row["source"]) == (1e-4, 2e-4, "meter")


def test_what_could_not_be_read_is_no_reading(store: Store) -> None:
    begun(store).answered(Read("OUTP", Quantity.VOLTAGE), Unreadable("overload"))
    assert (counted(store, "answers"), counted(store, "readings")) == (1, 0)


def test_judgements_are_kept_with_what_led_to_them(store: Store) -> None:
    record = begun(store)
    line = Setup(twin(), Rule(), "no load").line("voltage", "OUTP", Limit.parse("15 V ± 1 %", "V"))
    record.noted(Judged(Rule(guard_factor=1.0).judge(line, Result(15.2, 0.01, 1.0))))
    found = store.found("SN1")
    assert found is not None
    (row,) = found.judgements
    assert (row["step"], row["name"], row["terminal"]) == ("no load", "voltage", "OUTP")
    assert (row["limit"], row["unit"], row["outcome"]) == ("15 V ± 1 %", "V", "Failed")
    assert (row["value"], row["u"], row["guard"], row["effort"]) == (15.2, 0.01, 0.02, 1.0)


def test_what_was_only_said_is_not_kept(store: Store) -> None:
    begun(store).noted(Warned("RV101 is stuck"))
    assert counted(store, "judgements") == counted(store, "steps") == 0


def test_a_closed_run_has_its_outcome_and_how_safe_it_was_left(store: Store) -> None:
    begun(store).ended(Outcome.FAILED, "why", SafeState(True, volts=(("OUTP", 0.1),), seconds=61.5))
    (head,) = store.heads()
    assert (head["outcome"], head["cause"], head["bench_seconds"]) == ("Failed", "why", 61.5)
    assert '"verified": true' in head["safe"]


def test_each_fact_is_there_for_another_reader_at_once(tmp_path: Path) -> None:
    with open_store(tmp_path / "r.sqlite") as writing, open_store(tmp_path / "r.sqlite") as looking:
        record = begun(writing)
        for count in (1, 2, 3):
            record.answered(Read("OUTP", Quantity.VOLTAGE), reading(15.0))
            assert counted(looking, "answers") == count


def test_the_store_survives_a_killed_process_and_a_power_cut(store: Store) -> None:
    """WAL with synchronous FULL (2): a commit that has returned is on disk."""
    with store.engine.connect() as connection:
        settings = [connection.execute(text(f"pragma {name}")).scalar_one() for name in ("journal_mode", "synchronous")]
    assert settings == ["wal", 2]


def test_the_newest_run_of_a_serial_is_found(store: Store) -> None:
    older, newer = begun(store), begun(store)
    with store.writing() as connection:
        connection.execute(text("update runs set started = '2020-01-01T00:00:00' where id = :id"), {"id": older.id})
    found = store.found("SN1")
    assert found is not None
    assert found.head["id"] == newer.id
    assert found.bench == {"seed": 7}


def test_a_run_is_found_by_its_id(store: Store) -> None:
    record = begun(store)
    begun(store)
    found = store.found(record.id)
    assert found is not None
    assert found.head["id"] == record.id


def test_an_unknown_serial_is_not_found(store: Store) -> None:
    begun(store)
    assert store.found("SN2") is None
    assert store.heads("SN2") == []


def test_an_id_is_a_version_7_uuid() -> None:
    made = uuid.UUID(new_id())
    assert (made.version, made.variant) == (7, uuid.RFC_4122)


def test_ids_sort_as_runs_happened() -> None:
    """RFC 9562, 5.7: the first 48 bits are the milliseconds; inside one the order is not told."""
    made = [new_id() for _ in range(2000)]
    assert len(set(made)) == 2000
    assert [identity[:13] for identity in made] == sorted(identity[:13] for identity in made)
    assert made[0] < made[-1]


ADVICE = "; check that the place exists, is writable and is a record"


def spoilt(tmp_path: Path, how: str) -> Path:
    if how == "a folder":
        return tmp_path
    (tmp_path / "file").write_bytes(b"not a database, but long enough to be looked at as one" * 20)
    return tmp_path / "file" if how == "no database" else tmp_path / "file" / "r.sqlite"


@pytest.mark.parametrize(
    ("how", "reason"),
    [
        ("a folder", "unable to open database file"),
        ("no database", "file is not a database"),
        ("below a file", "[Errno 17] File exists"),
    ],
)
def test_a_place_that_can_not_hold_a_record_is_told_in_one_sentence(tmp_path: Path, how: str, reason: str) -> None:
    place = spoilt(tmp_path, how)
    with pytest.raises(StoreError) as refused, open_store(place):
        pass
    told = str(refused.value)
    assert told.startswith(f"store {place}: {reason}")
    assert told.endswith(ADVICE)
    assert "\n" not in told


def test_a_file_that_is_no_record_is_left_as_it_was(tmp_path: Path) -> None:
    place = spoilt(tmp_path, "no database")
    before = place.read_bytes()
    with pytest.raises(StoreError, match="file is not a database"), open_store(place):
        pass
    assert place.read_bytes() == before


def test_a_record_that_vanishes_in_mid_run_is_a_store_error(store: Store) -> None:
    record = begun(store)
    with store.writing() as connection:
        connection.execute(text("drop table readings"))
    with pytest.raises(StoreError, match="no such table: readings; check that the place exists"):
        record.answered(Read("OUTP", Quantity.VOLTAGE), reading(15.0))
    assert counted(store, "answers") == 0  # all of a fact or nothing


def test_looking_at_a_record_does_not_make_one(tmp_path: Path) -> None:
    place = tmp_path / "none.sqlite"
    with (
        pytest.raises(StoreError, match="there is no record here; run a board first, or name the right --store"),
        open_store(place, create=False),
    ):
        pass
    assert not place.exists()


def test_first_runs_at_once_make_one_record(tmp_path: Path) -> None:
    def opened(serial: str) -> None:
        with open_store(tmp_path / "r.sqlite") as store:
            begun(store, serial)

    with ThreadPoolExecutor(8) as several:
        list(several.map(opened, map(str, range(8))))  # raises what any of them raised

    with open_store(tmp_path / "r.sqlite") as store:
        assert len(store.heads()) == 8 and counted(store, "about") == 1


@pytest.mark.parametrize("create", [True, False])
def test_a_database_of_something_else_is_left_as_it_was(tmp_path: Path, create: bool) -> None:
    place = tmp_path / "letters.sqlite"
    with closing(sqlite3.connect(place)) as other:
        other.execute("create table letters (text)")
    before = place.read_bytes()
    with (
        pytest.raises(StoreError, match="it is a database of something else; name another --store"),
        open_store(place, create=create),
    ):
        pass
    assert place.read_bytes() == before


def test_looking_into_an_empty_file_does_not_make_a_record_of_it(tmp_path: Path) -> None:
    place = tmp_path / "empty.sqlite"
    place.touch()
    with pytest.raises(StoreError, match="there is no record here"), open_store(place, create=False):
        pass
    assert place.read_bytes() == b""


@pytest.mark.parametrize("place", [":memory:", "sqlite://", "sqlite:///:memory:"])
def test_a_record_that_would_not_last_is_refused(place: str) -> None:
    with pytest.raises(StoreError, match="it would be gone at the end; name a file"), open_store(place):
        pass


@pytest.mark.parametrize("url", ["nosuch://host/db", "postgresql://127.0.0.1:1/db", "://"])
def test_a_database_that_can_not_be_reached_is_a_store_error(url: str) -> None:
    with pytest.raises(StoreError, match="store "), open_store(url):
        pass


@pytest.mark.parametrize(
    ("place", "url"),
    [
        ("r.sqlite", "sqlite:///r.sqlite"),
        ("what?.sqlite", "sqlite:///what%3F.sqlite"),
        (Path("/a/r.db"), "sqlite:////a/r.db"),
        ("postgresql://h/d", "postgresql://h/d"),
    ],
)
def test_a_path_is_a_database_in_a_file(place: Any, url: str) -> None:
    assert store_url(place).render_as_string() == url


def test_a_record_of_another_format_is_refused_and_left_as_it_is(tmp_path: Path) -> None:
    with open_store(tmp_path / "r.sqlite") as store, store.writing() as connection:
        connection.execute(about.update().values(format=99))

    with (
        pytest.raises(StoreError, match="its format is 99, known here is 1; use the railbench that made it"),
        open_store(tmp_path / "r.sqlite"),
    ):
        pass


def test_an_insert_that_fails_leaves_the_record_usable(store: Store) -> None:
    """What the driver has begun is undone, its connection is dropped, and the run can still be closed."""
    record = begun(store)
    with pytest.raises(StoreError, match="NOT NULL constraint failed: steps"):
        store.append((steps, {"run": record.id, "position": 0, "title": None, "started": "now", "ended": None}))
    record.noted(StepStarted(0, "ramp"))
    record.ended(Outcome.ABORTED, "why", SafeState(True))
    assert (counted(store, "steps"), store.heads()[0]["outcome"]) == (1, "Aborted")


@pytest.mark.parametrize("style", ["qmark", "named"])  # a driver takes values by place, or by name as PostgreSQL's do
def test_rows_are_appended_in_either_style_of_a_driver(tmp_path: Path, style: Any) -> None:
    with open_store(tmp_path / "r.sqlite") as store:
        record = begun(store)
    with closing(Journal(create_engine(store_url(tmp_path / "r.sqlite"), paramstyle=style))) as journal:
        journal.append(
            (steps, {"run": record.id, "position": 0, "title": "ramp", "started": "now", "ended": None}),
            (steps, {"run": record.id, "position": 1, "title": "trim", "started": "then", "ended": None}),
        )
    with closing(sqlite3.connect(tmp_path / "r.sqlite")) as looking:
        assert looking.execute("select title, started from steps").fetchall() == [("ramp", "now"), ("trim", "then")]


def test_of_a_transaction_that_breaks_nothing_is_kept_and_its_connection_is_not_used_again(tmp_path: Path) -> None:
    with open_store(tmp_path / "r.sqlite") as store:
        record, given_up = begun(store), list[object]()
        event.listen(store.engine, "invalidate", lambda connection, *_: given_up.append(connection))
        row = {"run": record.id, "position": 0, "title": "ramp", "started": "now", "ended": None}
        with closing(Journal(store.engine)) as journal:
            with pytest.raises(sqlite3.IntegrityError):
                journal.append((steps, row), (steps, row))  # the second is there already
            assert len(given_up) == 1 and counted(store, "steps") == 0
            journal.append((steps, row))
        assert counted(store, "steps") == 1
