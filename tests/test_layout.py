"""The house rules that no other test sees: which room knows which, and what a step never does."""

import ast
import shutil
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
ROOMS = ("station", "drivers", "simulated")


def modules(room: str) -> list[Path]:
    return sorted((ROOT / room).rglob("*.py"))


def name_of(path: Path) -> str:
    """'station/steps/kinds.py' is station.steps.kinds."""
    parts = path.relative_to(ROOT).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


def imports(tree: ast.AST, package: str) -> Iterator[str]:
    """Every module that a source imports, wherever in it; `package` is where its relative imports start."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            above = package.rsplit(".", node.level - 1)[0] + "." if node.level else ""
            module = above + (node.module or "")
            yield module
            yield from (f"{module.rstrip('.')}.{alias.name}" for alias in node.names)


def imported(path: Path) -> set[str]:
    name = name_of(path)
    package = name if path.name == "__init__.py" else name.rpartition(".")[0]
    return set(imports(ast.parse(path.read_text(encoding="utf-8")), package))


def within(module: str, *homes: str) -> bool:
    return any(module == home or module.startswith(f"{home}.") for home in homes)


ALL = [path for room in ROOMS for path in modules(room)]
BY_NAME = pytest.mark.parametrize("path", ALL, ids=name_of)

# Who may import a room, beyond the room itself. The bench opener fills the board description and hands the virtual
# clock over; lockstep, defects and triage solve circuits without a bench; readings know the instruments' data sheets.
DOORS = {
    "station": (),
    "drivers": (
        "station.bench",
        "station.bench_state",
        "station.bench_faults",
        "station.benching",
        "station.dialectfile",
        "station.dialectforms",
        "station.guardian",
        "station.lane",
        "station.metering",
        "station.opening",
        "station.readings",
        "station.simulated_file",
        "station.watchdogs",
        "station.wiring",
    ),
    "simulated": (
        "station.opening",
        "station.serving",
        "station.lane",
        "station.lockstep",
        "station.defects",
        "station.triage",
    ),
}


@BY_NAME
def test_a_room_is_entered_by_its_doors_only(path: Path) -> None:
    closed = [room for room in ROOMS if not within(name_of(path), room, *DOORS[room])]
    assert [module for module in imported(path) if within(module, *closed)] == []


# Each may import those before it and nothing else of the station.
GROUND_FLOOR = ("station.errors", "station.quantities", "station.lines", "station.asks")


@pytest.mark.parametrize("name", GROUND_FLOOR)
def test_the_ground_floor_rests_on_nothing(name: str) -> None:
    path = ROOT / f"{name.replace('.', '/')}.py"
    below = GROUND_FLOOR[: GROUND_FLOOR.index(name)]
    own = {module for module in imported(path) if within(module, "station")}
    assert [module for module in own if not within(module, "station", *below) or module == "station"] == []
    assert all(within(module, *below) for module in own)


@pytest.mark.parametrize("name", GROUND_FLOOR)
def test_the_ground_floor_does_no_input_or_output(name: str) -> None:
    path = ROOT / f"{name.replace('.', '/')}.py"
    outside = ("os", "io", "socket", "pathlib", "time", "subprocess", "sqlalchemy", "pyvisa", "random", "threading")
    assert [module for module in imported(path) if within(module, *outside)] == []


STEPS = [path for path in ALL if within(name_of(path), "station.steps", "station.program")]


@pytest.mark.parametrize("path", STEPS, ids=name_of)
def test_a_step_knows_asks_and_nothing_that_answers_them(path: Path) -> None:
    answering = (
        "bench",
        "opening",
        "store",
        "record",
        "replay",
        "run",
        "safety",
        "clock",
        "cli",
        "report",
        "interrupts",
    )
    far = ("drivers", "simulated", "pyvisa", "sqlalchemy", "time", *(f"station.{name}" for name in answering))
    assert [module for module in imported(path) if within(module, *far)] == []


def awaits_while_ending(tree: ast.AST) -> list[int]:
    """Lines of each await (or async for, async with) inside a `finally` or `except`: a closed coroutine can't ask."""
    ending = [
        statement
        for node in ast.walk(tree)
        if isinstance(node, ast.Try | ast.TryStar)
        for statement in (*node.finalbody, *node.handlers)
    ]
    waiting = ast.Await | ast.AsyncFor | ast.AsyncWith
    return sorted({node.lineno for part in ending for node in ast.walk(part) if isinstance(node, waiting)})


@pytest.mark.parametrize("path", STEPS, ids=name_of)
def test_no_step_asks_while_it_ends(path: Path) -> None:
    assert awaits_while_ending(ast.parse(path.read_text(encoding="utf-8"))) == []


@pytest.mark.parametrize(
    "ending",
    [
        "finally:\n  await Draw('OUTP', 0)",
        "except ValueError:\n  if late:\n   x = [await y]",
        "except* OSError:\n  await x",
    ],
)
def test_the_walker_sees_a_step_that_asks_while_it_ends(ending: str) -> None:
    source = f"async def f():\n try:\n  await x\n {ending}\n"
    assert awaits_while_ending(ast.parse(source)) != []


def test_the_walker_lets_a_step_ask_before_it_ends() -> None:
    source = "async def f():\n try:\n  await x\n except ValueError:\n  y()\n else:\n  await z\n finally:\n  y()\n"
    assert awaits_while_ending(ast.parse(source)) == []


@pytest.mark.parametrize(
    ("source", "module"),
    [
        ("import drivers.meter", "drivers.meter"),
        ("from drivers import Meter", "drivers"),
        ("def f():\n from simulated.circuit import op", "simulated.circuit"),
        ("from .. import store", "station.store"),
        ("from ..store import Store", "station.store"),
    ],
)
def test_the_walker_sees_an_import(source: str, module: str) -> None:
    assert module in set(imports(ast.parse(source), "station.steps"))


@BY_NAME
def test_every_module_says_what_it_is_for(path: Path) -> None:
    first = (ast.get_docstring(ast.parse(path.read_text(encoding="utf-8"))) or "").partition("\n")[0]
    assert len(first) > 10, f"{path.relative_to(ROOT)} begins with '{first}'"


@BY_NAME
def test_a_module_fits_in_the_head(path: Path) -> None:
    assert len(path.read_text(encoding="utf-8").splitlines()) < 300


def tracked() -> list[str]:
    git = shutil.which("git")
    if git is None or not (ROOT / ".git").exists():
        pytest.skip("not a checkout")
    listed = subprocess.run([git, "ls-files"], cwd=ROOT, capture_output=True, text=True, check=True)
    return listed.stdout.splitlines()


def test_the_top_level_holds_the_rooms_and_nothing_else() -> None:
    top = {name.partition("/")[0] for name in tracked()}
    allowed = {"README.md", "DEVELOPERS.md", "pyproject.toml", "profiles", "tests", *ROOMS}
    assert {name for name in top if not name.startswith(".")} - allowed == set()
