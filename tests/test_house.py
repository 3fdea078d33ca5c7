"""Rules of the house itself: what may be installed, the lock, the licence, and what a clean checkout runs."""

from __future__ import annotations

import re
from pathlib import Path
from types import SimpleNamespace

import pytest
from django.apps import apps
from django.core.checks import run_checks

from fleet.apps import refuse_contrib_sites

ROOT = Path(__file__).resolve().parent.parent


def test_djangos_own_sites_app_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    assert refuse_contrib_sites(None) == []
    installed = [*apps.get_app_configs(), SimpleNamespace(name="django.contrib.sites")]
    monkeypatch.setattr(apps, "get_app_configs", lambda: installed)

    found = refuse_contrib_sites(None)

    assert len(found) == 1
    assert found[0].is_serious()
    assert "site book" in found[0].msg


def test_the_system_check_is_registered() -> None:
    from django.core.checks.registry import registry

    assert "refuse_contrib_sites" in [getattr(check, "__name__", "") for check in registry.get_checks()]
    assert not [message for message in run_checks() if message.is_serious()]


def test_every_pin_of_the_lock_has_its_hashes_and_no_host() -> None:
    text = (ROOT / "requirements.lock").read_text(encoding="utf-8")
    pins = re.findall(r"^([a-z0-9][a-z0-9._-]*)==\S+(.*?)(?=^[a-z0-9]|\Z)", text, re.M | re.S)

    assert len(pins) > 40
    assert [name for name, rest in pins if "--hash=sha256:" not in rest] == []
    assert "://" not in text


def test_the_licence_and_python_are_those_promised() -> None:
    project = (ROOT / "pyproject.toml").read_text(encoding="utf-8")

    assert "Apache License" in (ROOT / "LICENSE").read_text(encoding="utf-8")
    assert 'requires-python = ">=3.11"' in project
    assert re.search(r'"django ?[~>=]+ ?5\.2', project, re.I)


def test_two_commands_of_the_readme_make_the_demo_and_run_the_tests() -> None:
    readme = (ROOT / "README.md").read_text(encoding="utf-8")

    steps = (
        "python3 -m venv .venv",
        ".venv/bin/pip install -r requirements.lock",
        ".venv/bin/python manage.py demo",
    )
    assert " && ".join(steps) in readme
    assert ".venv/bin/python -m pytest -n 2" in readme


def test_a_clean_checkout_runs_every_check_and_ends_with_the_suite() -> None:
    steps = (ROOT / ".ci" / "run").read_text(encoding="utf-8")
    wanted = (
        "ruff check", "ruff format --check", "lint-imports", "mypy", "check --deploy --fail-level WARNING",
        "makemigrations --check", "-m pytest",
    )  # fmt: skip

    places = [steps.index(step) for step in wanted]

    assert places == sorted(places)
    assert "--cov" in steps.rstrip().splitlines()[-1]


def test_the_pictures_of_the_readme_are_there_small_and_made_by_the_script() -> None:
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    script = (ROOT / "tests" / "browser" / "readme_pictures.py").read_text(encoding="utf-8")
    shown = re.findall(r"\]\((tests/pictures/[a-z]+\.webp)\)", readme)
    kept = {str(path.relative_to(ROOT)) for path in (ROOT / "tests" / "pictures").iterdir()}

    assert set(shown) == kept
    assert [name for name in shown if f'Picture("{Path(name).stem}"' not in script] == []
    assert sum((ROOT / name).stat().st_size for name in kept) < 1_500_000


def test_files_that_the_pages_for_people_name_are_there() -> None:
    folders = ("fleet", "sites", "weather", "templates", "tests")
    paths = [*ROOT.glob("*.*"), *(path for folder in folders for path in (ROOT / folder).rglob("*.*"))]
    files = [f"/{path.relative_to(ROOT).as_posix()}" for path in paths]
    for page in ("README.md", "DEVELOPERS.md"):
        text = (ROOT / page).read_text(encoding="utf-8")
        named = set(re.findall(r"`([\w./-]+\.(?:py|html|css|js))`", text))
        assert page == "README.md" or len(named) > 80

        assert [name for name in sorted(named) if not any(file.endswith(f"/{name}") for file in files)] == []


def test_a_decision_has_a_number_of_its_own() -> None:
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    numbers = [int(number) for number in re.findall(r"^- \*\*(\d+) ", text, re.M)]

    assert sorted(numbers) == list(range(1, len(numbers) + 1))
