"""Write rows into the store one transaction after another, as cheaply as its database allows.

A run writes hundreds of answers, each on disk before the next ask. Through SQLAlchemy's layers one costs twice what
the database itself does, so an insert is worded once for the database at hand, and then goes to its driver, on one
connection of the pool. Values are texts, numbers and None: no column here needs a conversion.
"""

from collections.abc import Mapping
from typing import Any

from sqlalchemy import Engine, PoolProxiedConnection, Table
from sqlalchemy.sql.compiler import SQLCompiler

__all__ = ["Journal"]

Row = Mapping[str, Any]


class Journal:
    """What is appended to the store; for one thread at a time. Nobody else waits for it between two calls."""

    def __init__(self, engine: Engine) -> None:
        self._engine = engine
        self._connection: PoolProxiedConnection | None = None
        self._inserts: dict[str, SQLCompiler] = {}

    def append(self, *rows: tuple[Table, Row]) -> None:
        """Add rows, each with all columns of its table, in one transaction that is on disk when this returns.

        Raises the driver's own error; what was begun is undone, and the connection is not used again.
        """
        if self._connection is None:
            self._connection = self._engine.raw_connection()
        try:
            cursor = self._connection.cursor()
            for table, row in rows:
                insert = self._insert(table)
                cursor.execute(insert.string, _parameters(insert, row))
            self._connection.commit()
            cursor.close()
        except BaseException:
            broken, self._connection = self._connection, None
            broken.invalidate()
            raise

    def close(self) -> None:
        """Give the connection back."""
        if self._connection is not None:
            self._connection.close()
            self._connection = None

    def _insert(self, table: Table) -> SQLCompiler:
        """Return a table's insert in the words of the database at hand."""
        if table.name not in self._inserts:
            insert = table.insert().compile(self._engine)
            assert isinstance(insert, SQLCompiler)  # what an insert compiles to
            self._inserts[table.name] = insert
        return self._inserts[table.name]


def _parameters(insert: SQLCompiler, row: Row) -> Any:  # noqa: ANN401  a tuple or a mapping, as the driver wants them
    return tuple(row[name] for name in insert.positiontup) if insert.positiontup is not None else row
