"""Work records: what was painted, by section, from a log of the crew.

A log row names a section, or a marking or job whose sections share its amounts by area. Rows that
fit nothing, say nothing that is understood, or come twice are findings; the rest become records. A
record remembers the area of its section: after the layout has changed there it no longer counts.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
from pyogrio.errors import DataSourceError

from layoutgen.config import nearest
from layoutgen.errors import Finding, InputError
from layoutgen.gis.schema import layer
from layoutgen.work.jobs import DONE

#: what a log may say of a section
RESULTS = ("painted", "failed", "skipped")
#: columns that name what was painted, the most exact first
_NAMES = ("section_id", "marking_id", "job_id")
_AMOUNTS = ("paint_gal", "beads_lb", "minutes")
_TEXTS = ("date", "time", "result", "inspection", "note")
#: piece of a job as its card numbers it, instead of the id of a section
_NUMBER = "no"
#: a section whose area changed by more than this share is another one
_SAME_SHARE = 0.01
_DIGITS = 4


def read_log(path: Path) -> pd.DataFrame:
    """Rows of a log, CSV or GeoJSON, with every column that is used; numbers not read yet.

    Raises:
        InputError: no such file, not readable, or without a column that names work or a result.
    """
    table = _table_of(path)
    table.columns = [str(c).strip().lower() for c in table.columns]
    if not any(name in table for name in _NAMES):
        raise InputError(f"{path}: needs a column section_id, marking_id or job_id.")
    if "result" not in table:
        raise InputError(f"{path}: needs a column result with {', '.join(RESULTS)}.")
    every = [*_NAMES, _NUMBER, *_TEXTS, *_AMOUNTS]
    found = table.reindex(columns=every).astype(object).fillna("").astype(str)
    clean: pd.DataFrame = found.apply(lambda column: column.str.strip())
    return clean.assign(row=np.arange(2, len(table) + 2))


def _table_of(path: Path) -> pd.DataFrame:
    if not path.is_file():
        raise InputError(f"{path}: no such file.")
    try:
        if path.suffix.lower() == ".csv":
            read: pd.DataFrame = pd.read_csv(
                path, dtype=str, keep_default_na=False, encoding="utf-8-sig"
            )
            return read
        found: pd.DataFrame = pyogrio.read_dataframe(path, read_geometry=False)
        return found.astype(str)
    except (DataSourceError, ValueError, OSError) as fault:
        raise InputError(f"{path}: cannot be read as a log, CSV or GeoJSON ({fault}).") from None


def match(
    log: pd.DataFrame, sections: pd.DataFrame, records: pd.DataFrame
) -> tuple[pd.DataFrame, list[Finding]]:
    """New rows of layer `records`, and findings for the log rows that give none.

    Args:
        log: answer of `read_log`.
        sections: layer `sections`.
        records: layer `records` so far; may be empty.
    """
    findings: list[Finding] = []
    made: list[dict[str, Any]] = []
    done = set(records.loc[records["result"] == DONE, "section_id"]) if len(records) else set()
    seen = {_entry(one) for one in records.to_dict("records")}
    planned = _planned(sections, records)
    for row in log.to_dict("records"):
        fault, own = _understood(row, planned)
        if fault:
            findings.append(fault)
            continue
        painted = row["result"] == DONE
        entries = {one: _entry({**row, "section_id": one}) for one in own["section_id"]}
        repeats = [i for i, e in entries.items() if (painted and i in done) or e in seen]
        if repeats:
            findings.append(_twice(row, repeats))
            own = own[~own["section_id"].isin(repeats)]
        made += _shared(row, own)
        done |= set(own["section_id"]) if painted else set()
        seen |= {entries[one] for one in own["section_id"]}
    first = len(records) + 1
    numbered = [{"record_id": f"r{k:06d}", **one} for k, one in enumerate(made, start=first)]
    return pd.DataFrame(numbered, columns=_columns()), findings


def _entry(row: Mapping[Any, Any]) -> tuple[str, ...]:
    """What makes two entries the same one."""
    return tuple(str(row[name] or "") for name in ("section_id", "date", "time", "result"))


def _planned(sections: pd.DataFrame, records: pd.DataFrame) -> pd.DataFrame:
    """Sections; those that a later route took out of their job have the job they were done in."""
    if records.empty:
        return sections
    was = records.drop_duplicates("section_id", keep="last").set_index("section_id")["job_id"]
    now = sections["job_id"].fillna("").astype(object)
    return sections.assign(job_id=now.where(now != "", sections["section_id"].map(was).fillna("")))


def _columns() -> list[str]:
    return [column.name for column in layer("records").columns]


def _understood(
    row: Mapping[Any, Any], sections: pd.DataFrame
) -> tuple[Finding | None, pd.DataFrame]:
    """The sections that a log row means, or why it means none."""
    name = next((n for n in _NAMES if row[n]), None)
    none = sections.iloc[:0]
    if name is None:
        return _finding(row, "record_without_id", "names no section, marking or job"), none
    own = sections[sections[name] == row[name]]
    if name == "job_id" and row["no"]:
        own = own[own["sequence"].astype(str) == row["no"]]
    if own.empty:
        hint = nearest(row[name], sections[name].unique()).split(" Valid:")[0]
        text = f"{name} {row[name]!r} is not in this layout.{hint}"
        return _finding(row, "record_unknown_id", text), none
    if row["result"] not in RESULTS:
        hint = nearest(row["result"], RESULTS)
        text = f"result {row['result']!r} is not understood.{hint}"
        return _finding(row, "record_unknown_result", text), none
    for amount in _AMOUNTS:
        if row[amount] and not _is_amount(row[amount]):
            text = f"{amount} {row[amount]!r} is no amount; write a number, 0 or more"
            return _finding(row, "record_bad_amount", text), none
    return None, own


def _is_amount(text: str) -> bool:
    try:
        value = float(text)
    except ValueError:
        return False
    return bool(np.isfinite(value) and value >= 0.0)


def _finding(row: Mapping[Any, Any], code: str, text: str) -> Finding:
    named = next((row[n] for n in _NAMES if row[n]), "")
    fix = "correct the row and record the log again; what was entered before is told as a repeat"
    return Finding(
        code, "error", "record", named, f"row {row['row']} of the log: {text}", fix, None
    )


def _twice(row: Mapping[Any, Any], repeats: list[str]) -> Finding:
    text = (
        f"row {row['row']} of the log: {len(repeats)} section(s) are recorded as painted already, "
        f"the first {repeats[0]}; the earlier record counts"
    )
    fix = "nothing, if the log was recorded before; else check the ids"
    return Finding("record_twice", "warning", "record", repeats[0], text, fix)


def _shared(row: Mapping[Any, Any], own: pd.DataFrame) -> list[dict[str, Any]]:
    """Records of the sections of a row; its amounts by their area.

    Minutes of more than one section hold cones and waits too, so they say nothing of painting.
    """
    total = float(own["area_sqft"].sum())
    shares = own["area_sqft"].to_numpy() / total if total > 0.0 else np.zeros(len(own))
    amounts = {n: float(row[n]) if row[n] else np.nan for n in _AMOUNTS}
    amounts["minutes"] = amounts["minutes"] if len(own) == 1 else np.nan
    return [
        {
            "section_id": section["section_id"],
            "marking_id": section["marking_id"],
            "job_id": section["job_id"],
            **{name: row[name] for name in _TEXTS},
            "color": section["color"],
            "material": section["material"],
            "area_sqft": section["area_sqft"],
            **{name: round(value * share, _DIGITS) for name, value in amounts.items()},
        }
        for section, share in zip(own.to_dict("records"), shares, strict=True)
    ]


def with_status(
    sections: gpd.GeoDataFrame, records: pd.DataFrame
) -> tuple[gpd.GeoDataFrame, list[Finding]]:
    """Sections with the status that their latest record gives, and records that no longer count."""
    if records.empty:
        return sections.assign(status="open"), []
    latest = records.sort_values("record_id", kind="stable")
    latest = latest[latest["result"] != "skipped"].drop_duplicates("section_id", keep="last")
    joined = latest.merge(
        sections[["section_id", "area_sqft"]], on="section_id", how="left", suffixes=("", "_now")
    )
    share = (joined["area_sqft_now"] - joined["area_sqft"]).abs() / joined["area_sqft"]
    same = share.le(_SAME_SHARE)  # a section that is gone compares as False
    kept = joined[same].set_index("section_id")["result"]
    status = sections["section_id"].map(kept).astype(object).fillna("open")
    return sections.assign(status=status), [
        _outdated(one) for one in joined.loc[~same, "section_id"]
    ]


def _outdated(section_id: str) -> Finding:
    return Finding(
        code="record_outdated",
        severity="warning",
        source="record",
        feature_id=str(section_id),
        text="a record names this section, which is gone or has changed; the record does not count",
        fix="inspect the place; record the section again if its paint is there",
    )


def totals(records: pd.DataFrame, sections: pd.DataFrame) -> pd.DataFrame:
    """Used against planned, by color and material, over painted sections with an amount."""
    done = records[records["result"] == DONE]
    joined = done.merge(sections, on="section_id", suffixes=("", "_planned"))
    keys = ["color", "material"]
    rows = []
    for (color, material), part in joined.groupby(keys, sort=True):
        row: dict[str, Any] = {"color": color, "material": material, "sections": len(part)}
        for name in _AMOUNTS:
            told = part[part[name].notna()]
            row[f"{name}_used"] = round(float(told[name].sum()), _DIGITS)
            row[f"{name}_planned"] = round(float(told[f"{name}_planned"].sum()), _DIGITS)
        rows.append(row)
    return pd.DataFrame(rows)
