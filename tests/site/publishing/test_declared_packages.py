"""Parts from elsewhere: declared packages, found where they are installed, their licences told."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

from asfound.site.publishing.declared_packages import plotly_script, third_party

ROOT = Path(__file__).parents[3]


def declared_packages() -> set[str]:
    with open(ROOT / "pyproject.toml", "rb") as file:
        dependencies = tomllib.load(file)["project"]["dependencies"]
    names = {re.match(r"[\w.-]+", line) for line in dependencies if "sys_platform" not in line}
    return {_normal(name.group()) for name in names if name}


def _normal(name: str) -> str:
    return re.sub(r"[-_.]+", "-", name).lower()


def test_every_declared_package_is_listed_with_version_and_licence():
    listed = {_normal(name): (version, licence) for name, version, licence in third_party()}
    assert declared_packages() <= listed.keys()
    for name, (version, licence) in listed.items():
        assert re.match(r"\d", version) and re.search("MIT|BSD|Apache|OFL", licence), (name, version, licence)


def test_the_plotting_script_is_the_installed_package_s_own():
    assert "plotly.js v" in plotly_script().read_text(encoding="utf-8")[:200]
