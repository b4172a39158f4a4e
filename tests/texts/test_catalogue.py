"""The template of messages is that of the source, and what is said to a person is in it.

source of all expectations: common practice, no source
"""

from __future__ import annotations

import ast
import re
import string
from collections.abc import Iterator

import pytest

from tests.texts.extract import PACKAGE, POT, WORDS, of_source, of_template, pot

MODULES = sorted(path.relative_to(PACKAGE).as_posix() for path in PACKAGE.rglob("*.py"))
SAID = {
    "echo": range(1),
    "secho": range(1),
    "Line": range(1),
    "paragraph": (0, 2),
    "framed": range(1),
    "Problem": range(1, 5),
    "Need": (0, 2, 3),
    "text_asked": range(1, 2),
    "Asked": range(1, 2),
}
"""Functions that say something, and which of their arguments are words."""
SAID_BY_NAME = ("help", "epilog", "mend", "what", "expected")
"""Arguments by name that are words wherever they are given."""
_WORDS = re.compile(r"[A-Za-z]{2}[^`]* [^`]*[A-Za-z]{2}|^[A-Z][a-z]+ |^[A-Z][a-z]+[.:!?]?$")
_QUOTED = re.compile(r"`[^`]*`")
_COMMAND = re.compile(r"^\s*diag [a-z]+[a-z {}-]*$")


def test_template_of_messages_is_that_of_the_source() -> None:
    """A text that is not in it can be put over by nobody."""
    assert POT.read_text(encoding="utf-8") == pot(), "write it anew: python -m tests.texts"


def test_all_sorts_of_messages_are_found() -> None:
    source = '''
@main.command()
def verb():
    """Does one thing,
    in two lines.

    \\b
    diag verb --now
    """
    t("One {a}" " line.", a=f"{t('inside')}")
    tn("{n} job", "{n} jobs", 3)
'''
    assert of_source(source) == ["Does one thing, in two lines.", "One {a} line.", "inside", ("{n} job", "{n} jobs")]
    template = '{% if x %}{{ t("Made of {x}", x=x) }}{% endif %}{{ tn("{n} a", "{n} b", 2)|upper }}'
    assert of_template(template) == ["Made of {x}", ("{n} a", "{n} b")]
    with pytest.raises(ValueError, match="not written out"):
        of_source("t(name)")


def calls(source: str) -> Iterator[ast.Call]:
    return (node for node in ast.walk(ast.parse(source)) if isinstance(node, ast.Call))


@pytest.mark.parametrize("module", MODULES)
def test_each_message_is_given_its_fields_and_no_others(module: str) -> None:
    """A field that nobody fills in would be a traceback; one that is not there a word that is lost."""
    for call in calls((PACKAGE / module).read_text(encoding="utf-8")):
        if isinstance(call.func, ast.Name) and call.func.id in WORDS:
            given = {word.arg for word in call.keywords} | ({"n"} if call.func.id == "tn" else set())
            texts = [ast.literal_eval(text) for text in call.args[: WORDS[call.func.id]]]
            if given:
                fields = {
                    name for text in texts for _, name, _, _ in string.Formatter().parse(text) if name is not None
                }
                assert fields <= given, f"{module}:{call.lineno}"
                assert given - {"n"} <= fields, f"{module}:{call.lineno}"


def bare(source: str) -> Iterator[tuple[int, str]]:
    """Line and text of what is said without being looked up."""
    for call in calls(source):
        name = call.func.attr if isinstance(call.func, ast.Attribute) else getattr(call.func, "id", "")
        places = range(1) if name.endswith("Error") else SAID.get(name, ())
        words = [call.args[place] for place in places if place < len(call.args)]
        for said in [*words, *(word.value for word in call.keywords if word.arg in SAID_BY_NAME)]:
            for one in spoken(said):
                yield one.lineno, ast.unparse(one)


def spoken(node: ast.expr) -> Iterator[ast.expr]:
    """Texts that an expression is or is put together from; what a call makes of its arguments is its own affair."""
    if isinstance(node, ast.Constant | ast.JoinedStr):
        pieces = node.values if isinstance(node, ast.JoinedStr) else [node]
        text = "".join(
            piece.value if isinstance(piece, ast.Constant) and isinstance(piece.value, str) else "{}"
            for piece in pieces
        )
        plain = _QUOTED.sub("", text)
        if _WORDS.search(plain.replace("{}", " ")) and not _COMMAND.match(text):
            yield node
    elif isinstance(node, ast.IfExp):
        yield from (*spoken(node.body), *spoken(node.orelse))
    elif isinstance(node, ast.BinOp):
        yield from (*spoken(node.left), *spoken(node.right))
    elif isinstance(node, ast.BoolOp):
        for value in node.values:
            yield from spoken(value)


@pytest.mark.parametrize("module", MODULES)
def test_what_is_said_is_looked_up(module: str) -> None:
    """A text that is put together in the source stays English in every language."""
    found = list(bare((PACKAGE / module).read_text(encoding="utf-8")))
    assert not found, f"{module}: say it by t(...): {found}"


@pytest.mark.parametrize(
    "source",
    [
        'raise DiagError(f"{path}: there is no such file.")',
        'click.echo("Nothing wrong.")',
        'out = [Line("Because", "strong")]',
        'paragraph(f"Kept: {job} so far" if job else "", width)',
        'Problem(place, "the file is empty")',
        'click.option("--x", help="Write to this file.")',
    ],
)
def test_a_text_that_is_not_looked_up_is_found(source: str) -> None:
    assert list(bare(source))
    assert not list(bare('raise DiagError(t("There is no {x}.", x=x)); click.echo(f"{a}: {b}"); Line("  diag talk")'))
