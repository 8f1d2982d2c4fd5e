"""Proposal of a project file: which layer is which role, which column is which field, which codes.

What is known of other people's files is in `known_names.toml`. A column is proposed where both its
name and its values fit; every doubtful line is written as a comment, so that the file runs as it
is and the user sees what to fill in.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import chain
from pathlib import Path

import geopandas as gpd
import pandas as pd

from layoutgen.config import shipped
from layoutgen.errors import InputError
from layoutgen.gis.mapping import (
    Look,
    Match,
    Pick,
    Unmapped,
    all_matches,
    matches_of,
    shared_ids,
)
from layoutgen.gis.names import base_inputs, known_names, name_words, plain_name
from layoutgen.gis.project_text import head_text, role_text, rows_text, tail_text
from layoutgen.gis.read import InputParams, list_layers, read_source
from layoutgen.gis.roles import ROLES, Role, role

#: suffixes looked at in a folder; a `.gdb` folder is one source
SUFFIXES = (
    *(".shp", ".gpkg", ".gdb", ".geojson", ".json", ".fgb", ".kml", ".kmz", ".gml", ".tab"),
    *(".zip", ".parquet", ".csv", ".osm", ".pbf"),
)
_OSM = (".osm", ".pbf")
_OWN = {"markings", "run_info"}  # layers that only our own output has
_LEAST_ROLE = 0.4
_LEAST_SHARED = 0.5
#: score of the only line layer, where nothing says that it holds streets
_GUESS = 0.2
#: what a street field says for a layer to be streets; an id or a status says nothing
_WEIGHTS = {"name": 0.4, "street_class": 0.3, "oneway": 0.2, "width_ft": 0.2}
_WEIGHTS |= {"segment_id": 0.0, "status": 0.0}
#: line layers that a street layer with a column on the same matter must not be taken for
_BESIDE = ("bike_facilities", "parking")
_STREET_ONLY = ("street_class", "oneway", "lanes", "width_ft", "speed_mph")
_SHAPES = {"Line": "LineString", "Point": "Point", "Polygon": "Polygon"}


@dataclass(frozen=True)
class Proposal:
    """Answer of `propose`: the project file, and what it says as records."""

    text: str
    rows: tuple[Match, ...]
    unmapped: tuple[Unmapped, ...]
    messages: tuple[str, ...]


def propose(sources: Sequence[Path], project_path: Path) -> Proposal:
    """Project file for some files or folders; nothing is written.

    Args:
        sources: vector files, or folders whose vector files are all looked at (not their folders).
        project_path: where the file will be; its paths are relative to that folder.

    Raises:
        InputError: a source is missing, cannot be opened, or a folder holds no vector file.
    """
    looks: list[Look] = []
    messages: list[str] = []
    for path, is_given in _files(sources):
        found, notes = _look_at(path, is_given)
        looks += found
        messages += notes
    picks, notes = _choose(looks)
    messages += notes
    tables = [(pick, *matches_of(pick)) for pick in picks]
    blocks = [role_text(pick, found, looks, project_path) for pick, found, _ in tables]
    messages += [
        f"{p.role.name}: {p.look.label} names no CRS"
        for p in picks
        if p.role.geometry and not p.look.table.crs
    ]
    text = "\n".join(
        [*head_text(picks, project_path), *chain.from_iterable(blocks), *tail_text(picks, messages)]
    )
    rows = tuple(m for _, found, _ in tables for m in found)
    all_matches.cache_clear()  # it holds whole tables
    return Proposal(text + "\n", rows, tuple(u for *_, u in tables), tuple(messages))


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


def _look_at(path: Path, is_given: bool) -> tuple[list[Look], list[str]]:
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


def _read_layer(path: Path, layer: str, single: bool) -> Look:
    spec = InputParams(source=str(path), layer=layer)
    try:
        table = read_source(spec, role("streets"))
    except InputError as fault:
        return Look(path, layer, single, _plain_table(spec, fault), "")
    kinds = table.geometry.geom_type.dropna().str.replace("Multi", "").str.replace("String", "")
    shape = str(kinds.mode().iloc[0]) if len(kinds) else ""
    return Look(path, layer, single, table, "Line" if shape == "LinearRing" else shape)


def _plain_table(spec: InputParams, fault: InputError) -> gpd.GeoDataFrame:
    """A layer without geometry; the first fault where it cannot be read as such either."""
    try:
        return read_source(spec, next(r for r in ROLES if not r.geometry))
    except InputError:
        raise fault from None


def _choose(looks: Sequence[Look]) -> tuple[list[Pick], list[str]]:
    """At most one layer per role, the best; and what becomes of the others."""
    scored = [Pick(r, look, _role_score(look, r)) for look in looks for r in ROLES]
    scored.sort(key=lambda p: (-p.score, -len(p.look.table)))
    picks: dict[str, Pick] = _osm_picks(scored)
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
    if "streets" not in picks and (only := _only_lines(looks, taken)) is not None:
        taken.add(id(only))
        picks["streets"] = Pick(role("streets"), only, _GUESS)
    for pick in _table_picks(looks, picks.get("streets"), notes):
        taken.add(id(pick.look))
        picks[pick.role.name] = pick
    for look in looks:
        size = f"{rows_text(len(look.table))}, {look.shape or 'no geometry'}"
        notes.setdefault(id(look), f"{look.label}: fits no role ({size})")
    left = [notes[id(look)] for look in looks if id(look) not in taken]
    if "streets" in picks and picks["streets"].score <= _GUESS:
        left.append(f"{picks['streets'].look.label}: taken for streets as the only line layer")
    if "streets" not in picks:
        left.append("no source looks like street centerlines: fill in [inputs.streets]")
    return [picks[r.name] for r in ROLES if r.name in picks], left


def _table_picks(looks: Sequence[Look], streets: Pick | None, notes: dict[int, str]) -> list[Pick]:
    """The best table per joined role; one table may serve several.

    Only where at least half of its ids are ids of the streets: a running number fits anything.
    """
    ids = [m for m in (matches_of(streets)[0] if streets else []) if m.field == "segment_id"]
    if streets is None or not ids or not ids[0].active or len(ids[0].columns) != 1:
        return []
    out: dict[str, Pick] = {}
    plain = [look for look in looks if not look.shape]
    for look, known in ((look, r) for look in plain for r in ROLES if not r.geometry):
        score = _table_score(look, known)
        if not score:
            continue
        column = next(m.columns[0] for m in all_matches(look, known) if m.field == "segment_id")
        if shared_ids((look, column), (streets.look, ids[0].columns[0])) < _LEAST_SHARED:
            notes[id(look)] = (
                f"{look.label}: looks like {known.name}, but most ids in {column} are not those "
                "of the streets"
            )
        elif known.name not in out or score > out[known.name].score:
            out[known.name] = Pick(known, look, score)
    return list(out.values())


def _table_score(look: Look, known: Role) -> float:
    """How surely a table holds the ids and at least one value of a joined role; 0 = it does not."""
    title = name_words(f"{look.path.stem} {look.layer}")
    if title & set(known_names()["roles"][known.name]["never"]):
        return 0.0
    sure = {m.field: m.confidence for m in all_matches(look, known) if m.active and m.columns}
    values = [c for f, c in sure.items() if f != known.id_field]
    return min(sure.get(known.id_field, 0.0), max(values, default=0.0))


def _only_lines(looks: Sequence[Look], taken: set[int]) -> Look | None:
    """The one line layer that nothing speaks against, where there is just one."""
    never = set(known_names()["roles"]["streets"]["never"])
    lines = [
        look
        for look in looks
        if id(look) not in taken
        and look.shape == "Line"
        and not name_words(f"{look.path.stem} {look.layer}") & never
    ]
    return lines[0] if len(lines) == 1 else None


def _osm_picks(scored: Sequence[Pick]) -> dict[str, Pick]:
    """Roles of an OSM file, mapped by the shipped settings; none where a better file is given."""
    best = next((p for p in scored if p.role.name == "streets" and p.score >= _LEAST_ROLE), None)
    if best is None or best.look.path.suffix.lower() not in _OSM or not shipped("osm.toml"):
        return {}
    layers = {p.look.layer: p.look for p in scored if p.look.path == best.look.path}
    wanted = {name: "lines" if name == "streets" else "points" for name in base_inputs("osm.toml")}
    return {
        name: Pick(role(name), layers[layer], 1.0, "osm.toml")
        for name, layer in wanted.items()
        if layer in layers
    }


def _base_of(pick: Pick) -> str:
    """The shipped settings file that knows this layer."""
    names = {plain_name(c) for c in pick.look.columns}
    is_tiger = {"mtfcc", "fullname"} <= names and names & {"tlid", "linearid"}
    if pick.role.name != "streets" or not is_tiger or not shipped("tiger.toml"):
        return ""
    base = base_inputs("tiger.toml")
    asked = set(base.get("streets", {}).get("where", {}))
    fits = set(base) == {"streets"} and asked <= set(pick.look.columns)
    return "tiger.toml" if fits else ""


def _role_score(look: Look, known: Role) -> float:
    """0 to 1: geometry must fit; then the title, the columns and the values speak."""
    if not known.geometry or _SHAPES.get(look.shape) not in known.geometry:
        return 0.0
    entry = known_names()["roles"][known.name]
    title = name_words(f"{look.path.stem} {look.layer}")
    if title & set(entry["never"]):
        return 0.0
    score = 0.5 if title & set(entry["title"]) else 0.0
    if known.name == "streets":
        fields = {m.field: m.confidence for m in all_matches(look, known) if m.active}
        said = sum(_WEIGHTS.get(f, 0.1) * sure for f, sure in fields.items())
        return min(1.0, score * 0.6 + said)
    if known.name in _BESIDE and not score and _is_street(look):
        return 0.0
    tokens = set[str]().union(*(name_words(c) | {plain_name(c)} for c in look.columns))
    score += 0.3 if tokens & set(entry["columns"]) else 0.0
    return score + 0.4 * _share_of_values(look, re.compile(entry["values"]))


def _is_street(look: Look) -> bool:
    """Whether a layer tells what only streets have; one with a bike column is one of streets."""
    return any(m.active and m.field in _STREET_ONLY for m in all_matches(look, role("streets")))


def _share_of_values(look: Look, pattern: re.Pattern[str]) -> float:
    """Largest share, over the text columns, of filled rows that a pattern finds."""
    shares = [0.0]
    for name in look.columns:
        column = look.table[name].dropna().astype(str).str.strip()
        if len(column) and not pd.api.types.is_numeric_dtype(look.table[name]):
            shares.append(float(column.map(lambda text: bool(pattern.search(text))).mean()))
    return max(shares)
