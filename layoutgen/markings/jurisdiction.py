"""Whose rule a row of the standard is, and how a breach of it is told."""

from __future__ import annotations

import re
from collections.abc import Mapping

from layoutgen.errors import Severity
from layoutgen.markings.catalog import standard_rows

#: first word of the strength -> severity of a breach; others (options, practice) give a notice
_SEVERITY: Mapping[str, Severity] = {
    "standard": "error",
    "guidance": "warning",
    "should": "warning",
}
_STATES = (
    *("Alabama", "Alaska", "Arizona", "Arkansas", "California", "Colorado", "Florida", "Georgia"),
    *("Idaho", "Maryland", "Missouri", "Oregon", "Washington"),
)
#: source or item -> whose it is, in this order; the first that fits counts
_MARKS: tuple[tuple[str, str, str], ...] = (
    ("item", r"\(CA\b|\bCA\)|, CA\b", "california"),
    ("section", r"^CA\b", "california"),
    ("source", r"^Cal(ifornia MUTCD|trans)", "california"),
    ("item", r"\b(19|20)\d\d (edition|figure)|Older MUTCD", "superseded"),
    ("source", r"^MUTCD 20(03|09)( section| as quoted)", "superseded"),
    ("source", r"Arlington", "arlington_tx"),
    ("source", r"San Antonio", "san_antonio"),
    ("source", r"Seattle", "seattle"),
    ("source", r"Everett", "everett"),
    ("source", r"Barton County", "barton_county"),
    ("source", r"Orlando|Tactical Urban|[Cc]onsultant", "quick_build"),
    ("item", r"used by AK", "alaska"),
    ("item", r"used by MO", "missouri"),
    ("item", r"used by ([A-Z]{2})\b", "other_states"),
    ("item", r"widths used", "other_states"),
    ("source", r"^(several|Standard Highway Signs / several) state", "other_states"),
)
#: figures of an older edition that the row itself calls by its year stay federal: they still hold
_HELD = re.compile(r"(Min|Max)imum triangle")


def jurisdiction(row: Mapping[str, str]) -> str:
    """`federal`, a state or city in lower case, `superseded`, or a practice of others."""
    if _HELD.search(row["item"]):
        return "federal"
    for column, pattern, whose in _MARKS:
        if re.search(pattern, row[column]):
            return whose
    named = re.search(rf"\b({'|'.join(_STATES)})\b", f"{row['item']} {_own_source(row['source'])}")
    return named[1].lower() if named else "federal"


def jurisdictions() -> tuple[str, ...]:
    """All there are, federal first."""
    found = {jurisdiction(row) for row in standard_rows().values()}
    return ("federal", *sorted(found - {"federal"}))


def severity(row: Mapping[str, str]) -> Severity:
    """How a breach of a row is told by its strength."""
    return _SEVERITY.get(row["strength"].split(" ")[0], "notice")


def _own_source(source: str) -> str:
    """A source without the place where it was read, which is no place where it holds."""
    return re.sub(r"\(as adopted.*?\)", "", source)
