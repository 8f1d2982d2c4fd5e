"""Settings: units, ranges, loading with `extends`, and errors that name file, line and key.

Each stage and each marking rule keeps its own settings in a small frozen model beside its code
(`Params`); this module gives them their fields (`length`, `number`, `choice` ...) and turns a TOML
file into such models. A field holds feet, minutes or mils and says so in its name (`width_ft`);
in a file the value carries the unit and the key drops it (`width = "24 in"`).
"""

from __future__ import annotations

import copy
import difflib
import re
import tomllib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeVar, get_args

from pydantic import BaseModel, ConfigDict, Field, ValidationError, field_validator
from pydantic_core import PydanticCustomError

from layoutgen.errors import ConfigError

Key = str | int
Path_ = tuple[Key, ...]

#: unit -> (dimension, size in the dimension's own unit). Sizes are exact by definition.
UNITS: dict[str, tuple[str, float]] = {
    "ft": ("length", 1.0),
    "in": ("length", 1.0 / 12.0),
    "yd": ("length", 3.0),
    "mi": ("length", 5280.0),
    "m": ("length", 1.0 / 0.3048),
    "cm": ("length", 0.01 / 0.3048),
    "mm": ("length", 0.001 / 0.3048),
    "km": ("length", 1000.0 / 0.3048),
    "mil": ("film", 1.0),
    "mph": ("speed", 1.0),
    "km/h": ("speed", 1.0 / 1.609344),
    "knots": ("speed", 1.852 / 1.609344),
    "s": ("time", 1.0 / 60.0),
    "min": ("time", 1.0),
    "h": ("time", 60.0),
    "deg": ("angle", 1.0),
    "gal": ("volume", 1.0),
    "L": ("volume", 1.0 / 3.785411784),
}
#: field-name endings that a settings file leaves out, because its value carries the unit
SUFFIXES = ("_ft", "_mil", "_mph", "_min", "_deg", "_gal")
_MEASURE = re.compile(r"^\s*([-+]?[0-9]*\.?[0-9]+)\s*([A-Za-z/]+|['\"])\s*$")
_SIGNS = {"'": "ft", '"': "in"}


class Params(BaseModel):
    """Base of every settings model: frozen, no unknown keys, measures parsed and range-checked."""

    model_config = ConfigDict(
        frozen=True,
        extra="forbid",
        alias_generator=lambda name: public_name(name),
        populate_by_name=False,
    )

    @field_validator("*", mode="before")
    @classmethod
    def _measure(cls, value: Any, info: Any) -> Any:
        extra = cls.model_fields[info.field_name].json_schema_extra
        if not isinstance(extra, dict) or "dimension" not in extra:
            return value
        return _checked(value, extra)


ParamsT = TypeVar("ParamsT", bound=BaseModel)


def public_name(name: str) -> str:
    """Key in a settings file of a model field: without the ending that names the unit."""
    return next((name.removesuffix(end) for end in SUFFIXES if name.endswith(end)), name)


def parse_measure(text: str, dimension: str = "length") -> float:
    """Number in the own unit of a dimension (ft, mil, mph, min, deg, gal) from "24 in".

    Raises:
        ValueError: not a number with a unit of that dimension; the message names the good units.
    """
    units = [unit for unit, (dim, _) in UNITS.items() if dim == dimension]
    match = _MEASURE.match(text)
    unit = _SIGNS.get(match.group(2), match.group(2)) if match else ""
    if match is None or unit not in units:
        raise ValueError(f'expected a {dimension} such as "12 {units[0]}" ({", ".join(units)})')
    return float(match.group(1)) * UNITS[unit][1]


def length(default: str, *, low: str, high: str, source: str, text: str = "") -> Any:
    """A length in feet; `source` is the row id of a standard, or says where the default is from."""
    return measure("length", default, low=low, high=high, source=source, text=text)


def measure(
    dimension: str, default: str, *, low: str, high: str, source: str, text: str = ""
) -> Any:
    """A settings field that holds a measure of a dimension, with its allowed range and source."""
    low_value, high_value = parse_measure(low, dimension), parse_measure(high, dimension)
    extra: dict[str, Any] = {
        "dimension": dimension,
        "default": default,
        "low": low_value,
        "high": high_value,
        "range": f"{low} to {high}",
        "source": source,
    }
    return Field(
        default=parse_measure(default, dimension), description=text, json_schema_extra=extra
    )


def number(
    default: float, *, low: float, high: float, source: str, text: str = "", unit: str = ""
) -> Any:
    """A plain number with range and source; an int default makes the field a whole number."""
    extra: dict[str, Any] = {
        "dimension": "number",
        "default": default,
        "low": low,
        "high": high,
        "range": f"{low:g} to {high:g}" + (f" {unit}" if unit else ""),
        "source": source,
    }
    return Field(default=default, description=text, json_schema_extra=extra)


def choice(default: Any, *, source: str, text: str = "") -> Any:
    """A setting from a fixed list (the annotation is a Literal), a flag or a text."""
    return Field(default=default, description=text, json_schema_extra={"source": source})


@dataclass(frozen=True)
class Where:
    """Conditions on named attributes; all must hold.

    A condition is a value, a list of values, or a text such as ">= 35", "< 4", "not signal".
    """

    conditions: tuple[tuple[str, Any], ...] = ()

    def matches(self, row: Mapping[str, Any]) -> bool:
        return all(_holds(row.get(name), wanted) for name, wanted in self.conditions)

    def names(self) -> tuple[str, ...]:
        return tuple(name for name, _ in self.conditions)


def where(table: Mapping[str, Any]) -> Where:
    """`Where` from a TOML table."""
    return Where(tuple(sorted(table.items())))


@dataclass(frozen=True)
class Raw:
    """A settings file and its bases, merged but not yet checked.

    Attributes:
        table: merged TOML.
        files: (path, own table, text) from the file itself back to its last base.
    """

    table: dict[str, Any]
    files: tuple[tuple[Path, dict[str, Any], str], ...]

    def place(self, path: Path_) -> str:
        """`file:line` where a key is set, or the file that should hold it."""
        for file, table, text in self.files:
            if _has(table, path):
                return f"{file}:{line_of(text, path)}"
        file, _, text = self.files[0]
        return f"{file}:{line_of(text, path)}"


def shipped(name: str) -> Path | None:
    """A settings file that comes with the program, by name with or without `.toml`."""
    here = Path(__file__).resolve().parent
    file = name if name.endswith(".toml") else f"{name}.toml"
    places = (here / "configs" / file, here.parent / "configs" / file)
    return next((place for place in places if place.is_file()), None)


def read_raw(path: Path) -> Raw:
    """Read a settings file and all it extends; the nearer file wins, key by key.

    Raises:
        ConfigError: missing, not readable, not TOML, or files that extend each other in a ring.
    """
    files: list[tuple[Path, dict[str, Any], str]] = []
    _collect(path, files, ())
    merged: dict[str, Any] = {}
    for _, table, _ in reversed(files):
        merged = merge(merged, table)
    return Raw(merged, tuple(files))


def merge(base: Mapping[str, Any], top: Mapping[str, Any]) -> dict[str, Any]:
    """Base with the keys of top over it, table by table; lists are replaced whole."""
    out = dict(copy.deepcopy(dict(base)))
    for key, value in top.items():
        old = out.get(key)
        both = isinstance(old, dict) and isinstance(value, dict)
        out[key] = merge(old, value) if both and isinstance(old, dict) else copy.deepcopy(value)
    return out


def validate(
    model: type[ParamsT], raw: Raw, table: Mapping[str, Any] | None = None, at: Path_ = ()
) -> ParamsT:
    """Settings model from merged TOML, or from a table that stands at a key path of it.

    Raises:
        ConfigError: one line per fault: file, line, key, what was expected, nearest valid name.
    """
    try:
        return model.model_validate(raw.table if table is None else table)
    except ValidationError as fault:
        lines = [_fault_line(model, raw, error, at) for error in fault.errors()]
        raise ConfigError("\n".join(dict.fromkeys(lines))) from None


def nearest(name: str, names: Iterable[str]) -> str:
    """` Did you mean 'x'?` or the list of valid names."""
    known = sorted(names)
    close = difflib.get_close_matches(name, known, n=1, cutoff=0.6)
    return f" Did you mean '{close[0]}'?" if close else f" Valid: {', '.join(known)}."


def line_of(text: str, path: Path_) -> int:
    """Line (from 1) of a TOML text where a key path, or its longest known part, is set."""
    best, depth = 1, 0
    for number_, found in _key_lines(text):
        shared = _shared_depth(found, path)
        if shared > depth:
            best, depth = number_, shared
    return best


def _checked(value: Any, extra: Mapping[str, Any]) -> Any:
    dimension = str(extra["dimension"])
    if dimension == "number":
        got = _plain_number(value)
    elif isinstance(value, str):
        got = _measured(value, dimension)
    else:
        unit = next(u for u, (dim, _) in UNITS.items() if dim == dimension)
        raise PydanticCustomError(
            "measure", "{text}", {"text": f'needs a unit, e.g. "{value} {unit}"'}
        )
    if not float(extra["low"]) - 1e-9 <= got <= float(extra["high"]) + 1e-9:
        text = f"{value} is outside {extra['range']} ({extra['source']})"
        raise PydanticCustomError("range", "{text}", {"text": text})
    return got


def _plain_number(value: Any) -> Any:
    if isinstance(value, bool) or not isinstance(value, int | float):
        text = f"expected a number, got {value!r}"
        raise PydanticCustomError("number", "{text}", {"text": text})
    return value


def _measured(value: str, dimension: str) -> float:
    try:
        return parse_measure(value, dimension)
    except ValueError as fault:
        text = f"{fault}, got {value!r}"
        raise PydanticCustomError("measure", "{text}", {"text": text}) from None


def _holds(got: Any, wanted: Any) -> bool:
    if isinstance(wanted, list):
        return any(_holds(got, one) for one in wanted)
    if isinstance(wanted, str) and (match := re.match(r"^(>=|<=|>|<|not\s)\s*(.+)$", wanted)):
        return _compares(got, match.group(1).strip(), match.group(2).strip())
    if _is_number(got) and _is_number(wanted):
        return float(got) == float(wanted)
    return got is not None and str(got).casefold() == str(wanted).casefold()


def _is_number(value: Any) -> bool:
    """Numbers, and texts that are numbers: 25, 25.0 and "25" ask for the same."""
    if isinstance(value, bool) or value is None:
        return False
    try:
        return float(value) == float(value)
    except (TypeError, ValueError):
        return False


def _compares(got: Any, sign: str, text: str) -> bool:
    if sign == "not":
        return not _holds(got, text)
    try:
        left, right = float(got), float(text)
    except (TypeError, ValueError):
        return False
    return {">=": left >= right, "<=": left <= right, ">": left > right, "<": left < right}[sign]


def _collect(
    path: Path, files: list[tuple[Path, dict[str, Any], str]], chain: tuple[Path, ...]
) -> None:
    """Append a file and then its bases, nearest first."""
    if path.resolve() in chain:
        ring = " -> ".join(p.name for p in (*chain, path))
        raise ConfigError(f"{path}: files extend each other in a ring: {ring}")
    table, text = _parse(path)
    bases = table.pop("extends", [])
    if not isinstance(bases, str | list):
        line = line_of(text, ("extends",))
        raise ConfigError(f"{path}:{line}: extends: expected a file name or a list, got {bases!r}.")
    files.append((path, _absolute(table, path.parent), text))
    for name in [bases] if isinstance(bases, str) else bases:
        _collect(_base_path(path, str(name), text), files, (*chain, path.resolve()))


def _base_path(path: Path, name: str, text: str) -> Path:
    beside = path.parent / name
    base = beside if beside.is_file() else shipped(Path(name).name)
    if base is None:
        line = line_of(text, ("extends",))
        raise ConfigError(f"{path}:{line}: extends: no file {name!r} beside it, nor shipped.")
    return base


def _parse(path: Path) -> tuple[dict[str, Any], str]:
    try:
        text = path.read_text(encoding="utf-8")
    except FileNotFoundError:
        raise ConfigError(
            f"{path}: no such file. `layoutgen init SOURCE -o {path.name}` writes one."
        ) from None
    except (OSError, UnicodeDecodeError) as fault:
        raise ConfigError(f"{path}: cannot be read ({fault}).") from None
    try:
        return tomllib.loads(text), text
    except tomllib.TOMLDecodeError as fault:
        raise ConfigError(f"{path}: not valid TOML: {fault}.") from None


def _absolute(table: dict[str, Any], folder: Path) -> dict[str, Any]:
    """Paths of a file, made absolute from its own folder (before bases are merged in)."""
    for kind in ("inputs", "symbols"):
        specs = table.get(kind)
        for spec in specs.values() if isinstance(specs, dict) else ():
            if isinstance(spec, dict) and isinstance(spec.get("source"), str):
                spec["source"] = str((folder / spec["source"]).resolve())
    weather = table.get("weather")
    if isinstance(weather, dict) and isinstance(weather.get("file"), str) and weather["file"]:
        weather["file"] = str((folder / weather["file"]).resolve())
    project = table.get("project")
    if isinstance(project, dict) and isinstance(project.get("output"), str):
        project["output"] = str((folder / project["output"]).resolve())
    return table


def _fault_line(model: type[BaseModel], raw: Raw, error: Any, at: Path_) -> str:
    inner = tuple(key for key in error["loc"] if key not in ("[key]",))
    path = (*at, *inner)
    where_ = f"{raw.place(path)}: {_dotted(path)}"
    if error["type"] == "extra_forbidden":
        return f"{where_}: no such setting.{nearest(str(path[-1]), _names_at(model, inner[:-1]))}"
    message = str(error["msg"]).removeprefix("Value error, ")
    if error["type"] == "missing":
        return f"{where_}: this setting is required."
    if error["type"] in ("range", "measure", "number", "custom"):
        return f"{where_}: {message}."
    return f"{where_}: {message[0].lower()}{message[1:]}, got {error['input']!r}."


def _dotted(path: Sequence[Key]) -> str:
    text = ""
    for key in path:
        text += f"[{key}]" if isinstance(key, int) else f".{key}" if text else str(key)
    return text or "file"


def _names_at(model: type[BaseModel], path: Path_) -> list[str]:
    """Valid keys of the model at a path."""
    here: Any = model
    for key in path:
        here = _step(here, key)
    if not (isinstance(here, type) and issubclass(here, BaseModel)):
        return []
    return [str(f.alias or name) for name, f in here.model_fields.items()]


def _step(model: Any, key: Key) -> Any:
    """Model one key further down; looks through containers and optionals."""
    if isinstance(model, type) and issubclass(model, BaseModel):
        fields = model.model_fields.items()
        found = [f.annotation for name, f in fields if key in (f.alias, name)]
        # a key of a table of models, or a number in a list of them: still that model
        return _inner_model(found[0]) if found else model
    return model


def _inner_model(annotation: Any) -> Any:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    return next(filter(None, (_inner_model(a) for a in get_args(annotation))), None)


def _has(table: Any, path: Path_) -> bool:
    for key in path:
        found = key in table if isinstance(table, dict) else _in_list(table, key)
        if not found:
            return False
        table = table[key]
    return True


def _in_list(table: Any, key: Key) -> bool:
    return isinstance(table, list) and isinstance(key, int) and key < len(table)


def _key_lines(text: str) -> Iterable[tuple[int, Path_]]:
    """(line, key path) of every table header and key; good enough to point a user at a line."""
    table: Path_ = ()
    counts: dict[Path_, int] = {}
    for number_, line in enumerate(text.splitlines(), start=1):
        header = re.match(r"^\s*(\[{1,2})\s*([^\]]+?)\s*\]", line)
        if header:
            table = _with_counts(_split_key(header.group(2)), header.group(1) == "[[", counts)
            yield number_, table
        elif pair := re.match(r"^\s*([A-Za-z0-9_\-.\"' ]+?)\s*=", line):
            yield number_, (*table, *_split_key(pair.group(1)))


def _with_counts(path: Path_, is_array: bool, counts: dict[Path_, int]) -> Path_:
    """Path of a header with the running numbers of arrays of tables put in."""
    if is_array:
        counts[path] = counts.get(path, -1) + 1
    out: Path_ = ()
    for depth in range(1, len(path) + 1):
        out = (*out, path[depth - 1])
        if path[:depth] in counts:
            out = (*out, counts[path[:depth]])
    return out


def _split_key(text: str) -> Path_:
    parts = re.findall(r"\"[^\"]*\"|'[^']*'|[^.\s]+", text)
    return tuple(part.strip("\"'") for part in parts)


def _shared_depth(found: Path_, path: Path_) -> int:
    """Length of `found` if it is a beginning of `path`, else 0."""
    return len(found) if path[: len(found)] == found else 0
