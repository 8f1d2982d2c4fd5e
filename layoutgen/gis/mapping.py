"""Which column is which field, and what its codes mean: by its name and by its values.

A column is proposed where both fit. What is doubtful is kept as an inactive line, or as a
code without a meaning, for the user to fill in.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from fnmatch import fnmatchcase
from functools import lru_cache
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd

from layoutgen.gis.names import base_inputs, known_names, name_words, plain_name
from layoutgen.gis.read import InputParams, map_fields
from layoutgen.gis.roles import Field, Role

_FEW = 12  # codes that may all be given one meaning
_LEAST = 0.35  # less sure lines are written as comments
_SEEN, _WORDS, _WEAK = 1.0, 0.8, 0.5
_LANE_CODE = re.compile(r"^[LTR]+([-|,/][LTR]+)*$")
_LANE_WORD = {"L": "left", "T": "through", "R": "right"}
_LEGENDS = ("street_class", "parking", "bike_lane", "control", "facility")  # worth a legend by hand
_UNKNOWN = ("unknown", "unk", "n/a", "null", "<null>")


@dataclass(frozen=True)
class Match:
    """One proposed line: a field and the column or columns it comes from.

    Attributes:
        column: one name, or the names of parts to join.
        confidence: 0 to 1.
        why: the reason, for people.
        active: false = written as a comment only.
        values: (their code, our value or None = unknown, rows).
        unit: unit of their plain numbers, where it is not ours.
        drop: codes of rows that are no street.
    """

    role: str
    field: str
    column: str | tuple[str, ...]
    confidence: float
    why: str
    active: bool = True
    values: tuple[tuple[str, str | None, int], ...] = ()
    unit: str = ""
    drop: tuple[str, ...] = ()

    @property
    def columns(self) -> tuple[str, ...]:
        return (self.column,) if isinstance(self.column, str) else self.column


@dataclass(frozen=True)
class Unmapped:
    """What the proposal leaves open for one role."""

    role: str
    columns: tuple[str, ...]
    fields: tuple[str, ...]


@dataclass(frozen=True, eq=False)
class Look:
    """One layer of one source, read."""

    path: Path
    layer: str
    single: bool
    table: gpd.GeoDataFrame
    shape: str

    @property
    def label(self) -> str:
        return self.path.name if self.single else f"{self.path.name}, layer {self.layer}"

    @property
    def columns(self) -> list[str]:
        return [str(c) for c in self.table.columns if c != self.table.geometry.name]


@dataclass(frozen=True)
class Pick:
    """The layer chosen for a role; `base` = shipped settings file that maps it."""

    role: Role
    look: Look
    score: float
    base: str = ""


def matches_of(pick: Pick) -> tuple[list[Match], Unmapped]:
    """Proposed lines of a role, in the order of its fields, and what is left open."""
    found = all_matches(pick.look, pick.role)
    if pick.base:
        found = _with_base(pick, found)
    elif pick.role.name == "controls":
        found = [*found, *_one_kind(pick.look, found)]
    used = {c for m in found if m.active for c in m.columns}
    mapped = {m.field for m in found if m.active and m.columns}
    columns = tuple(c for c in pick.look.columns if c not in used and c != "other_tags")
    fields = tuple(f.name for f in pick.role.fields if f.name not in mapped)
    return found, Unmapped(pick.role.name, columns, fields)


def shared_ids(one: tuple[Look, str], other: tuple[Look, str]) -> float:
    """Share of the distinct ids in a column of one layer that a column of another has too."""
    own, theirs = ({str(v) for v in _texts(look.table, [column])} for look, column in (one, other))
    return len(own & theirs) / len(own) if own else 0.0


@lru_cache(maxsize=32)
def all_matches(look: Look, known: Role) -> list[Match]:
    """Best column of every field; a column serves one field."""
    pairs = [
        (s, f, c) for f in known.fields for c in look.columns if (s := _named(look, known, f, c))
    ]
    tried = [m for s, f, c in pairs if (m := _fit(look, known, f, (c, s))) is not None]
    tried.sort(key=lambda m: -m.confidence)
    chosen: dict[str, Match] = {}
    taken: set[str] = set()
    for match in tried:
        if match.field not in chosen and match.column not in taken:
            chosen[match.field] = match
            taken |= set(match.columns) if match.active else set()
    if "name" in chosen and known.name == "streets":
        chosen["name"] = _join_parts(look, chosen["name"], taken)
    for fld in known.fields:
        if fld.name in look.columns and fld.name not in {f for f, m in chosen.items() if m.active}:
            why = f"column {fld.name} holds something else: not used"
            chosen[fld.name] = Match(known.name, fld.name, (), 0.0, why)
    return [chosen[f.name] for f in known.fields if f.name in chosen]


def _one_kind(look: Look, found: Sequence[Match]) -> list[Match]:
    """A file that holds one kind of control and says so only in its name.

    The reader has no constants: every code of a column with few codes, and the empty cell, gets
    that kind.
    """
    title = name_words(f"{look.path.stem} {look.layer}")
    kinds = [("signal", {"signal", "signals"}), ("stop", {"stop"}), ("yield", {"yield"})]
    told = [kind for kind, words in kinds if title & words]
    if len(told) != 1 or any(m.field == "control" and m.active for m in found):
        return []
    used = {c for m in found for c in m.columns}
    counts = {c: _texts(look.table, [c]).value_counts() for c in look.columns if c not in used}
    few = min(
        (c for c in counts if len(counts[c]) <= _FEW), key=lambda c: len(counts[c]), default=""
    )
    if not few:
        return []
    rows = {str(code): int(n) for code, n in counts[few].items()}
    rows[""] = len(look.table) - sum(rows.values())
    values = tuple((code, told[0], n) for code, n in rows.items() if n)
    why = f"every row taken for a {told[0]}, after the name of the file"
    return [Match("controls", "control", few, 0.6, why, values=values)]


def _with_base(pick: Pick, found: Sequence[Match]) -> list[Match]:
    """Lines of the shipped settings file; ours where a column of it is missing, or as addition."""
    base = base_inputs(pick.base).get(pick.role.name, {}).get("fields", {})
    ours = {m.field: m for m in found if m.active and m.confidence >= 0.6}
    out = []
    for fld in pick.role.fields:
        columns = base.get(fld.name)
        if columns is None:
            out += [ours[fld.name]] if fld.name in ours and pick.base != "osm.toml" else []
            continue
        names = (columns,) if isinstance(columns, str) else tuple(columns)
        if set(names) <= set(pick.look.columns) or pick.base == "osm.toml":
            column = names[0] if len(names) == 1 else names
            out.append(Match(pick.role.name, fld.name, column, 0.95, f"by {pick.base}"))
        else:
            why = f"{pick.base} has {' + '.join(names)}, which is not in the file"
            none = Match(pick.role.name, fld.name, (), 0.0, why)
            out.append(ours.get(fld.name, none))
    return out


def _named(look: Look, known: Role, fld: Field, column: str) -> float:
    """How well a column's name fits a field, 0 to 1."""
    entry = known_names()["fields"].get(known.name, {}).get(fld.name, {})
    plain = plain_name(column)
    if any(fnmatchcase(plain, pattern) for pattern in entry.get("never", [])):
        return 0.0
    present = {plain_name(c) for c in look.columns}
    for rank, name in enumerate(entry.get("seen", [])):
        first, *other = [plain_name(part) for part in name.split("&")]
        if plain == first and set(other) <= present:
            return _SEEN + 0.02 * len(other) - min(0.01 * rank, 0.08)
    tokens = name_words(column)
    if plain == plain_name(fld.name):
        return _SEEN
    if any(_has_words(tokens, phrase) for phrase in entry.get("words", [])):
        return _WORDS
    return _WEAK if plain in {plain_name(n) for n in entry.get("weak", [])} else 0.0


def _has_words(tokens: set[str], phrase: str) -> bool:
    return all(tokens & set(group.split("|")) for group in phrase.split())


def _fit(look: Look, known: Role, fld: Field, named: tuple[str, float]) -> Match | None:
    """The line for a column whose name fits, or None where its values do not."""
    column, name_score = named
    texts = _texts(look.table, [column])
    counts = {str(k): int(v) for k, v in texts.value_counts().items()}
    if not counts:
        return None
    match = Match(known.name, fld.name, column, name_score, "")
    if fld.type in ("real", "integer"):
        return _fit_number(look, known, fld, match, counts)
    if fld.type in ("choice", "yes_no"):
        return _fit_codes(known, fld, match, counts)
    if fld.name.startswith("turn_lanes"):
        return _fit_turns(match, counts)
    return _fit_text(look, match, counts, is_id=fld.name == known.id_field)


def _sure(match: Match, fit: float, why: str, **more: Any) -> Match:
    """The match with its confidence: name and values weigh about alike."""
    sure = round(0.97 * match.confidence * (0.35 + 0.65 * fit), 2)
    return replace(match, confidence=sure, why=why, active=sure >= _LEAST, **more)


def _fit_text(look: Look, match: Match, counts: Mapping[str, int], is_id: bool) -> Match | None:
    rows = sum(counts.values())
    if is_id:
        made = sum(bool(re.fullmatch(rf"{re.escape(look.layer)}\.\d+", text)) for text in counts)
        fit = len(counts) / rows * rows / len(look.table) * (0.3 if made else 1.0)
        why = (
            "numbers made by the file format: they may change"
            if made
            else "name and unique values fit"
        )
        if match.confidence == _WEAK:
            why = "row numbers: they may change from one export to the next"
        return _sure(match, fit, why) if fit > 0.25 else None
    lettered = sum(n for text, n in counts.items() if re.search(r"[^\W\d_]{2}", text)) / rows
    if lettered < 0.5:
        return None
    entry = known_names()["fields"][match.role].get(match.field, {})
    values = _unknowns(counts, entry)
    return _sure(match, lettered, "name and texts fit", values=values)


def _unknowns(
    counts: Mapping[str, int], entry: Mapping[str, Any]
) -> tuple[tuple[str, str, int], ...]:
    """Codes that stand for "not known"."""
    patterns = entry.get("unknown", [])
    hit = [t for t in counts if any(fnmatchcase(t.casefold(), pattern) for pattern in patterns)]
    return tuple((text, "", counts[text]) for text in hit)


def _fit_number(
    look: Look, known: Role, fld: Field, match: Match, counts: Mapping[str, int]
) -> Match | None:
    entry = known_names()["fields"][known.name][fld.name]
    values = _unknowns(counts, entry)
    unit = _unit(match, counts)
    spec = {"values": {fld.name: {code: "" for code, _, _ in values}}}
    units = {"units": {fld.name: unit}} if unit else {}
    numbers = _convert(look.table, known, fld, match.columns, spec | units)
    filled = sum(counts.values()) - sum(n for *_, n in values)
    if not filled:
        return None
    good = np.array([v for v in numbers if v is not None], dtype=float)
    fit = float(((good >= entry["low"]) & (good <= entry["high"])).sum()) / filled
    doubt = _doubt(look, fld, good) if not unit else ""
    if fit < 0.5:
        return (
            replace(match, confidence=round(0.3 * fit, 2), why=doubt, active=False)
            if doubt
            else None
        )
    why = f"name and numbers fit{', ' + unit if unit else ''}{'; ' + doubt if doubt else ''}"
    return _sure(match, fit, why, values=values, unit=unit)


def _unit(match: Match, counts: Mapping[str, int]) -> str:
    """Unit of plain numbers where the column's name, or OSM's definition, says it is not ours."""
    if match.field == "width_ft" and re.search(
        r"[_ ]m$|meters?$|metres?$", str(match.column).lower()
    ):
        return "m"
    is_plain = not any(re.search("[a-z]", text) for text in counts)
    return "km/h" if plain_name(str(match.column)) == "maxspeed" and is_plain else ""


def _doubt(look: Look, fld: Field, numbers: Any) -> str:
    """What a planner should look at before trusting plain numbers."""
    if not len(numbers):
        return ""
    median = float(np.median(numbers))
    in_meters = look.table.crs is not None and look.table.crs.axis_info[0].unit_name == "metre"
    if fld.name == "width_ft" and 2.0 < median < 20.0:
        plane = " and the file's CRS is in metres" if in_meters else ""
        return f'median {median:g}{plane}: if these are metres, set units width_ft = "m"'
    if fld.name == "speed_mph" and (median > 55.0 or numbers.max() > 90.0):
        return f'median {median:g}: if these are km/h, set units speed_mph = "km/h"'
    return ""


def _fit_codes(known: Role, fld: Field, match: Match, counts: Mapping[str, int]) -> Match | None:
    """Codes by the scheme that knows most rows."""
    ours = fld.choices if fld.type == "choice" else ("yes", "no")
    scheme = _scheme(known, fld, str(match.column), counts)
    known_codes = {c: v for c, v in scheme.items() if v in (*ours, "", "drop")}
    table = {c: known_codes.get(c, c if c in ours else None) for c in counts}
    fit = sum(n for c, n in counts.items() if table[c] is not None) / sum(counts.values())
    values = tuple((c, v, counts[c]) for c, v in table.items() if c != v and v != "drop")
    drop = tuple(c for c, v in table.items() if v == "drop")
    senses = {c.casefold() for c in counts}
    if fld.name == "oneway" and senses <= {"t", "f", "true", "false"}:
        why = "T/F says that a street is one-way, not which way: not mapped"
        return replace(match, confidence=0.2, why=why, active=False)
    if fld.name == "oneway" and senses <= {"y", "n", "0", "1"}:
        why = "taken as one-way in the digitised direction: check"
        return _sure(match, fit / 2, why, values=values) if fit > 0.9 else None
    if fit >= (0.8 if fld.name == "oneway" or match.confidence == _WEAK else 0.3):
        why = "name and codes fit" if fit > 0.99 else f"name fits, codes of {fit:.0%} of rows known"
        return _sure(match, fit, why, values=values, drop=drop)
    is_coded = all(re.fullmatch(r"-?\d{1,2}", c) for c in counts)
    if not is_coded or match.confidence < _WORDS or fld.name not in _LEGENDS:
        return None
    return _sure(match, 0.2, "name fits; codes without a legend: fill them in", values=values)


def _scheme(known: Role, fld: Field, column: str, counts: Mapping[str, int]) -> dict[str, str]:
    """Meaning of the codes seen, by the scheme that knows most rows; unknown codes are left out."""
    entry = known_names()["fields"][known.name].get(fld.name, {})
    best: dict[str, str] = {}
    most = 0
    for name, scheme in known_names()["codes"].get(entry.get("scheme", fld.name), {}).items():
        if "only" in scheme and plain_name(column) not in {plain_name(n) for n in scheme["only"]}:
            continue
        found = {c: v for c in counts if (v := _meaning(c, scheme)) is not None}
        rows = sum(counts[c] for c in found)
        is_whole = name != "letters" or len(found) > 0.9 * len(counts)
        if rows > most and is_whole:
            best, most = found, rows
    return best


def _meaning(code: str, scheme: Mapping[str, Any]) -> str | None:
    low = code.casefold()
    hits = (v for k, v in scheme.items() if k != "only" and fnmatchcase(low, k.casefold()))
    return next(hits, "" if low in _UNKNOWN else None)


def _fit_turns(match: Match, counts: Mapping[str, int]) -> Match | None:
    """Turn lanes: in our words already, or in the letters L, T and R."""
    words = {"left", "through", "right", "none", "reverse", "merge"}
    if all(set(re.split(r"[|;]", text)) <= words | {""} for text in counts):
        return _sure(match, 1.0, "name and words fit")
    if not all(_LANE_CODE.match(text) for text in counts):
        return None
    values = tuple((text, _lane_words(text), rows) for text, rows in counts.items())
    return _sure(match, 0.6, "L, T, R read as left, through, right: check the order", values=values)


def _lane_words(text: str) -> str:
    lanes = re.split(r"[-|,/]", text)
    return "|".join(";".join(_LANE_WORD[letter] for letter in lane) for lane in lanes)


def _join_parts(look: Look, match: Match, taken: set[str]) -> Match:
    """Prefix, type and suffix joined to a name that lacks them."""
    parts = {
        part: {plain_name(n) for n in names} for part, names in known_names()["name_parts"].items()
    }
    base = str(match.column)
    if plain_name(base) not in parts["base"]:
        return match
    columns: list[str | None] = [base]
    for part, words in (("type", "types"), ("after", "directions"), ("before", "directions")):
        free = [c for c in look.columns if c not in taken and plain_name(c) in parts[part]]
        column = next((c for c in free if _is_part(look, base, c, parts[words])), None)
        columns = [column, *columns] if part == "before" else [*columns, column]
    joined = tuple(c for c in columns if c)
    if len(joined) == 1:
        return match
    return replace(match, column=joined, why=f"name in {len(joined)} parts")


def _is_part(look: Look, base: str, column: str, words: set[str]) -> bool:
    """Whether a column holds words of a list that the base does not hold already."""
    pairs = pd.concat([_texts(look.table, [c]).str.casefold() for c in (base, column)], axis=1)
    pairs = pairs.dropna()
    pairs.columns = pd.Index(["base", "part"])
    if pairs.empty or pairs["part"].map(plain_name).isin(words).mean() < 0.5:
        return False
    ends = [part in base.split()[::-1][:1] + base.split()[:1] for base, part in pairs.to_numpy()]
    return float(np.mean(ends)) < 0.5


def _texts(table: gpd.GeoDataFrame, columns: Sequence[str]) -> pd.Series[Any]:
    """Filled cells of a column, or of several joined, as the reader sees them."""
    known = Role("streets", (), False, "", (Field("text", "text", ""),))
    return pd.Series(_convert(table, known, known.fields[0], columns, {}), dtype=object).dropna()


def _convert(
    table: gpd.GeoDataFrame,
    known: Role,
    fld: Field,
    columns: Sequence[str],
    more: Mapping[str, Any],
) -> Any:
    """Values of one field, by the reader's own rules."""
    spec = InputParams(source="", fields={fld.name: list(columns)}, **more)
    narrow = table[[*dict.fromkeys(columns), table.geometry.name]]
    return map_fields(narrow, spec, replace(known, fields=(fld,)))[0][fld.name].to_list()
