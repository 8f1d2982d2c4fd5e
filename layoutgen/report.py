"""Screen tables: what a run found and made, on one screen."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any, Literal, get_args, get_origin

from rich import box
from rich.markup import escape
from rich.table import Table

from layoutgen.config import Params
from layoutgen.errors import FindingLog
from layoutgen.export.formats import CAUTION
from layoutgen.layers import reported_rows
from layoutgen.markings.catalog import rule_catalog, standard_rows
from layoutgen.pipeline import Audited, Layout, Recorded
from layoutgen.settings import Project
from layoutgen.tours.tour import TourTables

_SQFT_PER_M2 = 10.763910416709722
_MAX_EXAMPLES = 3


def inputs_table(layout: Layout) -> Table:
    """Rows read, used and reported per input."""
    table = _table("inputs", ["role", "file", ">rows", ">used", ">in findings"])
    for role, rows in layout.inputs.rows.items():
        reported = reported_rows(layout.findings, role)
        name = Path(layout.inputs.files[role]).name
        _add(table, role, name, str(rows), str(rows - reported), str(reported))
    design = layout.design
    table.caption = f"{len(design.segments)} segments, {len(design.intersections)} intersections"
    return table


def layout_table(layout: Layout, *, by: Sequence[str] = ("kind", "style", "color")) -> Table:
    """Markings by kind, and by style and color if wished."""
    names = ["marking" if column == "kind" else column for column in by]
    table = _table("markings", [*names, ">count", ">area sq ft", ">paint gal", ">beads lb"])
    for keys, rows in layout.markings.groupby(list(by), sort=True):
        sums = [rows["area_sqft"].sum(), rows["paint_gal"].sum(), rows["beads_lb"].sum()]
        _add(table, *keys, f"{len(rows):,}", *(f"{v:,.1f}" for v in sums))
    return table


def tours_table(tours: TourTables) -> Table:
    """One row per truck shift."""
    columns = [">day", "truck", "start", "finish", ">jobs", ">miles", ">drive", ">work", ">other"]
    table = _table("tours (minutes)", [*columns, ">white gal", ">yellow gal"])
    for row in tours.tours.to_dict("records"):
        other = row["dry_min"] + row["wait_min"] + row["changeover_min"]
        names = ("date", "truck", "start", "finish", "jobs")
        _add(
            table,
            *(str(row[c]).removeprefix("day ").removeprefix("truck ") for c in names),
            f"{row['drive_mi']:.1f}",
            *(f"{v:.0f}" for v in (row["drive_min"], row["paint_min"], other)),
            *(f"{row[c]:.1f}" for c in ("white_gal", "yellow_gal")),
        )
    lost = len(tours.unserved)
    table.caption = f"{lost} jobs not served, see layer unserved" if lost else "all jobs served"
    return table


def audit_table(audited: Audited) -> Table:
    """Rows of the standard that were asked, and how often they are broken."""
    rows = standard_rows()
    columns = ["row", "about", "section", "whose", "a breach is", ">checked", ">breached"]
    table = _table(f"rows asked of {audited.file.name}", columns)
    for count in audited.result.rows:
        row = rows[count.row]
        words = (count.row, row["item"], row["section"], count.jurisdiction, count.severity)
        _add(table, *words, f"{count.checked:,}", f"{count.breached:,}")
    return table


def audit_log(audited: Audited) -> FindingLog:
    """Findings of an audit."""
    return FindingLog(audited.result.findings)


def audit_errors(audited: Audited) -> int:
    """Number of errors in a layout."""
    return sum(f.severity == "error" for f in audited.result.findings)


def audit_summary(audited: Audited) -> str:
    """The audit in a few lines; rows of the file = judged + told."""
    result = audited.result
    count = Counter(f.severity for f in result.findings)
    told = ", ".join(f"{count[s]} {s}s" for s in ("error", "warning", "notice"))
    asked = sum(1 for row in result.rows if row.checked)
    broken = sum(1 for row in result.rows if row.breached)
    return "\n".join(
        [
            f"{audited.rows:,} rows in {audited.file.name}: {result.judged:,} judged, "
            f"{audited.rows - result.judged:,} in findings; {told}",
            f"{asked} rows of the standard apply, {broken} are broken; silence is no proof: "
            "rows without a check are listed in layoutgen/markings/CONFORMITY.md",
            CAUTION,
        ]
    )


def findings_table(log: FindingLog, *, every: bool) -> Table | str:
    """Findings by code with examples, or one by one."""
    if not len(log):
        return "no findings"
    if every:
        table = _table("findings", ["severity", "code", "source", "id", "what", "fix"])
        for f in log:
            _add(table, f.severity, f.code, f.source, f.feature_id, f.text, f.fix)
        return table
    groups: dict[tuple[str, str], list[Any]] = defaultdict(list)
    for f in log:
        groups[(f.severity, f.code)].append(f)
    table = _table("findings", ["severity", "code", ">count", "what (first)", "ids"])
    for (severity, code), found in sorted(groups.items()):
        ids = ", ".join(sorted({f.feature_id for f in found if f.feature_id})[:_MAX_EXAMPLES])
        more = ", ..." if ids and len(found) > _MAX_EXAMPLES else ""
        _add(table, severity, code, str(len(found)), found[0].text, ids + more)
    return table


def findings_line(log: FindingLog) -> str:
    """Number of findings by severity, in one line."""
    count = Counter(f.severity for f in log)
    told = ", ".join(f"{count[s]} {s}s" for s in ("error", "warning", "notice") if count[s])
    return f"findings: {told or 'none'}; see layer findings, or --verbose before the command"


def summary(layout: Layout, tours: TourTables, project: Project) -> str:
    """The run in a few lines."""
    markings, planned = layout.markings, tours.tours
    area = float(markings["area_sqft"].sum())
    metric = project.settings.project.units == "m"
    size = f"{area / _SQFT_PER_M2:,.0f} m2" if metric else f"{area:,.0f} sq ft"
    way = float(planned["drive_mi"].sum())
    drive = f"{way * 1.609344:,.1f} km" if metric else f"{way:,.1f} miles"
    hours = float((planned["drive_min"] + planned["paint_min"]).sum()) / 60
    return "\n".join(
        [
            f"{len(markings):,} markings on {len(layout.design.in_layout()):,} segments and "
            f"{sum(not c.outside for c in layout.design.intersections):,} intersections: {size}, "
            f"{markings['paint_gal'].sum():,.0f} gal paint, "
            f"{markings['beads_lb'].sum():,.0f} lb beads",
            f"{len(tours.jobs):,} jobs in {len(planned)} truck shifts: {drive} driven, "
            f"{hours:,.1f} hours at the wheel and at work; {len(tours.unserved)} jobs not served",
            CAUTION,
        ]
    )


def record_tables(done: Recorded) -> Table:
    """Used against planned, and rates that the records propose."""
    table = _table("recorded so far", ["what", "of", ">recorded", ">planned or set", "spread"])
    for row in done.totals.to_dict("records"):
        of = f"{row['color']} {row['material']}, {row['sections']} sections"
        for name, unit in (("paint_gal", "gal"), ("beads_lb", "lb"), ("minutes", "min")):
            used, planned = row[f"{name}_used"], row[f"{name}_planned"]
            if planned:
                _add(table, name.split("_")[0], of, f"{used:.1f} {unit}", f"{planned:.1f}", "")
    for one in done.proposals:
        spread = f"middle half of {one.count}: {one.low:.1f} to {one.high:.1f}"
        own = f"{one.median:.1f} {one.unit}"
        _add(table, "proposed", one.key, own, f"{one.present:.1f}", spread)
    return table


def record_line(done: Recorded) -> str:
    """What was entered and what is left, in one line."""
    status = done.sections["status"]
    left = int((status != "painted").sum())
    return (
        f"{done.entered:,} sections entered; {len(status) - left:,} painted, {left:,} left. "
        "`layoutgen route` plans what is left."
    )


def explanation(found: Mapping[str, Any]) -> str:
    """Answer of `layoutgen explain`."""
    record, setting = found["marking"], found["rule"]
    rows = standard_rows()
    lines = [f"{record['marking_id']}: {record['kind']}, {record['style']}, {record['color']}"]
    lines += [f"  street    {record['street']} ({record['segment_id']})"]
    place = f"station {record['station_ft']:.1f} ft, offset {record['offset_ft']:.1f} ft"
    lines += [f"  place     {place}"]
    lines += [f"  size      {record['area_sqft']:.2f} sq ft"]
    lines += [f"  rule      {record['rule']}: {setting.rule.text}"]
    lines += [f"  reason    {record['reason']}"]
    lines += ["  standard"]
    for name in str(record["sources"]).split(", "):
        row = rows.get(name)
        lines.append(f"    {name:10} {_row_text(row) if row else 'row not in the table'}")
    lines += [f"  settings  [rules.{record['rule']}]"]
    lines += [f"    {line}" for line in settings_lines(found["params"])]
    return "\n".join([*lines, "", CAUTION])


def rules_tables() -> Iterator[Table]:
    """Every rule with its settings."""
    for name, rule in rule_catalog().items():
        table = _table(f"[rules.{name}]", ["setting", "default", "range", "source", "meaning"])
        table.caption = escape(rule.text)
        for key, default, allowed, source, text in settings_rows(rule.params):
            _add(table, key, default, allowed, source, text)
        yield table


def settings_rows(model: type[Params]) -> list[tuple[str, str, str, str, str]]:
    """(key, default as written, range, source, meaning) of every setting of a model."""
    out = []
    for name, field in model.model_fields.items():
        if isinstance(field.annotation, type) and issubclass(field.annotation, Params):
            continue  # a table of its own
        extra = field.json_schema_extra if isinstance(field.json_schema_extra, dict) else {}
        default = toml_value(extra.get("default", field.default))
        allowed = str(extra.get("range", "")) or _choices(field.annotation)
        source = str(extra.get("source", ""))
        out.append((str(field.alias or name), default, allowed, source, field.description or ""))
    return out


def settings_lines(params: Params) -> list[str]:
    """Settings in force, as `key = value  # source`."""
    out = []
    for name, field in type(params).model_fields.items():
        extra = field.json_schema_extra if isinstance(field.json_schema_extra, dict) else {}
        value = getattr(params, name)
        unit = {"length": " ft", "time": " min", "speed": " mph", "film": " mil"}
        suffix = unit.get(str(extra.get("dimension", "")), "")
        shown = f"{value:g}{suffix}" if isinstance(value, float) else toml_value(value)
        out.append(f"{field.alias or name} = {shown}  # {extra.get('source', '')}")
    return out


def toml_value(value: Any) -> str:
    """A value as TOML writes it."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, tuple | list):
        return "[" + ", ".join(toml_value(v) for v in value) + "]"
    return f'"{value}"' if isinstance(value, str) else f"{value:g}" if value is not None else ""


def proposal_table(proposal: Any, output: Path) -> Table:
    """Answer of `layoutgen init`."""
    table = _table(f"wrote {output}", ["role", "field", "column", ">confidence", "why"])
    for row in proposal.rows:
        column = row.column if isinstance(row.column, str) else " + ".join(row.column)
        why = row.why if row.active else f"left as a comment: {row.why}"
        _add(table, row.role, row.field, column, f"{row.confidence:.2f}", why)
    return table


def _row_text(row: Mapping[str, str]) -> str:
    return f"{row['item']}: {row['value']} {row['unit']} ({row['section']}, {row['source']})"


def _choices(annotation: Any) -> str:
    if get_origin(annotation) is Literal:
        return " | ".join(str(a) for a in get_args(annotation))
    inner = [a for a in get_args(annotation) if get_origin(a) is Literal]
    return f"list of {_choices(inner[0])}" if inner else ""


def _add(table: Table, *cells: str) -> None:
    """A row of plain text: what looks like markup in a name or a setting is shown as it is."""
    table.add_row(*(escape(cell) for cell in cells))


def _table(title: str, columns: list[str]) -> Table:
    """Table whose columns starting with `>` stand right."""
    table = Table(
        title=escape(title),
        title_justify="left",
        header_style="bold",
        caption_justify="left",
        box=box.SIMPLE_HEAD,
        pad_edge=False,
    )
    for name in columns:
        right = name.startswith(">")
        table.add_column(
            escape(name.lstrip(">")), justify="right" if right else "left", overflow="fold"
        )
    return table
