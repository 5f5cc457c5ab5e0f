"""All rows of all tables, so that two loads can be compared."""

from typing import Any

from django.apps import apps
from django.db.models import AutoField, ForeignKey, Model

SALTED = {"staff_user": {"password"}}
"""What is random by design: the salt of a password."""


def _numbered(model: type[Model]) -> bool:
    return isinstance(model._meta.pk, AutoField)


def _places(model: type[Model]) -> dict[Any, int]:
    keys = model._default_manager.order_by("pk").values_list("pk", flat=True)
    return {key: number for number, key in enumerate(keys)}


def dump() -> dict[str, list[tuple[Any, ...]]]:
    """Rows by table. A number given by the database stands as its place in the order, so that a sequence that went
    on counting makes no difference; an id of our own stands as it is."""
    models = [
        m
        for m in apps.get_models(include_auto_created=True)
        if m._meta.app_label not in ("contenttypes", "auth")
    ]
    places = {model: _places(model) for model in models if _numbered(model)}
    return {model._meta.db_table: _rows(model, places) for model in models}


def _rows(model: type[Model], places: dict[type[Model], dict[Any, int]]) -> list[tuple[Any, ...]]:
    left_out = SALTED.get(model._meta.db_table, set())
    fields = [f for f in model._meta.concrete_fields if f.attname not in left_out]
    rows = model._default_manager.order_by("pk").values_list(*[f.attname for f in fields])
    maps = [places.get(f.related_model if isinstance(f, ForeignKey) else model) if isinstance(f, ForeignKey) or f.primary_key else None for f in fields]  # fmt: skip
    return [
        tuple(value if way is None else way.get(value) for value, way in zip(row, maps, strict=True))
        for row in rows
    ]
