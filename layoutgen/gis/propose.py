"""Proposal of a project file: which layer is which role, which column is which field, which codes.

What is known of other people's files is in `known_names.toml`. A column is proposed where both its
name and its values fit; every doubtful line is written as a comment, so that the file runs as it
is and the user sees what to fill in.
"""

from __future__ import annotations

import json
import os
import re
import tomllib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from fnmatch import fnmatchcase
from functools import cache, lru_cache
from itertools import chain
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd

from layoutgen.config import read_raw, shipped
from layoutgen.errors import InputError
from layoutgen.gis.read import InputParams, list_layers, map_fields, read_source
from layoutgen.gis.schema import ROLES, Field, Role, role

#: suffixes looked at in a folder; a `.gdb` folder is one source
SUFFIXES = (
    *(".shp", ".gpkg", ".gdb", ".geojson", ".json", ".fgb", ".kml", ".kmz", ".gml", ".tab"),
    *(".zip", ".parquet", ".csv", ".osm", ".pbf"),
)
_OSM = (".osm", ".pbf")
_OWN = {"markings", "run_info"}  # layers that only our own output has
_MAX_CODES = 60
_MAX_CODE_LENGTH = 60
_FEW = 12  # codes that may all be given one meaning
_LEAST = 0.35  # less sure lines are written as comments
_LEAST_ROLE = 0.4
_SEEN, _WORDS, _WEAK = 1.0, 0.8, 0.5
#: what a street field says for a layer to be streets; an id or a status says nothing
_WEIGHTS = {"name": 0.4, "street_class": 0.3, "oneway": 0.2, "width_ft": 0.2}
_WEIGHTS |= {"segment_id": 0.0, "status": 0.0}
_SHAPES = {"Line": "LineString", "Point": "Point", "Polygon": "Polygon"}
_LANE_CODE = re.compile(r"^[LTR]+([-|,/][LTR]+)*$")
_LEGENDS = ("street_class", "parking", "bike_lane", "control")  # worth a legend by hand
_UNKNOWN = ("unknown", "unk", "n/a", "null", "<null>")
_LANE_WORD = {"L": "left", "T": "through", "R": "right"}
_CAUTION = (
    "# Layouts are for planning: local codes, the road authority's traffic control plan and a",
    "# licensed engineer govern.",
)

_RULES = """
# ---- rules most often changed (remove the # to put a line in force) ---------------------------

# [defaults.collector]
# center_line = "broken"  # center line of two-way streets of a class: none, broken or double_solid

# [rules.crosswalk]
# style = "longitudinal_bars"  # or transverse_lines, ladder, bar_pairs
# at = ["signal", "all_way_stop", "school"]  # legs that get one; also stop, yield, every_leg

# [rules.stop_line]
# setback = "4 ft"  # from the crossing curb line, where there is no crosswalk
# crosswalk_gap = "4 ft"  # from the crosswalk

# [rules.bike_lane]
# spacing = "250 ft"  # largest distance between bicycle symbols
"""


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


@dataclass(frozen=True)
class Proposal:
    """Answer of `propose`: the project file, and what it says as records."""

    text: str
    rows: tuple[Match, ...]
    unmapped: tuple[Unmapped, ...]
    messages: tuple[str, ...]


@dataclass(frozen=True, eq=False)
class _Look:
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
class _Pick:
    """The layer chosen for a role; `base` = shipped settings file that maps it."""

    role: Role
    look: _Look
    score: float
    base: str = ""


def propose(sources: Sequence[Path], project_path: Path) -> Proposal:
    """Project file for some files or folders; nothing is written.

    Args:
        sources: vector files, or folders whose vector files are all looked at (not their folders).
        project_path: where the file will be; its paths are relative to that folder.

    Raises:
        InputError: a source is missing, cannot be opened, or a folder holds no vector file.
    """
    looks: list[_Look] = []
    messages: list[str] = []
    for path, is_given in _files(sources):
        found, notes = _look_at(path, is_given)
        looks += found
        messages += notes
    picks, notes = _choose(looks)
    messages += notes
    tables = [(pick, *_matches(pick)) for pick in picks]
    blocks = [_role_text(pick, found, looks, project_path) for pick, found, _ in tables]
    messages += [
        f"{p.role.name}: {p.look.label} names no CRS" for p in picks if not p.look.table.crs
    ]
    text = "\n".join(
        [*_head(picks, project_path), *chain.from_iterable(blocks), *_tail(picks, messages)]
    )
    rows = tuple(m for _, found, _ in tables for m in found)
    _all_matches.cache_clear()  # it holds whole tables
    return Proposal(text + "\n", rows, tuple(u for *_, u in tables), tuple(messages))


# --- looking into files


def _files(sources: Sequence[Path]) -> Iterator[tuple[Path, bool]]:
    """(file, named by the user) of all sources, each once."""
    seen: set[Path] = set()
    for source in sources:
        if not source.exists():
            raise InputError(f"{source}: no such file or folder.")
        is_folder = source.is_dir() and source.suffix.lower() != ".gdb"
        inside = (
            [f for f in sorted(source.iterdir()) if f.suffix.lower() in SUFFIXES]
            if is_folder
            else [source]
        )
        if not inside:
            raise InputError(f"{source}: no vector file in this folder.")
        for file in inside:
            if file.resolve() not in seen:
                seen.add(file.resolve())
                yield file, not is_folder


def _look_at(path: Path, is_given: bool) -> tuple[list[_Look], list[str]]:
    """Layers of a file; one that cannot be used is told, and refused where the user named it."""
    try:
        names = [name for name, _ in list_layers(path)]
    except InputError as fault:
        if is_given:
            raise
        return [], [_short(fault, path)]
    if set(names) >= _OWN:
        return [], [f"{path.name}: looks like an output of this program; not used"]
    is_osm = path.suffix.lower() in _OSM
    looks, notes = [], []
    for name in ["lines", "points"] if is_osm else names:
        try:
            looks.append(_read_layer(path, name, len(names) == 1))
        except InputError as fault:
            if is_given and len(names) == 1:
                raise
            notes.append(_short(fault, path))
    return looks, notes


def _short(fault: InputError, path: Path) -> str:
    """Message about a file found in a folder: its name is enough, and no role is known yet."""
    return str(fault).removeprefix("inputs.streets: ").replace(str(path), path.name)


def _read_layer(path: Path, layer: str, single: bool) -> _Look:
    table = read_source(InputParams(source=str(path), layer=layer), role("streets"))
    kinds = table.geometry.geom_type.dropna().str.replace("Multi", "").str.replace("String", "")
    shape = str(kinds.mode().iloc[0]) if len(kinds) else ""
    return _Look(path, layer, single, table, "Line" if shape == "LinearRing" else shape)


# --- roles


def _choose(looks: Sequence[_Look]) -> tuple[list[_Pick], list[str]]:
    """At most one layer per role, the best; and what becomes of the others."""
    scored = [_Pick(r, look, _role_score(look, r)) for look in looks for r in ROLES]
    scored.sort(key=lambda p: (-p.score, -len(p.look.table)))
    picks: dict[str, _Pick] = _osm_picks(scored)
    taken = {id(p.look) for p in picks.values()}
    notes: dict[int, str] = {}
    for pick in scored:
        if id(pick.look) in taken or pick.score < _LEAST_ROLE:
            continue
        if pick.role.name in picks:
            rival = picks[pick.role.name].look.label
            text = f"{pick.look.label}: also looks like {pick.role.name}; {rival} fits better"
            notes.setdefault(id(pick.look), text)
            continue
        taken.add(id(pick.look))
        picks[pick.role.name] = replace(pick, base=_base_of(pick))
    for look in looks:
        size = f"{_rows(len(look.table))}, {look.shape or 'no geometry'}"
        notes.setdefault(id(look), f"{look.label}: fits no role ({size})")
    left = [notes[id(look)] for look in looks if id(look) not in taken]
    if "streets" not in picks:
        left.append("no source looks like street centerlines: fill in [inputs.streets]")
    return [picks[r.name] for r in ROLES if r.name in picks], left


def _osm_picks(scored: Sequence[_Pick]) -> dict[str, _Pick]:
    """Roles of an OSM file, mapped by the shipped settings; none where a better file is given."""
    best = next((p for p in scored if p.role.name == "streets" and p.score >= _LEAST_ROLE), None)
    if best is None or best.look.path.suffix.lower() not in _OSM or not shipped("osm.toml"):
        return {}
    layers = {p.look.layer: p.look for p in scored if p.look.path == best.look.path}
    wanted = {name: "lines" if name == "streets" else "points" for name in _base_inputs("osm.toml")}
    return {
        name: _Pick(role(name), layers[layer], 1.0, "osm.toml")
        for name, layer in wanted.items()
        if layer in layers
    }


def _base_of(pick: _Pick) -> str:
    """The shipped settings file that knows this layer."""
    names = {_plain(c) for c in pick.look.columns}
    is_tiger = {"mtfcc", "fullname"} <= names and names & {"tlid", "linearid"}
    if pick.role.name != "streets" or not is_tiger or not shipped("tiger.toml"):
        return ""
    base = _base_inputs("tiger.toml")
    asked = set(base.get("streets", {}).get("where", {}))
    fits = set(base) == {"streets"} and asked <= set(pick.look.columns)
    return "tiger.toml" if fits else ""


@cache
def _base_inputs(name: str) -> dict[str, Any]:
    """Tables `[inputs.<role>]` of a shipped settings file; empty where none is shipped."""
    path = shipped(name)
    return dict(read_raw(path).table.get("inputs", {})) if path else {}


def _role_score(look: _Look, known: Role) -> float:
    """0 to 1: geometry must fit; then the title, the columns and the values speak."""
    if _SHAPES.get(look.shape) not in known.geometry:
        return 0.0
    entry = _known()["roles"][known.name]
    title = _tokens(f"{look.path.stem} {look.layer}")
    if title & set(entry["never"]):
        return 0.0
    score = 0.5 if title & set(entry["title"]) else 0.0
    if known.name == "streets":
        fields = {m.field: m.confidence for m in _all_matches(look, known) if m.active}
        said = sum(_WEIGHTS.get(f, 0.1) * sure for f, sure in fields.items())
        return min(1.0, score * 0.6 + said)
    tokens = set[str]().union(*(_tokens(c) | {_plain(c)} for c in look.columns))
    score += 0.3 if tokens & set(entry["columns"]) else 0.0
    return score + 0.4 * _share_of_values(look, re.compile(entry["values"]))


def _share_of_values(look: _Look, pattern: re.Pattern[str]) -> float:
    """Largest share, over the text columns, of filled rows that a pattern finds."""
    shares = [0.0]
    for name in look.columns:
        column = look.table[name].dropna().astype(str).str.strip()
        if len(column) and not pd.api.types.is_numeric_dtype(look.table[name]):
            shares.append(float(column.map(lambda text: bool(pattern.search(text))).mean()))
    return max(shares)


# --- fields


def _matches(pick: _Pick) -> tuple[list[Match], Unmapped]:
    """Proposed lines of a role, in the order of its fields, and what is left open."""
    found = _all_matches(pick.look, pick.role)
    if pick.base:
        found = _with_base(pick, found)
    elif pick.role.name == "controls":
        found = [*found, *_one_kind(pick.look, found)]
    used = {c for m in found if m.active for c in m.columns}
    mapped = {m.field for m in found if m.active and m.columns}
    columns = tuple(c for c in pick.look.columns if c not in used and c != "other_tags")
    fields = tuple(f.name for f in pick.role.fields if f.name not in mapped)
    return found, Unmapped(pick.role.name, columns, fields)


def _one_kind(look: _Look, found: Sequence[Match]) -> list[Match]:
    """A file that holds one kind of control and says so only in its name.

    The reader has no constants: every code of a column with few codes, and the empty cell, gets
    that kind.
    """
    title = _tokens(f"{look.path.stem} {look.layer}")
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


def _with_base(pick: _Pick, found: Sequence[Match]) -> list[Match]:
    """Lines of the shipped settings file; ours where a column of it is missing, or as addition."""
    base = _base_inputs(pick.base).get(pick.role.name, {}).get("fields", {})
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


@lru_cache(maxsize=32)
def _all_matches(look: _Look, known: Role) -> list[Match]:
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


def _named(look: _Look, known: Role, fld: Field, column: str) -> float:
    """How well a column's name fits a field, 0 to 1."""
    entry = _known()["fields"].get(known.name, {}).get(fld.name, {})
    plain = _plain(column)
    if any(fnmatchcase(plain, pattern) for pattern in entry.get("never", [])):
        return 0.0
    present = {_plain(c) for c in look.columns}
    for rank, name in enumerate(entry.get("seen", [])):
        first, *other = [_plain(part) for part in name.split("&")]
        if plain == first and set(other) <= present:
            return _SEEN + 0.02 * len(other) - min(0.01 * rank, 0.08)
    tokens = _tokens(column)
    if plain == _plain(fld.name):
        return _SEEN
    if any(_has_words(tokens, phrase) for phrase in entry.get("words", [])):
        return _WORDS
    return _WEAK if plain in {_plain(n) for n in entry.get("weak", [])} else 0.0


def _has_words(tokens: set[str], phrase: str) -> bool:
    return all(tokens & set(group.split("|")) for group in phrase.split())


def _fit(look: _Look, known: Role, fld: Field, named: tuple[str, float]) -> Match | None:
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


def _fit_text(look: _Look, match: Match, counts: Mapping[str, int], is_id: bool) -> Match | None:
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
    entry = _known()["fields"][match.role].get(match.field, {})
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
    look: _Look, known: Role, fld: Field, match: Match, counts: Mapping[str, int]
) -> Match | None:
    entry = _known()["fields"][known.name][fld.name]
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
    return "km/h" if _plain(str(match.column)) == "maxspeed" and is_plain else ""


def _doubt(look: _Look, fld: Field, numbers: Any) -> str:
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
    entry = _known()["fields"][known.name].get(fld.name, {})
    best: dict[str, str] = {}
    most = 0
    for name, scheme in _known()["codes"].get(entry.get("scheme", fld.name), {}).items():
        if "only" in scheme and _plain(column) not in {_plain(n) for n in scheme["only"]}:
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


def _join_parts(look: _Look, match: Match, taken: set[str]) -> Match:
    """Prefix, type and suffix joined to a name that lacks them."""
    parts = {part: {_plain(n) for n in names} for part, names in _known()["name_parts"].items()}
    base = str(match.column)
    if _plain(base) not in parts["base"]:
        return match
    columns: list[str | None] = [base]
    for part, words in (("type", "types"), ("after", "directions"), ("before", "directions")):
        free = [c for c in look.columns if c not in taken and _plain(c) in parts[part]]
        column = next((c for c in free if _is_part(look, base, c, parts[words])), None)
        columns = [column, *columns] if part == "before" else [*columns, column]
    joined = tuple(c for c in columns if c)
    if len(joined) == 1:
        return match
    return replace(match, column=joined, why=f"name in {len(joined)} parts")


def _is_part(look: _Look, base: str, column: str, words: set[str]) -> bool:
    """Whether a column holds words of a list that the base does not hold already."""
    pairs = pd.concat([_texts(look.table, [c]).str.casefold() for c in (base, column)], axis=1)
    pairs = pairs.dropna()
    pairs.columns = pd.Index(["base", "part"])
    if pairs.empty or pairs["part"].map(_plain).isin(words).mean() < 0.5:
        return False
    ends = [part in base.split()[::-1][:1] + base.split()[:1] for base, part in pairs.to_numpy()]
    return float(np.mean(ends)) < 0.5


# --- text


def _head(picks: Sequence[_Pick], project_path: Path) -> list[str]:
    """Caution, `extends` and `[project]`."""
    bases = [*dict.fromkeys(p.base for p in picks if p.base), "us_base.toml"]
    found = [name for name in bases if shipped(name)]
    streets = next((p.look.path.stem for p in picks if p.role.name == "streets"), project_path.stem)
    return [
        "# Proposed by `layoutgen init`. The number behind a line says how sure it is, 0 to 1.",
        "# Check every line; those that start with # are not in force. Left, right, forward and",
        "# backward are seen along the digitised direction of the line.",
        "#",
        *_CAUTION,
        "",
        *([f"extends = {_toml(found if len(found) > 1 else found[0])}", ""] if found else []),
        "[project]",
        f"name = {_toml(streets)}",
        f"output = {_toml(project_path.stem + '.gpkg')}",
    ]


def _role_text(
    pick: _Pick, found: Sequence[Match], looks: Sequence[_Look], project_path: Path
) -> list[str]:
    """`[inputs.<role>]` with its fields and codes, and comments on what is left open."""
    look, key = pick.look, f"inputs.{pick.role.name}"
    lines = ["", f"# {_clean(look.label)}: {_rows(len(look.table))}, {_crs_text(look)}", f"[{key}]"]
    lines.append(f"source = {_toml(_relative(look.path, project_path))}")
    lines += [] if look.single else [f"layer = {_toml(look.layer)}"]
    lines += _crs_lines(look, looks)
    lines += [f"# fields and codes: {pick.base}"] if pick.base else []
    own = [m for m in found if not (pick.base and m.why == f"by {pick.base}")]
    lines += ["", f"[{key}.fields]", *map(_field_line, own)] if own else []
    lines += _open_lines(pick, found)
    lines += _where_lines(look, own, key)
    units = [f"{m.field} = {_toml(m.unit)}" for m in own if m.active and m.unit]
    lines += ["", f"[{key}.units]", *units] if units else []
    for match in own:
        lines += _value_lines(match, pick.role, key) if match.active and match.values else []
    return lines


def _field_line(match: Match) -> str:
    column = match.column if isinstance(match.column, str) else list(match.column)
    sure = f"{match.confidence:.2f} " if match.columns else ""
    line = f"{match.field} = {_toml(column)}  # {sure}{_clean(match.why)}"
    return line if match.active else f"# {line}"


def _open_lines(pick: _Pick, found: Sequence[Match]) -> list[str]:
    """Fields without a column, and columns without a field."""
    mapped = {m.field for m in found if m.active and m.columns}
    used = {c for m in found if m.active for c in m.columns} | {"other_tags"}
    fields = [f.name for f in pick.role.fields if f.name not in mapped]
    columns = [_clean(c) for c in pick.look.columns if c not in used]
    return [
        *([f"# no column for: {', '.join(fields)}"] if fields else []),
        *([f"# columns not used: {', '.join(columns[:_MAX_CODES])}"] if columns else []),
    ]


def _where_lines(look: _Look, found: Sequence[Match], key: str) -> list[str]:
    """Only rows that are streets (or controls), where a class column also holds other things."""
    lines: list[str] = []
    for match in found:
        column = str(match.column)
        unknown = {c for c, v, _ in match.values if v is None} if column == "highway" else set()
        is_mixed = column == "highway" and (bool(unknown) or bool(look.table[column].isna().any()))
        if not match.active or not (match.drop or is_mixed):
            continue
        texts = [str(v) for v in look.table[column].dropna().unique()]
        keep = [t for t in texts if " ".join(t.split()) not in {*match.drop, *unknown}]
        lines += [f"{_key(column)} = {_toml(sorted(keep))}"]
        lines += (
            [f"# left out, not streets: {_clean(', '.join(sorted(match.drop)))}"]
            if match.drop
            else []
        )
    return ["", f"[{key}.where]", *lines] if lines else []


def _value_lines(match: Match, known: Role, key: str) -> list[str]:
    """Codes with their meaning; those not known as comments, to be filled in."""
    fld = next(f for f in known.fields if f.name == match.field)
    rows = sorted(match.values, key=lambda v: (v[1] is None, -v[2], v[0]))
    lines: dict[str, str] = {}
    for code, ours, count in rows[:_MAX_CODES]:
        if len(code) <= _MAX_CODE_LENGTH:
            lines.setdefault(
                code.casefold(), _value_line((code, ours, count), fld, str(match.column))
            )
    more = len(rows) - len(lines)
    tail = [f"# and {more} more codes"] if more else []
    return ["", f"[{key}.values.{match.field}]", *lines.values(), *tail]


def _value_line(value: tuple[str, str | None, int], fld: Field, column: str) -> str:
    code, ours, count = value
    rows = _rows(count)
    if ours is not None:
        return f"{_key(code)} = {_toml(ours)}  # {rows}{'' if ours else ', not known'}"
    federal = _known()["codes"]["street_class"]["federal"].get(code, "")
    if fld.name == "street_class" and federal and _tokens(column) & {"func", "functional"}:
        return f"# {_key(code)} = {_toml(federal)}  # {rows}; only if these are federal codes"
    allowed = ", ".join(fld.choices) or "yes, no"
    return f'# {_key(code)} = ""  # {rows}; one of {allowed}'


def _rows(count: int) -> str:
    """`1 row`, `2 rows`."""
    return f"{count} row{'s' if count != 1 else ''}"


def _crs_text(look: _Look) -> str:
    return str(look.table.crs.name) if look.table.crs else "no CRS"


def _crs_lines(look: _Look, looks: Sequence[_Look]) -> list[str]:
    """A commented CRS for a file that names none, with a guess where its coordinates give one."""
    if look.table.crs:
        return []
    west, south, east, north = look.table.total_bounds
    guess, why = "EPSG:...", "fill in; ask who made the file"
    if -180 <= west <= east <= 180 and -90 <= south <= north <= 90:
        guess, why = "EPSG:4326", "its coordinates look like degrees: check"
    for other in looks:
        code = other.table.crs.to_authority() if other.table.crs else None
        if code and _overlap(look, other):
            guess, why = (
                ":".join(code),
                f"its coordinates lie where those of {other.label} do: check",
            )
    return [f"# crs = {_toml(guess)}  # the file names no CRS; {_clean(why)}"]


def _overlap(one: _Look, other: _Look) -> bool:
    a, b = one.table.total_bounds, other.table.total_bounds
    return bool((a[:2] <= b[2:]).all() and (b[:2] <= a[2:]).all())


def _tail(picks: Sequence[_Pick], messages: Sequence[str]) -> list[str]:
    """Roles not found, sources not used, and the rules most often changed."""
    found = {p.role.name for p in picks}
    lines: list[str] = []
    for known in ROLES:
        if known.name not in found:
            lines += ["", f"# {known.text}", f"# [inputs.{known.name}]", '# source = "..."']
    notes = [f"# {_clean(m)}" for m in messages]
    return [*lines, *(["", *notes] if notes else []), *_RULES.splitlines()]


def _relative(path: Path, project_path: Path) -> str:
    try:
        text = os.path.relpath(path.resolve(), project_path.resolve().parent)
    except ValueError:  # another drive
        return path.resolve().as_posix()
    return Path(text).as_posix()


def _toml(value: str | Sequence[str]) -> str:
    """A text or a list of texts as TOML writes it."""
    if not isinstance(value, str):
        return "[" + ", ".join(_toml(v) for v in value) + "]"
    return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")


def _key(text: str) -> str:
    return text if re.fullmatch(r"[A-Za-z0-9_-]+", text) else _toml(text)


def _clean(text: str) -> str:
    """Text fit for a comment: one line, no control characters."""
    return re.sub(r"[\x00-\x1f\x7f]+", " ", text)


# --- small steps


@cache
def _known() -> dict[str, Any]:
    """Names and codes of `known_names.toml`, with the class codes of the shipped settings."""
    file = Path(__file__).with_name("known_names.toml")
    known = tomllib.loads(file.read_text(encoding="utf-8"))
    for name in ("osm", "tiger"):
        values = _base_inputs(f"{name}.toml").get("streets", {}).get("values", {})
        known["codes"]["street_class"][name] = values.get("street_class", {})
    return known


def _plain(name: str) -> str:
    """Name without case and punctuation."""
    return re.sub(r"[^a-z0-9]", "", name.casefold())


def _tokens(name: str) -> set[str]:
    """Words of a name: split at punctuation, at digits, and where lower case turns to upper."""
    spread = re.sub(r"(?<=[a-z])(?=[A-Z])|(?<=[A-Za-z])(?=\d)|(?<=\d)(?=[A-Za-z])", " ", name)
    return set(re.findall(r"[a-z0-9]+", spread.casefold()))


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
