"""Frozen records, changed a few fields at a time."""

from __future__ import annotations

from dataclasses import fields, is_dataclass
from typing import Any, TypeVar

T = TypeVar("T")


def changed(record: T, **values: Any) -> T:
    """`dataclasses.replace` of a frozen record, several times as fast; whole cities need it.

    Only for records that keep their fields in `__dict__` and compute nothing when they are made.

    Raises:
        TypeError: no record, or no such field.
    """
    names = getattr(type(record), "__dataclass_fields__", {})
    if not names or not values.keys() <= names.keys():
        raise TypeError(_refusal(record, values))
    own = record.__dict__
    out = object.__new__(type(record))
    # values that cached properties left there belong to the old record
    kept = own if len(own) == len(names) else {name: own[name] for name in names}
    out.__dict__.update(kept)
    out.__dict__.update(values)
    return out


def _refusal(record: Any, values: dict[str, Any]) -> str:
    kind = type(record).__name__
    if not is_dataclass(record):
        return f"{kind} is no record"
    known = {field.name for field in fields(record)}
    return f"{kind} has no field {', '.join(sorted(values.keys() - known))}"
