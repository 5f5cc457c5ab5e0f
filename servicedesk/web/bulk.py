"""Many new rows at once, column by column: all of them, or those that are not there already.

The only place where the two databases differ in this: PostgreSQL gets COPY, or one array a column; SQLite lists of values. Columns are
written as text by us, since having the driver look at each value costs more than storing it. The law of facts holds as for any insert; a
value that a constraint refuses raises as always."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import repeat
from typing import Any

from django.db import connections, models, router
from django.db.backends.base.base import BaseDatabaseWrapper

MOST_VALUES = 9000
"""Values in one statement on SQLite, well under its own 32,766."""
COPY_SIGNS = str.maketrans({"\\": "\\\\", "\t": "\\t", "\n": "\\n", "\r": "\\r"})
ARRAY_SIGNS = str.maketrans({"\\": "\\\\", '"': '\\"'})


@dataclass(frozen=True)
class Same:
    """One value throughout a column."""

    value: Any


Columns = Mapping[str, "Sequence[Any] | Same"]
"""By the attribute names of the model."""


def _length(columns: Columns) -> int:
    return max((len(c) for c in columns.values() if not isinstance(c, Same)), default=1)


def _fields(model: type[models.Model], columns: Columns) -> list[Any]:
    known = {field.attname: field for field in model._meta.concrete_fields}
    return [known[name] for name in columns]


def insert_all(model: type[models.Model], columns: Columns) -> None:
    """Insert rows none of which is there. Raises IntegrityError for one that is, and then nothing of it holds: call it in a
    savepoint of its own."""
    if not _length(columns):
        return
    connection = connections[router.db_for_write(model)]
    if connection.vendor != "postgresql":
        _insert(connection, model, columns, "")
        return
    quote = connection.ops.quote_name
    names = ", ".join(quote(str(field.column)) for field in _fields(model, columns))
    texts = [_copy_texts(column) for column in columns.values()]
    block = "\n".join(map("\t".join, zip(*texts, strict=False)))  # a repeated value has no end
    with (
        connection.wrap_database_errors,
        connection.cursor() as cursor,
        cursor.copy(f"COPY {quote(model._meta.db_table)} ({names}) FROM STDIN") as into,
    ):
        into.write(block + "\n")


def insert_new(model: type[models.Model], columns: Columns, *, returning: str) -> list[Any]:
    """Insert the rows that are not there and give the `returning` column of those."""
    if not _length(columns):
        return []
    connection = connections[router.db_for_write(model)]
    (wanted,) = _fields(model, {returning: Same(None)})
    end = f" ON CONFLICT DO NOTHING RETURNING {connection.ops.quote_name(str(wanted.column))}"
    return _insert(connection, model, columns, end)


def _insert(
    connection: BaseDatabaseWrapper, model: type[models.Model], columns: Columns, end: str
) -> list[Any]:
    quote, fields = connection.ops.quote_name, _fields(model, columns)
    names = ", ".join(quote(str(field.column)) for field in fields)
    start = f"INSERT INTO {quote(model._meta.db_table)} ({names}) "
    make = _arrays if connection.vendor == "postgresql" else _values
    found: list[Any] = []
    with connection.cursor() as cursor:
        for middle, values in make(connection, fields, columns):
            cursor.execute(start + middle + end, values)
            if end:
                found += [row[0] for row in cursor.fetchall()]
    return found


def _text(value: Any) -> str:
    """A value as PostgreSQL reads it, its signs not yet escaped."""
    if isinstance(value, bool):
        return "t" if value else "f"
    return value.isoformat() if isinstance(value, datetime) else str(value)


def _copy_texts(column: "Sequence[Any] | Same") -> Any:
    """A column's texts for COPY."""
    if isinstance(column, Same):
        return repeat("\\N" if column.value is None else _text(column.value).translate(COPY_SIGNS))
    first = column[0]
    if isinstance(first, int | float) and not isinstance(first, bool):
        return map(repr, column)
    if isinstance(first, datetime):
        return map(datetime.isoformat, column)
    return ["\\N" if value is None else _text(value).translate(COPY_SIGNS) for value in column]


Statement = tuple[str, list[Any]]


def _arrays(connection: BaseDatabaseWrapper, fields: list[Any], columns: Columns) -> Iterator[Statement]:
    """One array a column; what is the same throughout is sent once."""
    picked, arrays, named, values, lists = [], [], [], [], []
    for number, (field, column) in enumerate(zip(fields, columns.values(), strict=True)):
        kind = field.db_type(connection)
        if isinstance(column, Same):
            picked.append(f"%s::{kind}")
            values.append(column.value)
        else:
            picked.append(f"c{number}")
            arrays.append(f"%s::{kind}[]")
            named.append(f"c{number}")
            lists.append("{" + ",".join([_element(value) for value in column]) + "}")
    given = f"unnest({', '.join(arrays)}) AS given({', '.join(named)})"
    yield f"SELECT {', '.join(picked)} FROM {given}", [*values, *lists]  # noqa: S608  types of columns, no values


def _element(value: Any) -> str:
    if value is None:
        return "NULL"
    if isinstance(value, int | float) and not isinstance(value, bool):
        return repr(value)
    return '"' + _text(value).translate(ARRAY_SIGNS) + '"'


def _values(connection: BaseDatabaseWrapper, fields: list[Any], columns: Columns) -> Iterator[Statement]:
    at_once, length = max(1, MOST_VALUES // len(fields)), _length(columns)
    one = f"({', '.join(['%s'] * len(fields))})"
    whole = [
        [field.get_db_prep_save(column.value, connection)] * length
        if isinstance(column, Same)
        else [field.get_db_prep_save(value, connection) for value in column]
        for field, column in zip(fields, columns.values(), strict=True)
    ]
    rows = list(zip(*whole, strict=True))
    for first in range(0, length, at_once):
        some = rows[first : first + at_once]
        yield f"VALUES {', '.join([one] * len(some))}", [value for row in some for value in row]
