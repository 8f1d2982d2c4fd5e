"""Columns made from other columns by rules, before fields are mapped.

A source may say in several columns what one field of ours holds, or say it in a way that depends on
other columns (a lane mark beside each side, a direction relative to the traffic). Such readings are
data: a list of rules per new column, of which the first that fits a row fills it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from fnmatch import fnmatchcase
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from pydantic import model_validator
from pydantic_core import PydanticCustomError

from layoutgen.config import Params, choice, where

#: what a condition may ask besides columns: the side of the road that traffic keeps to
DRIVING_SIDE = "project.driving_side"


class ColumnRule(Params):
    """One rule of `[inputs.<role>.columns]`: where `when` holds, the cell is a value or a copy."""

    take: str = choice("", source="design", text="column to copy from, where it is filled")
    value: str | int | float | bool | None = choice(
        None, source="design", text="value to write; empty = unknown, and no later rule is asked"
    )
    when: dict[str, Any] = choice(
        {}, source="design", text="conditions on columns; empty text = not filled, ?* = filled"
    )

    @model_validator(mode="after")
    def _one_of_two(self) -> ColumnRule:
        if bool(self.take) == (self.value is not None):
            text = "a rule needs either `take` (a column) or `value`"
            raise PydanticCustomError("custom", "{text}", {"text": text})
        return self


Rules = Mapping[str, Sequence[ColumnRule]]


def asked_columns(rules: Rules) -> set[str]:
    """Columns that rules read and that are not made by rules."""
    names = {name for own in rules.values() for rule in own for name in _reads(rule)}
    return names - set(rules) - {DRIVING_SIDE}


def with_columns(
    table: pd.DataFrame, rules: Rules, text: Callable[[Any], str], side: str
) -> dict[str, pd.Series[Any]]:
    """The new columns, in the order of the rules; a later one may read an earlier one.

    Args:
        table: the source's rows; columns that it lacks count as empty.
        rules: new column -> its rules.
        text: how a cell reads as text.
        side: driving side of the project.
    """
    empty = pd.Series("", index=table.index, dtype=object)
    texts: dict[str, pd.Series[Any]] = {DRIVING_SIDE: empty + side}
    for name in sorted(asked_columns(rules)):
        texts[name] = table[name].map(text) if name in table.columns else empty
    for name, own in rules.items():
        texts[name] = _filled(own, texts, empty, text)
    return {name: texts[name] for name in rules}


def _filled(
    rules: Sequence[ColumnRule],
    texts: Mapping[str, pd.Series[Any]],
    empty: pd.Series[Any],
    text: Callable[[Any], str],
) -> pd.Series[Any]:
    """One column: the first rule that fits a row fills it."""
    out = empty.copy()
    open_ = np.ones(len(out), dtype=bool)
    for rule in rules:
        fits = open_ & _matches(rule.when, texts, len(out))
        if rule.take:
            source = texts.get(rule.take, empty)
            fits &= (source != "").to_numpy()
            out[fits] = source[fits]
        else:
            out[fits] = text(rule.value)
        open_ &= ~fits
    return out


def _matches(
    when: Mapping[str, Any], texts: Mapping[str, pd.Series[Any]], rows: int
) -> NDArray[np.bool_]:
    keep = np.ones(rows, dtype=bool)
    for name, wanted in when.items():
        column = texts[name]
        answer = {t: _holds(t, wanted) for t in column.unique()}
        keep &= column.map(answer).to_numpy(dtype=bool)
    return keep


def _holds(text: str, wanted: Any) -> bool:
    if isinstance(wanted, list):
        return any(_holds(text, one) for one in wanted)
    if wanted == "":
        return text == ""
    if isinstance(wanted, str) and any(sign in wanted for sign in "*?"):
        return fnmatchcase(text.casefold(), wanted.casefold())
    return where({"": wanted}).matches({"": text})


def _reads(rule: ColumnRule) -> Iterator[str]:
    yield from ([rule.take] if rule.take else [])
    yield from rule.when
