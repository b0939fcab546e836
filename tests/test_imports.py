"""Who may import whom: the arrows of the house, walked over every module's text.

An import counts wherever it stands, inside a function or for type checking only: a late one is an arrow too.
"""

import ast
import subprocess
import sys
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
HOUSE = ("drivers", "sim", "station")

OUTSIDE_WORLDS = {
    "pyvisa": ("drivers.links.visa",),
    "pyvisa_py": (),
    "serial": ("drivers.links.serial",),
    "sqlalchemy": ("station.records",),
    "alembic": ("station.records",),
    "psycopg": ("station.records",),
    "sqlite3": ("station.records",),
    "click": ("station.cli",),
    "rich": ("station.cli",),
    "starlette": ("station.pages",),
    "uvicorn": ("station.pages",),
    "jinja2": ("station.pages",),
}
"""Each library of an outside world, and the only modules or packages that may import it."""

HEAVY = {
    "alembic",
    "matplotlib",
    "pandas",
    "psycopg",
    "pyarrow",
    "pyvisa",
    "rich",
    "scipy",
    "serial",
    "sqlalchemy",
    "starlette",
    "statsmodels",
    "uvicorn",
}
"""What takes long to import, and so is never imported by a package for whoever imports a part of it."""

PURE = ("station.causes", "station.core", "station.coil", "station.heating_fit", "station.quality")
INPUT_OUTPUT = {
    "asyncio",
    "fcntl",
    "http",
    "multiprocessing",
    "os",
    "pty",
    "select",
    "selectors",
    "shutil",
    "signal",
    "socket",
    "subprocess",
    "tempfile",
    "termios",
    "threading",
    "time",
    "urllib",
}
"""Standard modules by which a pure package would reach files, ports, threads or the time."""

SEEN_BY_SIM = {
    "drivers.clock",
    "drivers.errors",
    "drivers.link",
    "drivers.stop",
}
"""The two protocols, with the stop and the errors that are part of them."""

FORBIDDEN = {
    "drivers": ("station", "sim", "tests"),
    "sim": ("tests",),
    "station": ("tests",),
    "station.causes": ("drivers", "sim"),
    "station.core": ("drivers", "sim"),
    "station.coil": ("drivers", "sim"),
    "station.heating_fit": ("drivers", "sim"),
    "station.quality": ("drivers", "sim"),
    "station.methods": (
        "sim",
        "station.app",
        "station.bench",
        "station.cli",
        "station.pages",
        "station.records",
        "station.sequencer",
    ),
    "station.sequencer": ("sim", "station.app", "station.cli", "station.pages", "station.records"),
    "station.bench": ("sim", "station.app", "station.cli", "station.pages", "station.records"),
    "station.records": ("drivers", "sim", "station.app", "station.cli", "station.pages", "station.sequencer"),
    "station.app": ("station.cli", "station.pages", "station.nightly"),
    "station.nightly": ("station.cli", "station.pages"),
    "station.cli": ("sim",),
    "station.pages": ("sim", "station.cli"),
}
"""From a module or package to what it may not import: the arrows that would point up or across."""

PURE_NEIGHBOURS = {
    "station.causes": ("station.causes", "station.coil"),
    "station.core": ("station.core", "station.coil", "station.errors"),
    "station.coil": ("station.coil", "station.errors"),
    "station.heating_fit": ("station.heating_fit", "station.coil", "station.errors"),
    "station.quality": ("station.quality", "station.core", "station.coil", "station.errors"),
}
"""All that the pure packages may import of the station."""


def _name_of(path: Path) -> str:
    parts = path.relative_to(ROOT).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


def _is_in(name: str, package: str) -> bool:
    return name == package or name.startswith(package + ".")


@cache
def _modules() -> dict[str, Path]:
    return {_name_of(path): path for top in HOUSE for path in sorted((ROOT / top).rglob("*.py"))}


def _imported(node: ast.AST, importer: str, *, is_package: bool) -> Iterator[str]:
    """Yield the full names that an import statement may load, submodules included."""
    if isinstance(node, ast.Import):
        yield from (alias.name for alias in node.names)
    if isinstance(node, ast.ImportFrom):
        parts = importer.split(".")
        here = parts[: len(parts) - node.level + is_package] if node.level else []
        base = ".".join([*here, *([node.module] if node.module else [])])
        for alias in node.names:
            full = f"{base}.{alias.name}"
            yield full if full in _modules() else base


@cache
def _imports() -> tuple[tuple[str, str], ...]:
    """Return each (importer, imported) of the house."""
    found = []
    for name, path in _modules().items():
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            found += [(name, got) for got in _imported(node, name, is_package=path.name == "__init__.py")]
    return tuple(found)


def _top(name: str) -> str:
    return name.partition(".")[0]


def test_walk_sees_imports_of_the_house() -> None:
    """The walk itself works: it sees an import at the top, one inside a function, and one of the library."""
    seen = set(_imports())

    assert {
        ("drivers.clock", "drivers.stop"),
        ("drivers.links.open", "drivers.links.visa"),
        ("drivers.links.visa", "pyvisa"),
    } <= seen


@pytest.mark.parametrize("library", OUTSIDE_WORLDS)
def test_outside_world_has_one_door(library: str) -> None:
    """Each library of an outside world is imported only where its errors are caught."""
    doors = OUTSIDE_WORLDS[library]
    strays = {
        importer
        for importer, imported in _imports()
        if _top(imported) == library and not any(_is_in(importer, door) for door in doors)
    }

    assert set() == strays


@pytest.mark.parametrize("package", FORBIDDEN)
def test_arrows_go_one_way(package: str) -> None:
    """No package imports what stands above it or beside it."""
    strays = {
        (importer, imported)
        for importer, imported in _imports()
        if _is_in(importer, package)
        for forbidden in FORBIDDEN[package]
        if _is_in(imported, forbidden)
    }

    assert set() == strays


@pytest.mark.parametrize("package", PURE)
def test_pure_package_does_no_input_output(package: str) -> None:
    """Core, coil and quality reach no file, port, thread or time."""
    strays = {
        (importer, imported)
        for importer, imported in _imports()
        if _is_in(importer, package) and _top(imported) in INPUT_OUTPUT
    }

    assert set() == strays


@pytest.mark.parametrize("package", PURE_NEIGHBOURS)
def test_pure_package_knows_only_its_like(package: str) -> None:
    """Core, coil and quality import of the station only each other, downwards."""
    allowed = PURE_NEIGHBOURS[package]
    strays = {
        (importer, imported)
        for importer, imported in _imports()
        if _is_in(importer, package)
        and _top(imported) == "station"
        and not any(_is_in(imported, neighbour) for neighbour in allowed)
    }

    assert set() == strays


def test_sim_shares_only_protocols_and_physics() -> None:
    """The simulated bench knows of the drivers the seams, of the station the coil."""
    strays = {
        (importer, imported)
        for importer, imported in _imports()
        if _is_in(importer, "sim")
        and _top(imported) in ("drivers", "station")
        and imported not in SEEN_BY_SIM
        and not _is_in(imported, "station.coil")
    }

    assert set() == strays


def test_only_app_chooses_the_simulated_bench() -> None:
    """Of the station, only the module that builds the objects imports the simulation, and the nightly for its truth."""
    strays = {
        (importer, imported)
        for importer, imported in _imports()
        if _is_in(importer, "station")
        and not any(_is_in(importer, each) for each in ("station.app", "station.nightly"))
        and _top(imported) == "sim"
    }

    assert set() == strays


def test_drivers_need_the_standard_library_only() -> None:
    """Drivers import no library but the two of the ports."""
    standard = sys.stdlib_module_names
    strays = {
        (importer, imported)
        for importer, imported in _imports()
        if _is_in(importer, "drivers") and _top(imported) not in (*standard, "drivers", "pyvisa", "serial")
    }

    assert set() == strays


def test_packages_import_nothing_heavy() -> None:
    """No `__init__` makes those who import a part of its package wait for a heavy library."""
    strays = set()
    for name, path in _modules().items():
        if path.name == "__init__.py":
            for node in ast.parse(path.read_text(encoding="utf-8")).body:
                strays |= {
                    (name, got) for got in _imported(node, name, is_package=True) if _top(got) in HEAVY
                }

    assert set() == strays


def test_data_folder_is_no_package() -> None:
    """Nothing imports `fixtures`: it is data."""
    assert set() == {importer for importer, imported in _imports() if _top(imported) == "fixtures"}


def test_choosing_a_route_loads_no_port_library() -> None:
    """Importing the link opener loads neither pyvisa nor pyserial: an address of a socket needs none."""
    code = "import sys, drivers.links.open; print(sorted({'pyvisa', 'serial'} & set(sys.modules)))"
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True)

    assert done.stdout.strip() == "[]"
