"""The text of a proposed project file: commented TOML that runs as it is."""

from __future__ import annotations

import json
import os
import re
from collections.abc import Sequence
from pathlib import Path

from layoutgen.config import shipped
from layoutgen.gis.mapping import Look, Match, Pick
from layoutgen.gis.names import known_names, name_words
from layoutgen.gis.roles import ROLES, Field, Role

_MAX_CODES = 60
_MAX_CODE_LENGTH = 140
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


def head_text(picks: Sequence[Pick], project_path: Path) -> list[str]:
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


def role_text(
    pick: Pick, found: Sequence[Match], looks: Sequence[Look], project_path: Path
) -> list[str]:
    """`[inputs.<role>]` with its fields and codes, and comments on what is left open."""
    look, key = pick.look, f"inputs.{pick.role.name}"
    lines = [
        "",
        f"# {_clean(look.label)}: {rows_text(len(look.table))}, {_crs_text(pick)}",
        f"[{key}]",
    ]
    lines.append(f"source = {_toml(_relative(look.path, project_path))}")
    lines += [] if look.single else [f"layer = {_toml(look.layer)}"]
    lines += _crs_lines(look, looks) if pick.role.geometry else []
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


def tail_text(picks: Sequence[Pick], messages: Sequence[str]) -> list[str]:
    """Roles not found, sources not used, and the rules most often changed."""
    found = {p.role.name for p in picks}
    lines: list[str] = []
    for known in ROLES:
        if known.name not in found:
            lines += ["", f"# {known.text}", f"# [inputs.{known.name}]", '# source = "..."']
    notes = [f"# {_clean(m)}" for m in messages]
    return [*lines, *(["", *notes] if notes else []), *_RULES.splitlines()]


def rows_text(count: int) -> str:
    """`1 row`, `2 rows`."""
    return f"{count} row{'s' if count != 1 else ''}"


def _field_line(match: Match) -> str:
    column = match.column if isinstance(match.column, str) else list(match.column)
    sure = f"{match.confidence:.2f} " if match.columns else ""
    line = f"{match.field} = {_toml(column)}  # {sure}{_clean(match.why)}"
    return line if match.active else f"# {line}"


def _open_lines(pick: Pick, found: Sequence[Match]) -> list[str]:
    """Fields without a column, and columns without a field."""
    mapped = {m.field for m in found if m.active and m.columns}
    used = {c for m in found if m.active for c in m.columns} | {"other_tags"}
    fields = [f.name for f in pick.role.fields if f.name not in mapped]
    columns = [_clean(c) for c in pick.look.columns if c not in used]
    return [
        *([f"# no column for: {', '.join(fields)}"] if fields else []),
        *([f"# columns not used: {', '.join(columns[:_MAX_CODES])}"] if columns else []),
    ]


def _where_lines(look: Look, found: Sequence[Match], key: str) -> list[str]:
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
    rows = rows_text(count)
    if ours is not None:
        return f"{_key(code)} = {_toml(ours)}  # {rows}{'' if ours else ', not known'}"
    federal = known_names()["codes"]["street_class"]["federal"].get(code, "")
    if fld.name == "street_class" and federal and name_words(column) & {"func", "functional"}:
        return f"# {_key(code)} = {_toml(federal)}  # {rows}; only if these are federal codes"
    allowed = ", ".join(fld.choices) or "yes, no"
    return f'# {_key(code)} = ""  # {rows}; one of {allowed}'


def _crs_text(pick: Pick) -> str:
    if not pick.role.geometry:
        return "joined by id"
    return str(pick.look.table.crs.name) if pick.look.table.crs else "no CRS"


def _crs_lines(look: Look, looks: Sequence[Look]) -> list[str]:
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


def _overlap(one: Look, other: Look) -> bool:
    a, b = one.table.total_bounds, other.table.total_bounds
    return bool((a[:2] <= b[2:]).all() and (b[:2] <= a[2:]).all())


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
