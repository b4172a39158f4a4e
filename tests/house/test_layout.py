"""The house keeps its layout: one-way flow between rooms, one door to the rule engine, no giant modules.

source of all expectations: common practice, no source
"""

from __future__ import annotations

import ast
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
PACKAGE = ROOT / "diag"
ROOMS = (
    "knowledge",
    "calc",
    "circuit",
    "reason",
    "job",
    "stages",
    "sheet",
    "talk",
    "log",
    "paper",
    "serve",
    "bundle",
    "alter",
    "fit",
    "replay",
    "review",
    "learn",
    "life",
    "author",
)
"""In the order of the flow: a room may use those before it."""
FREE = (
    "texts",
    "errors",
    "cli",
    "given",
    "help_words",
    "alter_verbs",
    "author_verbs",
    "bundle_verbs",
    "calc_verbs",
    "check_verbs",
    "completing",
    "desk_verbs",
    "fit_verbs",
    "jobs_verbs",
    "layer_verbs",
    "learn_verbs",
    "life_verbs",
    "putting",
    "replay_verbs",
    "rules_verbs",
    "serve_verbs",
    "settings_verbs",
    "teaching",
    "vehicle_verbs",
    "__init__",
    "__main__",
)
NO_LISTING = ("__init__.py", "__main__.py")
LONGEST = 550
MODULES = sorted(path.relative_to(PACKAGE).as_posix() for path in PACKAGE.rglob("*.py"))
JOB_MAY_USE = {"texts", "errors", "job"}
PLATFORM = {"filelock", "platformdirs", "__future__"}


def tree(module: str) -> ast.Module:
    """The module as parsed."""
    return ast.parse((PACKAGE / module).read_text(encoding="utf-8"), module)


def imported(module: str) -> set[str]:
    """Dotted names of everything a module imports, inside functions too; `from a import b` gives a.b and a."""
    names: set[str] = set()
    for node in ast.walk(tree(module)):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            package = ["diag", *module.split("/")[:-1]]
            base = package[: len(package) - node.level + 1] if node.level else []
            found = ".".join([*base, *([node.module] if node.module else [])])
            names |= {found, *(f"{found}.{alias.name}" for alias in node.names)}
    return names


def rooms_used(module: str) -> set[str]:
    """First names below `diag` that a module imports."""
    return {name.split(".")[1] for name in imported(module) if name.startswith("diag.")}


@pytest.mark.parametrize("module", [m for m in MODULES if "/" in m])
def test_room_imports_only_rooms_before_it(module: str) -> None:
    """An import against the flow would let equations know of questions, and soon everything of everything."""
    room = module.split("/")[0]
    assert room in ROOMS, f"{room} is a room that the design does not have"
    allowed = {*ROOMS[: ROOMS.index(room) + 1], "texts", "errors", "__version__"}
    assert rooms_used(module) <= allowed


@pytest.mark.parametrize("module", [m for m in MODULES if m.startswith("calc/")])
def test_the_bench_knows_no_vehicle(module: str) -> None:
    """A formula serves the bench, the solver and the planning alike only while it knows none of them."""
    assert rooms_used(module) <= {"texts", "errors", "calc", "knowledge"}
    known = {name for name in imported(module) if name.startswith("diag.knowledge")}
    assert all(name.startswith(("diag.knowledge.units", "diag.knowledge.sizes")) for name in known)


@pytest.mark.parametrize("module", [m for m in MODULES if "/" not in m])
def test_beside_the_rooms_stand_only_texts_errors_and_the_verbs(module: str) -> None:
    """A module at the top belongs to no room and would be beyond the flow; texts know of nobody, errors of texts."""
    assert module.removesuffix(".py") in FREE
    if module == "texts.py":
        assert rooms_used(module) == set()
    if module == "errors.py":
        assert rooms_used(module) <= {"texts"}


@pytest.mark.parametrize("module", [m for m in MODULES if m.startswith("job/")])
def test_journal_knows_no_knowledge(module: str) -> None:
    """A journal must be readable when the rules have moved on: the job uses errors and platform libraries only."""
    assert rooms_used(module) <= JOB_MAY_USE
    outside = {name.split(".")[0] for name in imported(module)} - {"diag"}
    assert outside - PLATFORM <= set(sys.stdlib_module_names)


def test_one_module_opens_the_door_to_the_rule_engine() -> None:
    """Its odd ways are translated at one wall; a second door would let them into the house."""
    users = [module for module in MODULES if any(name.split(".")[0] == "durable" for name in imported(module))]
    dynamic = [
        module
        for module in MODULES
        for node in ast.walk(tree(module))
        if isinstance(node, ast.Call)
        and ast.unparse(node.func) in ("import_module", "importlib.import_module", "__import__")
        and any("durable" in ast.unparse(argument) for argument in node.args)
    ]
    assert set(users + dynamic) == {"reason/engine.py"}


@pytest.mark.parametrize("module", MODULES)
def test_module_is_short_says_its_purpose_and_lists_its_names(module: str) -> None:
    """One reason to change; and a reader sees at once what it is for and what others may use of it."""
    text = (PACKAGE / module).read_text(encoding="utf-8")
    assert len(text.splitlines()) <= LONGEST
    assert (ast.get_docstring(tree(module)) or "").strip()
    if module.split("/")[-1] in NO_LISTING:
        return
    listings = [
        node
        for node in tree(module).body
        if isinstance(node, ast.Assign) and any(ast.unparse(target) == "__all__" for target in node.targets)
    ]
    assert len(listings) == 1
    names = ast.literal_eval(listings[0].value)
    assert names, "a module that offers nothing is dead"
    defined: set[str] = set()
    for node in tree(module).body:
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef):
            defined.add(node.name)
        elif isinstance(node, ast.ImportFrom):
            defined |= {alias.asname or alias.name for alias in node.names}
        else:
            stored = (one for one in ast.walk(node) if isinstance(one, ast.Name) and isinstance(one.ctx, ast.Store))
            defined |= {one.id for one in stored}
    assert set(names) <= defined


@pytest.mark.parametrize("module", MODULES)
def test_no_module_runs_text_as_code(module: str) -> None:
    """Knowledge files come from strangers: nothing in the house may turn text into a program."""
    for node in ast.walk(tree(module)):
        if isinstance(node, ast.Call):
            called = ast.unparse(node.func)
            assert called not in ("eval", "exec", "compile", "os.system", "pickle.load", "pickle.loads"), (
                f"{module}:{node.lineno}: {called}"
            )
            assert not any(word.arg == "shell" for word in node.keywords), f"{module}:{node.lineno}: shell"


@pytest.mark.parametrize(
    "name", ["README.md", "DEVELOPERS.md", "pyproject.toml", "diag", "rules", "tests", "transcripts"]
)
def test_top_level_holds_what_a_newcomer_looks_for(name: str) -> None:
    """The top level is the first thing that anybody reads."""
    assert (ROOT / name).exists()


def test_every_room_of_the_flow_is_there_with_its_purpose() -> None:
    """A room that is empty or unnamed would make the flow in the documents a lie."""
    folders = {path.name for path in PACKAGE.iterdir() if path.is_dir() and (path / "__init__.py").exists()}
    assert folders == set(ROOMS)
    for room in ROOMS:
        body = tree(f"{room}/__init__.py").body
        assert len(body) == 1, "a room's own file is its docstring only"
