"""Tables joined to the streets by id (inputs `speed`, `lanes`, `width`), before cleaning.

A table is made later than the street lines, so its value counts (`precedence`); where it says
something else than the line does, a finding counts how often. Left, right and forward are relative
to the direction of the street line. Rows = rows used + rows in findings.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import pandas as pd

from layoutgen.errors import Finding
from layoutgen.gis.roles import role
from layoutgen.street.precedence import ATTRIBUTE, JOINED, TABLE

#: column of the street table: names of the joined tables whose value counts
TABLED = "tabled"
_WHOLE = re.compile(r"^([-+]?\d+)\.0+$")
_MOST_IDS = 5
_COUNTS = ("lanes", "lanes_forward", "lanes_backward")
_TURNS = ("turn_lanes_forward", "turn_lanes_backward")
#: smaller differences are rounding
_SAME = 0.05

Row = Mapping[str, Any]


@dataclass(frozen=True)
class _Joined:
    """Streets with the values of one table, and the ids where the street said something else."""

    rows: list[dict[str, Any]]
    overruled: list[str]


def join_tables(
    tables: Mapping[str, gpd.GeoDataFrame],
) -> tuple[gpd.GeoDataFrame, list[Finding]]:
    """Street table with the values of all joined tables, and column `tabled`; findings."""
    streets = tables["streets"]
    findings: list[Finding] = []
    names = [name for name in JOINED if name in tables]
    if not names:
        return streets, []
    plain = streets.drop(columns=streets.geometry.name)
    rows = [{str(k): _known(v) for k, v in row.items()} for row in plain.to_dict("records")]
    keys = {_key(row["segment_id"]) for row in rows} - {""}
    for name in names:
        by_id, found = _rows_by_id(name, tables[name], keys)
        done = _filled(name, rows, by_id)
        rows = done.rows
        findings += found + _overruled(name, done.overruled)
    columns = {
        c: pd.Series([row.get(c) for row in rows], dtype=object, index=streets.index)
        for c in [*plain.columns, TABLED]
    }
    return streets.assign(**columns), findings


def _known(value: Any) -> Any:
    """A cell, or None where it is missing."""
    return None if value is None or value != value else value


def _key(value: Any) -> str:
    """An id as all files write it alike: 12, 12.0 and " 12 " are one id; "012" is another."""
    text = "" if _known(value) is None else " ".join(str(value).split())
    match = _WHOLE.match(text)
    return match.group(1) if match else text


def _rows_by_id(
    name: str, table: gpd.GeoDataFrame, keys: set[str]
) -> tuple[dict[str, Row], list[Finding]]:
    """The row of every street id, and findings about all rows that cannot be used."""
    fields = [f.name for f in role(name).fields[1:]]
    records = [{str(k): _known(v) for k, v in row.items()} for row in table.to_dict("records")]
    no_id = [row for row in records if not _key(row["segment_id"])]
    by_id: dict[str, list[Row]] = {}
    for row in records:
        if _key(row["segment_id"]):
            by_id.setdefault(_key(row["segment_id"]), []).append(row)
    unknown = sorted(set(by_id) - keys)
    out: dict[str, Row] = {}
    again: list[str] = []
    differ: list[str] = []
    empty: list[str] = []
    for key in sorted(set(by_id) & keys):
        values = [{f: row.get(f) for f in fields} for row in by_id[key]]
        if any(v != values[0] for v in values):
            differ.append(key)
        elif all(v is None for v in values[0].values()):
            empty.append(key)
        else:
            out[key] = values[0]
            again += [key] * (len(values) - 1)
    count = {key: len(rows) for key, rows in by_id.items()}
    said = (
        ("join_no_id", [""] * len(no_id), "have no id", "fill in segment_id"),
        ("join_unknown_id", _times(unknown, count), "have an id that no street has",
         "correct the ids; nothing to do where the table covers more than the streets"),
        ("join_duplicate_id", again, "repeat another row", "delete the repeated rows"),
        ("join_contradiction", _times(differ, count),
         "share an id but not their values; none of them is used", "leave one row per street"),
        ("join_no_value", _times(empty, count), "have no value", "fill in the values"),
    )  # fmt: skip
    return out, [_told(name, *one) for one in said if one[1]]


def _times(keys: Sequence[str], count: Mapping[str, int]) -> list[str]:
    """Every id as often as it has rows."""
    return [key for key in keys for _ in range(count[key])]


def _told(name: str, code: str, ids: Sequence[str], text: str, fix: str) -> Finding:
    severity: Any = "notice" if code == "join_duplicate_id" else "warning"
    said = f"{len(ids)} rows {text}{_examples(ids)}"
    return Finding(code, severity, name, "", said, fix, rows=len(ids))


def _examples(ids: Sequence[str]) -> str:
    """`: a, b, ...` of the first ids, each once."""
    distinct = [i for i in dict.fromkeys(ids) if i]
    more = ", ..." if len(distinct) > _MOST_IDS else ""
    return f": {', '.join(distinct[:_MOST_IDS])}{more}" if distinct else ""


def _filled(name: str, rows: Sequence[Row], by_id: Mapping[str, Row]) -> _Joined:
    """Streets with the values that win of one table."""
    out: list[dict[str, Any]] = []
    overruled: list[str] = []
    for street in rows:
        own = by_id.get(_key(street["segment_id"]))
        new = dict(street)
        if own is not None:
            new |= _winning(name, street, own)
            if _says_else(name, street, own):
                overruled.append(_key(street["segment_id"]))
        out.append(new)
    return _Joined(out, overruled)


def _winning(name: str, street: Row, own: Row) -> dict[str, Any]:
    """Fields of one street after the table has spoken; `tabled` grows where its value counts."""
    order = JOINED[name]
    counted = any(street.get(f) is not None for f in _COUNTS)
    if order.best({TABLE: False, ATTRIBUTE: True})[0]:
        own = {f: v for f, v in own.items() if street.get(f) is None}
        own = {f: v for f, v in own.items() if not (counted and f in _COUNTS)}
    given = {f: v for f, v in own.items() if v is not None and f != "segment_id"}
    out = dict(given)
    decides = bool(given)
    if name == "lanes":
        out |= _displaced(street, given)
        decides = bool(given.keys() & {*_COUNTS}) or (
            not counted and bool(given.keys() & {*_TURNS})
        )
    if decides:
        out[TABLED] = (*(street.get(TABLED) or ()), name)
    return out


def _displaced(street: Row, given: Row) -> dict[str, Any]:
    """Lane counts of the street that would speak against those of the table, blanked.

    A total of the table displaces the street's counts per direction; a count per direction leaves
    the street's total in force only where that leaves a lane for the other direction.
    """
    if given.get("lanes") is not None:
        return {f: given.get(f) for f in _COUNTS}
    return {"lanes": None} if _exceeds(street, given) else {}


def _exceeds(street: Row, given: Row) -> bool:
    """Whether lanes per direction of the table leave nothing of the street's own total."""
    ways = sum(given.get(f) or 0 for f in _COUNTS[1:])
    own = given.get("center_turn_lane")
    center = street.get("center_turn_lane") if own is None else own
    total = street.get("lanes")
    return bool(ways) and total is not None and total <= ways + int(bool(center))


def _says_else(name: str, street: Row, own: Row) -> bool:
    """Whether street and table both say something, and not the same."""
    pairs = [(street.get(f), v) for f, v in own.items()]
    if name == "lanes":
        way = str(street.get("oneway") or "both")
        pairs.append((_total(street, way), _total(own, way)))
        one_way_left = way == "both" and (own.get(_COUNTS[1]) is None) != (
            own.get(_COUNTS[2]) is None
        )
        if one_way_left and _exceeds(street, own):
            return True
    return any(a is not None and b is not None and not _same(a, b) for a, b in pairs)


def _total(row: Row, oneway: str) -> int | None:
    """Lanes of all directions together, center lane included, where that is known."""
    if row.get("lanes") is not None:
        return int(row["lanes"])
    if oneway != "both":
        count = row.get(f"lanes_{oneway}")
        return None if count is None else int(count)
    ways = [row.get("lanes_forward"), row.get("lanes_backward")]
    if None in ways:
        return None
    return sum(int(w) for w in ways if w is not None) + int(bool(row.get("center_turn_lane")))


def _same(a: Any, b: Any) -> bool:
    if isinstance(a, int | float) and isinstance(b, int | float):
        return abs(a - b) <= _SAME
    return bool(a == b)


def _overruled(name: str, ids: Sequence[str]) -> list[Finding]:
    """One finding for all streets whose own value the table contradicts."""
    if not ids:
        return []
    order = JOINED[name]
    wins, _ = order.best({TABLE: "the table", ATTRIBUTE: "the street line"})
    text = (
        f"{name} of {len(ids)} streets differs between the table and the street lines; "
        f"{wins} counts{_examples(sorted(ids))}"
    )
    fix = "correct whichever is wrong"
    return [Finding("table_and_street_differ", "warning", name, "", text, fix)]
