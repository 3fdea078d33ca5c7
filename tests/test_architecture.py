"""The rules of the house that a machine can check."""

from __future__ import annotations

import ast
import json
import os
import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
APPS = ("fleet", "sites", "weather")
WRITES = {
    "save",
    "create",
    "update",
    "delete",
    "bulk_create",
    "bulk_update",
    "get_or_create",
    "update_or_create",
}
# `.update(` on a dict or a hash is no write; these receivers are rows of the database by name.
LONGEST_MODULE = 300
FORBIDDEN_NAMES = {"utils", "helpers", "common", "core"}


def _modules(*, with_migrations: bool = False) -> Iterator[Path]:
    """Every production module."""
    for app in APPS:
        for path in sorted((ROOT / app).rglob("*.py")):
            if with_migrations or "migrations" not in path.parts:
                yield path


def _calls(tree: ast.AST) -> Iterator[ast.Call]:
    """Every call of a module."""
    return (node for node in ast.walk(tree) if isinstance(node, ast.Call))


def test_loading_the_formulas_does_not_load_django() -> None:
    names = [
        ".".join(path.relative_to(ROOT).with_suffix("").parts)
        for path in _modules()
        if "calc" in path.parts or {"routing", "scoring"} & set(path.parts)
    ]
    code = (
        "import importlib, json, sys\n"
        f"[importlib.import_module(name) for name in {names!r}]\n"
        "heavy = {'django', 'celery', 'requests'}\n"
        "print(json.dumps(sorted(name for name in sys.modules if name.split('.')[0] in heavy)))"
    )

    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True)

    assert json.loads(done.stdout.splitlines()[-1]) == []


def test_no_module_is_longer_than_the_limit() -> None:
    long = {
        str(path.relative_to(ROOT)): count
        for path in _modules()
        if (count := len(path.read_text(encoding="utf-8").splitlines())) > LONGEST_MODULE
    }

    assert long == {}


def test_database_writes_stand_in_services_and_imports_only() -> None:
    found = []
    for path in _modules():
        if {"services", "importing"} & set(path.parts):
            continue
        tree = ast.parse(path.read_text(encoding="utf-8"))
        for call in _calls(tree):
            if not isinstance(call.func, ast.Attribute) or call.func.attr not in WRITES:
                continue
            receiver = ast.unparse(call.func.value)
            if "objects" in receiver or "_base_manager" in receiver or call.func.attr == "save":
                found.append(f"{path.relative_to(ROOT)}:{call.lineno} {receiver}.{call.func.attr}")

    assert found == []


def test_the_clock_is_read_at_the_edge_only() -> None:
    inner = (
        "calc",
        "models",
        "selectors",
        "services",
        "importing",
        "routing",
        "scoring",
        "streets",
        "demo",
        "exports",
    )
    pattern = re.compile(r"timezone\.now\(|datetime\.now\(|date\.today\(|localdate\(|time\.time\(")
    found = [
        f"{path.relative_to(ROOT)}:{number}"
        for path in _modules()
        if set(inner) & set(path.parts)
        for number, line in enumerate(path.read_text(encoding="utf-8").splitlines(), start=1)
        if pattern.search(line)
    ]

    assert found == []


def test_views_never_load_a_site_past_the_guard() -> None:
    found = [
        f"{path.relative_to(ROOT)}:{number}"
        for path in _modules()
        if "views" in path.parts or path.name == "views.py"
        for number, line in enumerate(path.read_text(encoding="utf-8").splitlines(), start=1)
        if re.search(r"\bSite\.objects|get_object_or_404\(Site\b", line)
    ]

    assert found == []


def test_outgoing_http_leaves_from_the_weather_sources_only() -> None:
    found = [
        str(path.relative_to(ROOT))
        for path in _modules()
        if re.search(
            r"^\s*(import|from) (requests|urllib\.request|http\.client|httpx)\b", path.read_text(), re.M
        )
        and "sources" not in path.parts
    ]

    assert found == []


def test_only_one_module_reads_files_through_gdal() -> None:
    found = {
        str(path.relative_to(ROOT))
        for path in _modules()
        if re.search(
            r"^\s*(import|from) (pyogrio|fiona)\b|geopandas\.read_file|gpd\.read_file", path.read_text(), re.M
        )
    }

    assert found <= {"sites/importing/forms/gdal.py"}


def test_files_for_spreadsheets_are_written_in_one_place() -> None:
    found = {
        str(path.relative_to(ROOT))
        for path in _modules()
        if re.search(r"csv\.writer\(|csv\.DictWriter\(|\.to_csv\(|\.to_excel\(", path.read_text())
    }

    # The demo's own files are read by our imports and by nobody else.
    assert found == {"weather/calc/csv_cells.py", "fleet/demo/files.py"}


def test_no_code_runs_what_people_write() -> None:
    running = {"eval", "exec", "compile", "system", "popen", "loads", "load", "raw", "extra", "RawSQL"}
    reads_json_or_numbers = {"json", "np", "signing"}
    found = set()
    for path in _modules():
        for call in _calls(ast.parse(path.read_text(encoding="utf-8"))):
            name = call.func.attr if isinstance(call.func, ast.Attribute) else ast.unparse(call.func)
            owner = ast.unparse(call.func.value) if isinstance(call.func, ast.Attribute) else ""
            has_text = bool(call.args) and isinstance(call.args[0], ast.Constant)
            if name in running and owner not in reads_json_or_numbers and not (owner == "re" and has_text):
                found.add(f"{path.relative_to(ROOT)}: {owner}.{name}")
            if owner == "subprocess" or (name == "execute" and "cursor" in owner and not has_text):
                found.add(f"{path.relative_to(ROOT)}: {owner}.{name}")
    scripts = [
        str(path.relative_to(ROOT))
        for path in (ROOT / "fleet" / "static" / "fleet" / "js").rglob("*.js")
        if re.search(r"\beval\(|new Function\(|document\.write|setTimeout\([\"']", path.read_text("utf-8"))
    ]

    assert scripts == []
    # The demo's own worker; statements that Django itself makes of the tables' names.
    wanted = {
        "fleet/management/commands/demo.py: subprocess.Popen",
        # The planner's second search: our own module, no word of people in its call.
        "fleet/routing/second_core.py: subprocess.Popen",
        "fleet/services/company/backup.py: cursor.execute",
        # A statement of a model's own table and columns; the values go in as parameters.
        "fleet/services/bulk_rows.py: cursor.execute",
    }
    assert found == wanted


def test_secrets_come_from_the_environment_alone() -> None:
    name_of_secret = re.compile(r"secret|passw|token|api_?key|credential", re.IGNORECASE)
    found = []
    for path in _modules():
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            given: list[tuple[str, ast.expr | None]] = []
            if isinstance(node, ast.Assign):
                given = [(ast.unparse(target), node.value) for target in node.targets]
            elif isinstance(node, ast.AnnAssign):
                given = [(ast.unparse(node.target), node.value)]
            elif isinstance(node, ast.Call):
                given = [(word.arg or "", word.value) for word in node.keywords]
            elif isinstance(node, ast.Dict):
                given = [
                    (ast.unparse(key), value)
                    for key, value in zip(node.keys, node.values, strict=True)
                    if key
                ]
            for name, value in given:
                text = str(value.value) if isinstance(value, ast.Constant) and value.value else ""
                if name_of_secret.search(name) and len(text) >= 8 and " " not in text:
                    found.append(f"{path.relative_to(ROOT)}: {name}")
    readers = {
        str(path.relative_to(ROOT))
        for path in _modules()
        if re.search(r"os\.getenv|os\.environ\.get|environ\.Env\(", path.read_text(encoding="utf-8"))
    }
    ignored = (ROOT / ".gitignore").read_text(encoding="utf-8").splitlines()
    example = (ROOT / ".env.example").read_text(encoding="utf-8").splitlines()

    assert found == []
    assert readers == {"fleet/config/settings.py"}
    assert {".env", ".data/"} <= set(ignored)
    assert [line for line in example if line and not line.startswith("#")] == []


def test_routing_libraries_stay_behind_one_door() -> None:
    found = {
        path.relative_to(ROOT).parts[:2]
        for path in _modules()
        if re.search(r"^\s*(import|from) (pyvrp|vroom)\b", path.read_text(), re.M)
    }

    assert found <= {("fleet", "routing")}


@pytest.mark.parametrize("app", APPS)
def test_packages_of_formulas_are_empty_at_their_door(app: str) -> None:
    assert (ROOT / app / "__init__.py").read_text() == ""
    assert (ROOT / app / "calc" / "__init__.py").read_text() == ""


def test_no_drawer_for_odds_and_ends() -> None:
    found = [
        str(path.relative_to(ROOT))
        for path in _modules()
        if path.stem in FORBIDDEN_NAMES or FORBIDDEN_NAMES & set(path.relative_to(ROOT).parts[:-1])
    ]

    assert found == []


def test_production_code_does_not_import_tests() -> None:
    found = [
        str(path.relative_to(ROOT))
        for path in _modules()
        if re.search(r"^\s*(import|from) tests\b", path.read_text(), re.M)
    ]

    assert found == []


def test_tracked_files_name_no_registry_host() -> None:
    listed = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=False).stdout
    hosts = re.compile(r"py" r"pi\.org|python" r"hosted|registry\.npm" r"js|deb\.deb" r"ian|yarn" r"pkg\.com")
    found = [
        name
        for name in listed.splitlines()
        if (ROOT / name).is_file()
        and hosts.search((ROOT / name).read_text(encoding="utf-8", errors="ignore"))
    ]

    assert found == []


def test_templates_carry_no_inline_style_or_handler() -> None:
    pattern = re.compile(r"\sstyle\s*=\s*[\"']|\son(click|load|change|submit|input)\s*=|javascript:", re.I)
    found = [
        f"{path.relative_to(ROOT)}:{number}"
        for path in sorted((ROOT / "templates").rglob("*.html"))
        for number, line in enumerate(path.read_text(encoding="utf-8").splitlines(), start=1)
        if pattern.search(line)
    ]

    assert found == []


def test_every_address_has_a_row_in_the_role_matrix() -> None:
    code = (
        "import django, json; django.setup()\n"
        "from tests.fleet.access.every_address import every_address\n"
        "print(json.dumps([one.name for one in every_address()]))"
    )
    done = subprocess.run(
        [sys.executable, "-c", code],
        cwd=ROOT, capture_output=True, text=True, check=True,
        env={**os.environ, "DJANGO_SETTINGS_MODULE": "fleet.config.settings"},
    )  # fmt: skip
    names = set(json.loads(done.stdout.splitlines()[-1]))
    rows = (ROOT / "tests/fleet/access/role_matrix.csv").read_text(encoding="utf-8").splitlines()[1:]

    # A new one: `ROLE_MATRIX=write pytest tests/fleet/access/test_role_matrix.py`, then read its rows.
    assert names == {row.split(",")[0] for row in rows}
