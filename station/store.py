"""Open the record and find runs in it: SQLite in a file by default, another database by URL.

Tables are facts and outcomes, never prose. SQLite runs in WAL mode with synchronous FULL, so that a commit that
has returned survives a killed process and a power cut.
"""

import hashlib
import json
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from sqlalchemy import (
    URL,
    Boolean,
    Column,
    Connection,
    Engine,
    Float,
    ForeignKey,
    Integer,
    MetaData,
    String,
    Table,
    Text,
    create_engine,
    event,
    exists,
    inspect,
    literal,
    make_url,
    select,
)
from sqlalchemy.exc import SQLAlchemyError

from station.errors import StoreError
from station.journal import Journal

__all__ = ["StoredRun", "open_store", "store_url"]

FORMAT = 1
NO_RECORD = "there is no record here; run a board first, or name the right --store"
metadata = MetaData()

about = Table("about", metadata, Column("format", Integer, nullable=False))
texts = Table("texts", metadata, Column("sha256", String(64), primary_key=True), Column("text", Text, nullable=False))
runs = Table(
    "runs",
    metadata,
    Column("id", String(36), primary_key=True),
    Column("serial", String, nullable=False, index=True),
    Column("profile", String, nullable=False),
    Column("revision", String, nullable=False),
    Column("board", String, nullable=False),
    Column("profile_sha256", ForeignKey("texts.sha256"), nullable=False),
    Column("board_sha256", ForeignKey("texts.sha256"), nullable=False),
    Column("netlist_sha256", ForeignKey("texts.sha256"), nullable=False),
    Column("simulated", Boolean, nullable=False),
    Column("bench", Text, nullable=False),  # JSON: instruments, and the seed and faults of a simulated board
    Column("software", String, nullable=False),
    Column("started", String, nullable=False),  # UTC, ISO 8601
    Column("ended", String),
    Column("bench_seconds", Float),
    Column("outcome", String),
    Column("cause", Text),
    Column("safe", Text),  # JSON: verified, problems, volts
)
steps = Table(
    "steps",
    metadata,
    Column("run", ForeignKey("runs.id"), primary_key=True),
    Column("position", Integer, primary_key=True),
    Column("title", String, nullable=False),
    Column("started", String, nullable=False),
    Column("ended", String),
)
answers = Table(
    "answers",
    metadata,
    Column("run", ForeignKey("runs.id"), primary_key=True),
    Column("sequence", Integer, primary_key=True),
    Column("step", Integer, nullable=False),
    Column("ask", Text, nullable=False),  # JSON, see transcript
    Column("reply", Text, nullable=False),
    Column("told", String, nullable=False),
)
readings = Table(
    "readings",
    metadata,
    Column("run", ForeignKey("runs.id"), primary_key=True),
    Column("sequence", Integer, primary_key=True),
    Column("terminal", String, nullable=False),
    Column("quantity", String, nullable=False),
    Column("value", Float, nullable=False),
    Column("u_random", Float, nullable=False),
    Column("u_common", Float, nullable=False),
    Column("effort", Float, nullable=False),
    Column("source", String, nullable=False),
)
judgements = Table(
    "judgements",
    metadata,
    Column("run", ForeignKey("runs.id"), primary_key=True),
    Column("position", Integer, primary_key=True),
    Column("step", String, nullable=False),
    Column("name", String, nullable=False),
    Column("terminal", String, nullable=False),
    Column("limit", Text),
    Column("unit", String),
    Column("outcome", String, nullable=False),
    Column("value", Float),
    Column("u", Float),
    Column("conformity", Float),
    Column("guard", Float),
    Column("effort", Float),
    Column("cause", Text, nullable=False),
)


@dataclass(frozen=True)
class StoredRun:
    """A run as stored: its head, its judgements in order, and its answers in order, as rows by column name."""

    head: Mapping[str, Any]
    judgements: tuple[Mapping[str, Any], ...]
    answers: tuple[Mapping[str, Any], ...]

    @property
    def bench(self) -> dict[str, Any]:
        """What was known of the bench: instruments, and seed and faults where it was simulated."""
        bench: dict[str, Any] = json.loads(self.head["bench"])
        return bench


def store_url(place: str | Path) -> URL:
    """Return the database URL for a path or URL."""
    return make_url(str(place)) if "://" in str(place) else URL.create("sqlite", database=str(Path(place)))


@contextmanager
def told_as_store_error(place: str, *also: type[Exception]) -> Iterator[None]:
    """Turn a database's errors, its driver's own `also`, into one sentence that names the store and what to do."""
    kinds: tuple[type[Exception], ...] = (SQLAlchemyError, OSError, ImportError, *also)
    try:
        yield
    except kinds as error:
        reason = str(getattr(error, "orig", None) or error).partition("\n")[0]
        raise StoreError(
            f"store {place}: {reason}; check that the place exists, is writable and is a record"
        ) from error


class Store:
    """An open record."""

    def __init__(self, engine: Engine, place: str) -> None:
        self.engine, self.place = engine, place
        self._journal = Journal(engine)
        self._driver_error: type[Exception] = engine.dialect.loaded_dbapi.Error

    def close(self) -> None:
        """Give all connections back."""
        self._journal.close()
        self.engine.dispose()

    @property
    def folder(self) -> Path:
        """Where pages about its runs go: beside a file, else where the user is."""
        return Path() if "://" in self.place else Path(self.place).parent

    @contextmanager
    def writing(self) -> Iterator[Connection]:
        """A transaction that is on disk when the block has ended."""
        with told_as_store_error(self.place), self.engine.begin() as connection:
            yield connection

    def append(self, *rows: tuple[Table, Mapping[str, Any]]) -> None:
        """Add rows, each with all columns of its table, in one transaction that is on disk when this returns."""
        with told_as_store_error(self.place, self._driver_error):
            self._journal.append(*rows)

    def keep_text(self, connection: Connection, text: str) -> str:
        """Keep a text under its content hash, once, and return the hash."""
        digest = hashlib.sha256(text.encode()).hexdigest()
        # One statement: between a look and an insert another station could keep the same text.
        missing = select(literal(digest), literal(text)).where(~exists().where(texts.c.sha256 == digest))
        connection.execute(texts.insert().from_select(["sha256", "text"], missing))
        return digest

    def text(self, sha256: str) -> str:
        """Return a kept text."""
        with told_as_store_error(self.place), self.engine.connect() as connection:
            return str(connection.execute(select(texts.c.text).where(texts.c.sha256 == sha256)).scalar_one())

    def heads(self, serial: str | None = None) -> list[dict[str, Any]]:
        """Return the heads of all runs, or of those of a serial, oldest first."""
        wanted = select(runs).order_by(runs.c.started, runs.c.id)
        if serial is not None:
            wanted = wanted.where(runs.c.serial == serial)
        return self._rows(wanted)

    def found(self, key: str) -> StoredRun | None:
        """Return the run with this id, or else the newest run of this serial."""
        heads = self._rows(select(runs).where(runs.c.id == key)) or self.heads(key)
        if not heads:
            return None
        identity = heads[-1]["id"]
        return StoredRun(
            heads[-1],
            tuple(self._rows(select(judgements).where(judgements.c.run == identity).order_by(judgements.c.position))),
            tuple(self._rows(select(answers).where(answers.c.run == identity).order_by(answers.c.sequence))),
        )

    def _rows(self, wanted: Any) -> list[dict[str, Any]]:  # noqa: ANN401  SQLAlchemy's generic Select
        with told_as_store_error(self.place), self.engine.connect() as connection:
            return [dict(row) for row in connection.execute(wanted).mappings()]


@contextmanager
def open_store(place: str | Path, *, create: bool = True) -> Iterator[Store]:
    """Open a record; StoreError where it can't be, or where there is none and `create` is off."""
    path = None if "://" in str(place) else Path(place)
    if path is not None and not create and not path.exists():
        raise StoreError(f"store {place}: {NO_RECORD}")
    with told_as_store_error(str(place)):
        if path is not None and create:
            path.parent.mkdir(parents=True, exist_ok=True)
        engine = create_engine(store_url(place))
        if engine.dialect.name == "sqlite" and engine.url.database in (None, "", ":memory:"):
            raise StoreError(f"store {place}: it would be gone at the end; name a file")
        try:
            _refuse_what_is_none(engine, str(place), create=create)
            if engine.dialect.name == "sqlite":
                event.listen(engine, "connect", _sqlite_settings)
            _make_or_check(engine, str(place))
        except BaseException:
            engine.dispose()
            raise
    store = Store(engine, str(place))
    try:
        yield store
    finally:
        store.close()


def _refuse_what_is_none(engine: Engine, place: str, *, create: bool) -> None:
    """Raise StoreError for a database that is no record, before anything of it is changed."""
    there = inspect(engine).get_table_names()
    if not there and not create:
        raise StoreError(f"store {place}: {NO_RECORD}")
    if there and about.name not in there:
        raise StoreError(f"store {place}: it is a database of something else; name another --store")
    engine.dispose()  # the connection that looked has none of the settings


def _make_or_check(engine: Engine, place: str) -> None:
    """Make the tables of a new record; StoreError for a record in a format that this program does not know."""
    with engine.begin() as connection:
        if engine.dialect.name == "sqlite":
            # Or two first runs at once would each find some tables missing, and fall over the other's.
            connection.exec_driver_sql("BEGIN IMMEDIATE")
        metadata.create_all(connection)
        found = connection.execute(select(about.c.format)).scalar()
        if found is None:
            connection.execute(about.insert().values(format=FORMAT))
        elif found != FORMAT:
            raise StoreError(
                f"store {place}: its format is {found}, known here is {FORMAT}; use the railbench that made it"
            )


def _sqlite_settings(connection: Any, _record: object) -> None:  # noqa: ANN401  the DB-API connection
    for setting in ("journal_mode=WAL", "synchronous=FULL", "foreign_keys=ON", "busy_timeout=5000"):
        connection.execute(f"PRAGMA {setting}")
