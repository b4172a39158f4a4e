"""By construction nothing that a file holds can run: what could turn text into a program is not in the house.

source of all expectations: common practice, no source
"""

from __future__ import annotations

import ast
import functools
import re
from collections.abc import Callable
from pathlib import Path

import pytest

from tests.house.test_layout import MODULES, PACKAGE
from tests.house.test_layout import tree as parsed

RUNS_TEXT = {"eval", "exec", "compile", "__import__", "execfile", "breakpoint"}
UNPICKLES = ("pickle", "cPickle", "marshal", "shelve", "dill", "cloudpickle", "joblib", "jsonpickle")
OUTSIDE = ("os.system", "os.popen", "os.exec", "os.spawn", "os.startfile", "pty.", "code.", "runpy.", "ctypes.")
NETWORK = ("socket", "socketserver", "urllib.request", "http.client", "ftplib", "smtplib", "telnetlib", "requests")
SERVERS = {"serve", "desk"}
"""Rooms that may open a door; what may come in is for their own tests."""
FORMATS = {
    "paper/owner.py": ("begun.get(title, '{}.')",),
    "talk/stage_objects.py": ("COIL_WORDS[str(do.coil)]",),
    "settings_verbs.py": ("_SOURCES[now.source]",),
    "serve/app.py": ("_WRONG",),
    "texts.py": ("text",),
}
"""Format strings by the name of a constant of the program, or out of the catalogue of its own texts."""
NAMED_BY_DATA: dict[str, str] = {
    "alter": "sections of a vehicle file, from the closed list SECTIONS; fields of a model",
    "circuit": "fields of our own dataclasses, in loops over them",
    "fit": "a section out of four that the schema allows",
    "job": "flags of the operating system by constant names",
    "knowledge": "sections and fields of models, from constants; models have no callable fields",
    "log": "fields of our own dataclasses",
    "reason": "sorts of effect, from a constant",
    "replay": "fields of our own dataclasses",
    "review": "names of models, from a constant",
    "sheet": "fields of parts by constant names",
    "talk": "one method for each of the closed list of inputs, checked before",
    "author": "fields of our own dataclasses",
    "learn": "fields of our own dataclasses",
    "life": "fields of our own dataclasses",
    "bundle": "fields of our own dataclasses",
    "paper": "fields of our own dataclasses",
    "stages": "fields of our own dataclasses",
}
"""Rooms that look up an attribute by a name which is not written there, and why it is never a stranger's."""


@functools.cache
def tree(module: str) -> ast.Module:
    """The module as parsed."""
    return parsed(module)


def everywhere(test: Callable[[str], None]) -> Callable[[], None]:
    """The test over every module of the house, each parsed once."""

    def run() -> None:
        for module in MODULES:
            test(module)

    run.__name__, run.__doc__ = test.__name__, test.__doc__
    return run


@functools.cache
def calls(module: str) -> tuple[tuple[ast.Call, str], ...]:
    """Every call in a module, with what is called."""
    return tuple((node, ast.unparse(node.func)) for node in ast.walk(tree(module)) if isinstance(node, ast.Call))


@everywhere
def test_nothing_runs_text_or_unpacks_objects(module: str) -> None:
    """No eval, no pickle, no shell, no YAML that makes objects, no import by a name that a file gives."""
    for node in ast.walk(tree(module)):
        names = [alias.name for alias in node.names] if isinstance(node, ast.Import) else []
        names += [node.module or ""] if isinstance(node, ast.ImportFrom) else []
        assert not any(name.split(".")[0] in UNPICKLES for name in names), f"{module}: {names}"
    for call, called in calls(module):
        where = f"{module}:{call.lineno}: {called}"
        assert called not in RUNS_TEXT, where
        assert not called.startswith(OUTSIDE), where
        assert not any(word.arg == "shell" and ast.unparse(word.value) != "False" for word in call.keywords), where
        if called in ("yaml.load", "yaml.load_all"):
            loader = next(ast.unparse(word.value) for word in call.keywords if word.arg == "Loader")
            assert loader in ("yaml.BaseLoader", "_PLAIN", "_LOADER"), where
        assert not called.startswith(("yaml.unsafe", "yaml.full", "yaml.safe_load_all", "yaml.UnsafeLoader")), where
        if called in ("np.load", "numpy.load"):
            assert any(word.arg == "allow_pickle" and ast.unparse(word.value) == "False" for word in call.keywords), (
                where
            )
        if called in ("importlib.import_module", "import_module"):
            assert isinstance(call.args[0], ast.Constant), where


@everywhere
def test_yaml_loaders_make_plain_data_only(module: str) -> None:
    """Names that stand for a loader stand for one that makes no objects."""
    for node in ast.walk(tree(module)):
        if (
            isinstance(node, ast.Assign | ast.AnnAssign)
            and node.value is not None
            and "yaml." in ast.unparse(node.value)
        ):
            for part in ast.walk(node.value):
                if isinstance(part, ast.Attribute) and part.attr.endswith("Loader"):
                    assert part.attr in ("SafeLoader", "CSafeLoader", "BaseLoader", "CBaseLoader"), (
                        f"{module}: {part.attr}"
                    )


@everywhere
def test_other_programs_are_called_by_a_list_of_words_only(module: str) -> None:
    """The browser that prints is the only one; no text is ever put together to be a command."""
    for call, called in calls(module):
        if called.startswith("subprocess."):
            assert module in ("paper/browser.py", "talk/speech.py"), f"{module}:{call.lineno}"
            assert not isinstance(call.args[0], ast.Constant | ast.JoinedStr), f"{module}:{call.lineno}"


@everywhere
def test_attributes_named_by_data_are_few_and_known(module: str) -> None:
    """`getattr` with a name from a file could reach anything; what is found by name is never called, but for the
    conversation's inputs, whose list is closed."""
    room = module.split("/")[0].removesuffix(".py")
    for call, called in calls(module):
        if called in ("getattr", "setattr", "delattr", "hasattr") and not isinstance(call.args[1], ast.Constant):
            assert room in NAMED_BY_DATA, f"{module}:{call.lineno}: say here why the name is never a stranger's"
            assert called == "getattr" or room in ("job", "talk"), f"{module}:{call.lineno}"
        if isinstance(call.func, ast.Call) and ast.unparse(call.func.func) == "getattr":
            named = ast.unparse(call.func.args[1])
            assert isinstance(call.func.args[1], ast.Constant) or module in ("talk/conversation.py", "talk/front.py"), (
                f"{module}:{call.lineno}: calls what {named} names"
            )


@everywhere
def test_format_strings_are_written_here_and_not_read(module: str) -> None:
    """`str.format` follows attributes and widths: with a text out of a file it tells secrets and fills the memory."""
    for call, called in calls(module):
        if not isinstance(call.func, ast.Attribute) or call.func.attr not in ("format", "format_map"):
            continue
        text = call.func.value
        if module in FORMATS:
            assert ast.unparse(text) in FORMATS[module], f"{module}:{call.lineno}"
            continue
        assert isinstance(text, ast.Constant) or ast.unparse(text).isupper(), f"{module}:{call.lineno}: {called}"


def test_a_stranger_s_braces_are_text(tmp_path: Path) -> None:
    """The same from outside: attributes and widths in the wording of a mode are refused, and would be shown as text."""
    from diag.knowledge.names import filled

    for bad in ("{part.__class__}", "{part:>1000000000}", "{part!r}", "{0}", "{", "{nobody}", "{part[0]}"):
        assert filled(bad, {"part": "horn"}) == bad
    assert filled("{part} and {part}", {"part": "{place}", "place": "x"}) == "{place} and {place}"


@everywhere
def test_templates_come_from_the_package_and_escape(module: str) -> None:
    """No text of a file is ever a template; pages of HTML escape by themselves, Markdown by its own rules."""
    for call, called in calls(module):
        where = f"{module}:{call.lineno}"
        assert not called.endswith((".from_string", "jinja2.Template")) and called != "Template", where
        if called == "jinja2.Environment":
            words = {word.arg: ast.unparse(word.value) for word in call.keywords}
            assert words["loader"].startswith("jinja2.PackageLoader("), where
            if words["autoescape"] != "True":
                assert "markdown" in (PACKAGE / module).read_text(encoding="utf-8").lower() and "finalize" in words, (
                    where
                )


@pytest.mark.parametrize("template", sorted(p.relative_to(PACKAGE).as_posix() for p in PACKAGE.rglob("*.j2")))
def test_templates_switch_no_escaping_off(template: str) -> None:
    """One `safe` in a template undoes it for one text."""
    text = (PACKAGE / template).read_text(encoding="utf-8")
    assert not re.search(r"\|\s*safe\b|autoescape\s+false|Markup", text)
    if ".html" in template:
        assert (
            not re.search(r"<script(?![^>]*\bsrc=\"/)|javascript:|\son[a-z]+=", text, re.IGNORECASE)
            or "serve/" in template
        )


@everywhere
def test_no_room_but_a_server_s_knows_the_network(module: str) -> None:
    """Diagnosing needs none, so nothing can be sent anywhere."""
    if module.split("/")[0].removesuffix(".py").removesuffix("_verbs") in SERVERS:
        return
    for node in ast.walk(tree(module)):
        names = [alias.name for alias in node.names] if isinstance(node, ast.Import) else []
        names += [node.module or ""] if isinstance(node, ast.ImportFrom) else []
        assert not any(name == one or name.startswith(f"{one}.") for name in names for one in NETWORK), (
            f"{module}: {names}"
        )
