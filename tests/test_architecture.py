"""Import direction and size gates: the layout of the code must not rot."""

from __future__ import annotations

import ast
import io
import statistics
import tokenize
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
PACKAGE = ROOT / "layoutgen"
#: from the top down; a module may import what stands below it, or beside it where that is said
ORDER = [
    {"__main__"},
    {"cli"},
    {"base_file"},
    {"report"},
    {"pipeline"},
    {"layers"},
    {"settings"},
    {"where_names"},
    {"export"},
    {"gis.write"},
    {"tours"},
    {"work"},
    {"markings"},
    {"street"},
    {"gis.propose"},
    {"gis.project_text"},
    {"gis.mapping"},
    {"gis.names"},
    {"gis.clean"},
    {"gis.read"},
    {"gis.derive"},
    {"gis.plane"},
    {"gis.cells"},
    {"config"},
    {"geometry", "gis.schema", "gis.roles"},
    {"gis.work_layers"},
    {"gis.columns"},
    {"gis.street_role"},
    {"gis.role_types"},
    {"errors", "records"},
]
MODULES = sorted(p for p in PACKAGE.rglob("*.py"))
#: field factories: every argument is a property of the field, given by name
MANY_NAMED = {"measure", "number"}


def module_name(path: Path) -> str:
    parts = path.relative_to(ROOT).with_suffix("").parts[1:]
    return ".".join(part for part in parts if part != "__init__")


def rank(module: str) -> int | None:
    """Place in ORDER; None for the package root, which holds the version only."""
    if not module:
        return None
    heads = {module, module.split(".")[0]}
    found = [i for i, group in enumerate(ORDER) if group & heads]
    return found[0] if found else -1


def imported(path: Path) -> list[str]:
    """Modules of the package that a file imports."""
    out = []
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("layoutgen"):
            base = (node.module or "").removeprefix("layoutgen").lstrip(".")
            for alias in node.names:
                sub = f"{base}.{alias.name}".lstrip(".")
                is_module = (PACKAGE / (sub.replace(".", "/") + ".py")).exists() or (
                    PACKAGE / sub.replace(".", "/")
                ).is_dir()
                out.append(sub if is_module else base)
        if isinstance(node, ast.Import):
            out += [a.name.removeprefix("layoutgen.") for a in node.names if "layoutgen" in a.name]
    return out


@pytest.mark.parametrize("path", MODULES, ids=module_name)
def test_imports_point_down(path: Path) -> None:
    own = module_name(path)
    here = rank(own)
    if here is None or own == "gis":
        return
    assert here >= 0, f"{own} has no place in ORDER"
    for other in imported(path):
        there = rank(other)
        if there is None or other == "gis":
            continue
        same = other.split(".")[0] == own.split(".")[0] and there == here
        assert there > here or same, f"{own} imports {other}"


def test_rules_and_templates_never_import_one_another() -> None:
    for family in ("rules", "templates"):
        for path in (PACKAGE / "markings" / family).glob("*.py"):
            bad = [m for m in imported(path) if m.startswith(f"markings.{family}.")]
            assert not bad, f"{path.name} imports {bad}"


def test_only_the_seam_imports_the_solver() -> None:
    users = [p for p in MODULES if "pyvrp" in p.read_text(encoding="utf-8")]
    assert [module_name(p) for p in users] == ["tours.solver"]


def functions() -> list[tuple[str, ast.FunctionDef, int]]:
    """(where, function, code lines) of every function."""
    out = []
    for path in MODULES:
        source = path.read_text(encoding="utf-8")
        code = code_lines(source)
        for node in ast.walk(ast.parse(source)):
            if isinstance(node, ast.FunctionDef):
                lines = sum(1 for n in code if node.lineno <= n <= (node.end_lineno or 0))
                out.append((f"{module_name(path)}.{node.name}", node, lines))
    return out


def code_lines(source: str) -> set[int]:
    """Lines that are neither blank, comment nor docstring."""
    quiet = {tokenize.COMMENT, tokenize.NL, tokenize.NEWLINE, tokenize.INDENT, tokenize.DEDENT}
    docs: set[int] = set()
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant):
            docs |= set(range(node.lineno, (node.end_lineno or 0) + 1))
    out: set[int] = set()
    for token in tokenize.generate_tokens(io.StringIO(source).readline):
        if token.type not in quiet and token.type != tokenize.ENDMARKER:
            out |= set(range(token.start[0], token.end[0] + 1))
    return out - docs


def test_functions_are_short_and_take_few_arguments() -> None:
    found = functions()
    long = [(where, lines) for where, _, lines in found if lines > 60]
    assert not long
    many = [
        where
        for where, node, _ in found
        if len(node.args.args) + len(node.args.kwonlyargs) > 6 and node.name not in MANY_NAMED
    ]
    assert not many
    positional = [where for where, node, _ in found if len(node.args.args) > 6]
    assert not positional
    assert statistics.median(lines for *_, lines in found) < 10


def test_modules_are_short() -> None:
    sizes = {module_name(p): len(code_lines(p.read_text(encoding="utf-8"))) for p in MODULES}
    assert not {name: size for name, size in sizes.items() if size > 350}


def test_public_functions_say_what_they_do() -> None:
    bare = [
        where
        for where, node, _ in functions()
        if not where.split(".")[-1].startswith("_")
        and ast.get_docstring(node) is None
        and not rule_hook(where)
        and is_top_level(where, node)
    ]
    assert not bare


def rule_hook(where: str) -> bool:
    """`mark` and `needs` of rules are told by the module's own docstring."""
    return where.startswith("markings.rules.") and where.endswith((".mark", ".needs"))


def is_top_level(where: str, node: ast.FunctionDef) -> bool:
    return node.col_offset == 0 and not where.startswith("cli.main")
