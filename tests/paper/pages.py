"""Reads a page back strictly: every element with its attributes, every tag closed, the words as a reader gets them."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from html.parser import HTMLParser

__all__ = ["Element", "Page", "words"]

_APART = {"td", "th", "li", "p", "div", "dt", "dd", "h1", "h2", "h3", "h4", "caption", "summary", "text", "br"}
"""Words of two of these are two words."""
_VOID = {"meta", "br", "hr", "img", "input", "link", "col", "wbr", "base", "source", "track", "embed", "area"}


@dataclass
class Element:
    """An element with its attributes, what it stands in (from outside in), and all text within it."""

    tag: str
    attributes: dict[str, str]
    within: tuple[Element, ...]
    text: str = ""

    @property
    def hidden(self) -> bool:
        """Whether it, or what it stands in, is kept from a screen reader."""
        return any(one.attributes.get("aria-hidden") == "true" for one in (self, *self.within))


@dataclass
class _Reader(HTMLParser):
    elements: list[Element] = field(default_factory=list)
    stack: list[Element] = field(default_factory=list)
    text: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        super().__init__(convert_charrefs=True)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        names = [name for name, _ in attrs]
        assert len(names) == len(set(names)), (tag, attrs)
        element = Element(tag, {name: value or "" for name, value in attrs}, tuple(self.stack))
        self.elements.append(element)
        if tag not in _VOID:
            self.stack.append(element)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.handle_starttag(tag, attrs)
        if tag not in _VOID:
            self.handle_endtag(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.stack and self.stack[-1].tag == tag, (tag, [e.tag for e in self.stack], self.getpos())
        if tag in _APART:
            self.handle_data(" ")
        self.stack.pop()

    def handle_data(self, data: str) -> None:
        for element in self.stack:
            element.text += data
        if not any(element.tag in ("style", "title") for element in self.stack):
            self.text.append(data)


class Page:
    """A page as read back. Fails where a tag is left open or closed twice."""

    def __init__(self, html: str) -> None:
        self.html = html
        reader = _Reader()
        reader.feed(html)
        reader.close()
        assert not reader.stack, [element.tag for element in reader.stack]
        self.elements = reader.elements
        self.text = words(" ".join(reader.text))

    def all(self, *tags: str) -> list[Element]:
        """Elements of these tags, in order."""
        return [element for element in self.elements if element.tag in tags]

    def section(self, heading: str) -> str:
        """The words of the section that a heading names (by its aria-labelledby)."""
        ids = [e.attributes.get("id", "") for e in self.all("h2", "h3") if words(e.text) == heading]
        assert ids, heading
        return next(words(e.text) for e in self.all("section") if e.attributes.get("aria-labelledby") == ids[0])


def words(text: str) -> str:
    """Text with one space wherever there is any."""
    return re.sub(r"\s+", " ", text).strip()
