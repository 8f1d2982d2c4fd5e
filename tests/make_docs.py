"""Generated parts of README.md, us_base.toml, CONFORMITY.md, the pictures; `test_docs.py` compares.

python tests/make_docs.py             rewrites the texts
python tests/make_docs.py --pictures  also draws the README pictures anew
"""

from __future__ import annotations

import re
import sys
import tempfile
from pathlib import Path

from conformity_table import FOLDER, conformity

from layoutgen.base_file import base_toml
from layoutgen.cli import app
from layoutgen.gis.roles import ROLES
from layoutgen.gis.schema import LAYERS
from layoutgen.markings.catalog import rule_catalog
from layoutgen.pipeline import generate, load_project
from layoutgen.report import settings_rows
from layoutgen.settings import Project
from layoutgen.street.precedence import ORDERS
from layoutgen.where_names import WHERE_NAMES

ROOT = Path(__file__).parents[1]
#: picture -> (marking in the middle, size in ft)
PICTURES = {
    "five_leg": ("crosswalk/N0056-E/1", 230.0),
    "arterial": ("stop_line/N0061-N/1", 330.0),
    "roundabout": ("yield_line/N0175-N/1", 290.0),
}


def commands() -> str:
    """Commands with their one-line help."""
    lines = ["| command | what it does |", "|---|---|"]
    for command in app.registered_commands:
        name = str(command.callback.__name__) if command.callback else ""
        text = (command.callback.__doc__ or "").strip().replace("\n", " ")
        lines.append(f"| `layoutgen {name}` | {' '.join(text.split())} |")
    return "\n".join(lines)


def inputs() -> str:
    """Roles and fields."""
    lines = ["| input | field | meaning | values |", "|---|---|---|---|"]
    for role in ROLES:
        for field in role.fields:
            values = ", ".join(field.choices) or field.type.replace("_", "/")
            lines.append(f"| {role.name} | `{field.name}` | {field.text} | {values} |")
    return "\n".join(line.replace("left|through|right", "left\\|through\\|right") for line in lines)


def rules() -> str:
    """Rules with the names of their settings."""
    lines = ["| rule | what and why | looks at | settings |", "|---|---|---|---|"]
    for name, rule in rule_catalog().items():
        keys = ", ".join(f"`{row[0]}`" for row in settings_rows(rule.params))
        lines.append(f"| `{name}` | {rule.text} | {rule.on} | {keys} |")
    return "\n".join(lines)


def where_names() -> str:
    return ", ".join(f"`{name}`" for name in WHERE_NAMES)


def layers() -> str:
    """Layers with their columns."""
    lines = ["| layer | geometry | what | columns |", "|---|---|---|---|"]
    for layer in LAYERS:
        columns = ", ".join(c.name for c in layer.columns)
        lines.append(f"| `{layer.name}` | {layer.geometry or 'table'} | {layer.text} | {columns} |")
    return "\n".join(lines)


def precedence() -> str:
    """Sources of every value, the one that counts first on top."""
    lines = ["| value | | where it comes from | told as |", "|---|---|---|---|"]
    for order in ORDERS:
        for k, source in enumerate(order.sources):
            told = f"`{order.column}` = {source.label}" if order.column else ""
            name = order.value if k == 0 else ""
            lines.append(f"| {name} | {k + 1} | {source.text} | {told} |")
    return "\n".join(lines)


PARTS = {
    "commands": commands,
    "inputs": inputs,
    "precedence": precedence,
    "rules": rules,
    "where": where_names,
    "layers": layers,
}


def filled(text: str) -> str:
    """README with every generated part made anew."""
    for name, make in PARTS.items():
        pattern = re.compile(rf"(<!-- {name} -->\n).*?(<!-- end -->)", re.S)
        text, count = pattern.subn(lambda m, make=make: m[1] + make() + "\n" + m[2], text)
        if count != 1:
            raise SystemExit(f"README.md: marker {name} found {count} times")
    return text


def demo_into(folder: Path) -> Project:
    """The demo project with its output in another folder."""
    project = load_project(ROOT / "configs" / "demo.toml")
    own = project.settings.project.model_copy(update={"output": str(folder / "demo.gpkg")})
    settings = project.settings.model_copy(update={"project": own})
    return Project(project.path, settings, project.rules, project.settings_hash)


def draw_pictures() -> None:
    from family_pictures import draw_families
    from render import place_of, render

    with tempfile.TemporaryDirectory() as folder:
        project = demo_into(Path(folder))
        generate(project, print)
        draw_families(project.output, ROOT / "tests" / "pictures")
        for name, (marking, size) in PICTURES.items():
            out = ROOT / "tests" / "pictures" / f"{name}.png"
            center = place_of(project.output, marking)
            render(project.output, out, center=center, size_ft=size, dpi=75)


def main() -> None:
    readme = ROOT / "README.md"
    readme.write_text(filled(readme.read_text(encoding="utf-8")), encoding="utf-8")
    (ROOT / "configs" / "us_base.toml").write_text(base_toml() + "\n", encoding="utf-8")
    (FOLDER / "CONFORMITY.md").write_text(conformity(), encoding="utf-8")
    if "--pictures" in sys.argv:
        draw_pictures()


if __name__ == "__main__":
    main()
