"""Questions to the database that are asked on every page, put into SQL once and not at every asking.

Django writes a query's SQL anew each time, and for a page's dozen short questions that costs more than the answers.
A prepared question is written as any other, with `Slot`s where its values go; the SQL made of it is kept for each
shape (which values are given, and how long the lists are), and only the values are put in. The database is asked every
time: nothing that was found is kept."""

from __future__ import annotations

from collections.abc import Callable, Collection
from copy import copy
from dataclasses import dataclass
from types import SimpleNamespace
from typing import Any, Generic, TypeVar, Union

from django.core.exceptions import EmptyResultSet
from django.db import connections
from django.db.models import (
    BigIntegerField,
    CharField,
    DateField,
    DateTimeField,
    Expression,
    Field,
    QuerySet,
    UUIDField,
)
from django.db.models.functions import Coalesce

Row = TypeVar("Row")
MOST_SHAPES = 64


def stored(name: str) -> Expression:
    """A day or a time as the database has it: SQLite's driver makes a value of each one that stands in a question as a plain column, also where rows
    are only compared."""
    return Coalesce(name, name)


@dataclass(frozen=True)
class Many:
    """Says that a slot takes a list of such values."""

    of: Field[Any, Any]


Kind = Union["Field[Any, Any]", Many]
Raw = tuple[tuple[Any, ...], ...]
KEY, NUMBER, WORD, DAY, MOMENT = UUIDField(), BigIntegerField(), CharField(), DateField(), DateTimeField()
KEYS, NUMBERS, WORDS = Many(KEY), Many(NUMBER), Many(WORD)


@dataclass(frozen=True, eq=False)
class _Gap:
    """Where in the parameters of the SQL a value goes, and as what."""

    name: str
    field: Field[Any, Any]
    index: int | None

    def fill(self, values: dict[str, Any], connection: Any) -> Any:
        value = values[self.name] if self.index is None else values[self.name][self.index]
        return self.field.get_db_prep_value(value, connection, prepared=False)


class Slot(Expression):
    """Stands in a question for a value, or for a list of so many, that comes when it is asked."""

    def __init__(self, name: str, field: Field[Any, Any], length: int | None = None) -> None:
        super().__init__(output_field=field)
        self.name, self.length = name, length

    def as_sql(self, _compiler: Any, _connection: Any) -> tuple[str, Any]:
        if self.length is None:
            return "%s", [_Gap(self.name, self.output_field, None)]
        gaps = [_Gap(self.name, self.output_field, index) for index in range(self.length)]
        return f"({', '.join(['%s'] * self.length)})", gaps


class _Plan(Generic[Row]):
    """One shape of a question with its SQL."""

    def __init__(self, rows: QuerySet[Any, Row]) -> None:
        if rows._prefetch_related_lookups:  # type: ignore[attr-defined]  # the stubs leave it out
            raise ValueError(
                "A prepared question cannot prefetch: ask for the rest with a question of its own."
            )
        self.using, query = rows.db, rows.query
        self.compiler = query.get_compiler(using=self.using)
        try:
            self.sql, self.params = self.compiler.as_sql()
        except EmptyResultSet:
            self.sql = ""
        self.iterable: Any = rows._iterable_class
        self.query = {
            "selected": query.selected,
            "extra_select": query.extra_select,
            "values_select": query.values_select,
            "annotation_select": query.annotation_select,
        }
        self.rows = {
            "db": self.using,
            "model": rows.model,
            "_fields": rows._fields,  # type: ignore[attr-defined]  # the stubs leave it out
            "_known_related_objects": {},
        }

    def _filled(self, values: dict[str, Any]) -> tuple[Any, ...]:
        connection = connections[self.using]
        return tuple(p.fill(values, connection) if isinstance(p, _Gap) else p for p in self.params)

    def raw(self, values: dict[str, Any]) -> Raw:
        if not self.sql:
            return ()
        with connections[self.using].cursor() as cursor:
            cursor.execute(self.sql, self._filled(values))
            return tuple(map(tuple, cursor.fetchall()))

    def read(self, rows: Raw) -> list[tuple[Any, ...]]:
        compiler = copy(self.compiler)
        compiler.connection = connections[self.using]
        return [tuple(row) for row in compiler.results_iter([rows])]

    def ask(self, values: dict[str, Any]) -> list[Row]:
        if not self.sql:
            return []
        connection, params = connections[self.using], self._filled(values)
        compiler = copy(self.compiler)  # its own for each asking, and on the asker's own connection
        compiler.connection = connection
        compiler.as_sql = lambda *_with, **_options: (self.sql, params)
        query = SimpleNamespace(get_compiler=lambda *_with, **_options: compiler, **self.query)
        return list(self.iterable(SimpleNamespace(query=query, **self.rows)))


class Prepared(Generic[Row]):
    """A question whose SQL is kept. Call it with the values by name; a value that is None counts as not given, and an
    empty list finds nothing."""

    def __init__(self, build: Callable[..., QuerySet[Any, Row]], kinds: dict[str, Kind]) -> None:
        self.build, self.kinds, self.__doc__ = build, kinds, build.__doc__
        self.plans: dict[tuple[Any, ...], _Plan[Row]] = {}

    def __call__(self, **values: Any) -> list[Row]:
        given = self._given(values)
        return [] if given is None else self._plan(given).ask(given)

    def raw(self, **values: Any) -> Raw:
        """Rows just as the driver gives them, the one database otherwise than the other: to be compared with each other, and then to be `read`."""
        given = self._given(values)
        return () if given is None else self._plan(given).raw(given)

    def read(self, rows: Raw) -> list[tuple[Any, ...]]:
        """The values of raw rows that this question found."""
        return next(iter(self.plans.values())).read(rows) if rows else []

    def _given(self, values: dict[str, Any]) -> dict[str, Any] | None:
        """The values that count; None where an empty list finds nothing."""
        given: dict[str, Any] = {}
        for name, value in values.items():
            if value is None:
                continue
            given[name] = list(value) if isinstance(self.kinds[name], Many) else value
            if given[name] == []:
                return None
        return given

    def _plan(self, given: dict[str, Any]) -> _Plan[Row]:
        shape = tuple((name, self._length(name, given[name])) for name in sorted(given))
        plan = self.plans.get(shape)
        if plan is None:
            if len(self.plans) >= MOST_SHAPES:
                self.plans.clear()
            plan = self.plans[shape] = _Plan(self.build(**{n: self._slot(n, length) for n, length in shape}))
        return plan

    def first(self, **values: Any) -> Row | None:
        """The first row found; the question says itself in what order, and how many at most."""
        return next(iter(self(**values)), None)

    def _length(self, name: str, value: Collection[Any]) -> int | None:
        return len(value) if isinstance(self.kinds[name], Many) else None

    def _slot(self, name: str, length: int | None) -> Slot:
        kind = self.kinds[name]
        return Slot(name, kind.of, length) if isinstance(kind, Many) else Slot(name, kind)


def prepared(**kinds: Kind) -> Callable[[Callable[..., QuerySet[Any, Row]]], Prepared[Row]]:
    """Makes a prepared question of a function that writes it: `kinds` says of each of its arguments what field's value
    it takes. The function is called with slots, once for each shape, never with values."""

    def make(build: Callable[..., QuerySet[Any, Row]]) -> Prepared[Row]:
        return Prepared(build, kinds)

    return make
