"""Every message of the program, read out of its source: calls of `t` and `tn`, help of the verbs, templates.

Not by lines but by the syntax tree, so that all versions of Python find the same, in f-strings too.
"""

from __future__ import annotations

import ast
import io
from collections.abc import Iterator
from pathlib import Path

import jinja2
from babel.messages.catalog import Catalog
from babel.messages.pofile import write_po
from jinja2.ext import extract_from_ast

from diag.help_words import help_messages

PACKAGE = Path(__file__).parents[2] / "diag"
POT = PACKAGE / "locale" / "diag.pot"
Message = str | tuple[str, str]
WORDS = {"t": 1, "tn": 2}
"""Functions, and how many texts each takes first."""
_HEADER = """\
# Every message of diag. A translation: `pybabel init -i diag/locale/diag.pot -d diag/locale -D diag -l LANGUAGE`.
# Fields in braces are filled in; keep each as it stands, with what is behind its colon.
# Written by `python -m tests.texts`.
#"""


def messages() -> Iterator[tuple[str, Message]]:
    """File and message, in the order of files and of lines."""
    for path in sorted(PACKAGE.rglob("*.py")):
        for message in of_source(path.read_text(encoding="utf-8")):
            yield path.relative_to(PACKAGE.parent).as_posix(), message
    for path in sorted(PACKAGE.rglob("*.j2")):
        for message in of_template(path.read_text(encoding="utf-8")):
            yield path.relative_to(PACKAGE.parent).as_posix(), message


def of_source(source: str) -> list[Message]:
    """Messages of one module. Raises ValueError where what is looked up is not written out."""
    found: list[tuple[int, int, Message]] = []
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in WORDS:
            texts = node.args[: WORDS[node.func.id]]
            if not all(isinstance(text, ast.Constant) and isinstance(text.value, str) for text in texts):
                raise ValueError(f"line {node.lineno}: {ast.unparse(node)}: the text is not written out")
            said = [text.value for text in texts]  # type: ignore[attr-defined]
            found.append((node.lineno, node.col_offset, said[0] if len(said) == 1 else (said[0], said[1])))
        elif isinstance(node, ast.FunctionDef) and any(_verb(one) for one in node.decorator_list):
            found += [(node.lineno, 0, text) for text in help_messages(ast.get_docstring(node) or "")]
    return [message for _, _, message in sorted(found, key=lambda one: one[:2])]


def _verb(decorator: ast.expr) -> bool:
    return (
        isinstance(decorator, ast.Call)
        and isinstance(decorator.func, ast.Attribute)
        and decorator.func.attr in ("command", "group")
    )


def of_template(source: str) -> list[Message]:
    """Messages of one template."""
    parsed = jinja2.Environment(trim_blocks=True, lstrip_blocks=True).parse(source)
    out: list[Message] = []
    for _, function, found in extract_from_ast(parsed, WORDS, babel_style=False):
        texts = [text for text in found if isinstance(text, str)][: WORDS[function]]
        if texts:
            out.append(texts[0] if len(texts) == 1 else (texts[0], texts[1]))
    return out


def catalogue() -> Catalog:
    """All messages once each, without dates and lines, so that it changes only where a text does."""
    made = Catalog(project="diag", header_comment=_HEADER, charset="utf-8", fuzzy=False)
    for file, message in messages():
        text = message[0] if isinstance(message, tuple) else message
        before = made.get(text)
        if before is not None and isinstance(message, str) and not isinstance(before.id, str):
            message = before.id  # also asked for without a number: gettext finds its first form
        if text:
            made.add(message, locations=[(file, None)])
    return made


def pot() -> str:
    """The template as it stands in the file."""
    out = io.BytesIO()
    write_po(out, catalogue(), width=0, include_lineno=False, omit_header=True)
    return f'{_HEADER}\nmsgid ""\nmsgstr ""\n"Content-Type: text/plain; charset=utf-8\\n"\n\n{out.getvalue().decode()}'
