"""A page read back with the standard library's own parser: elements with attributes and text."""

from __future__ import annotations

from dataclasses import dataclass, field
from html.parser import HTMLParser

VOID = {"meta", "link", "input", "br", "img", "hr"}


@dataclass
class Element:
    name: str
    attrs: dict = field(default_factory=dict)
    children: list = field(default_factory=list)

    @property
    def text(self):
        said = (c if isinstance(c, str) else c.text for c in self.children)
        return " ".join("".join(said).split())

    def all(self, tag=None, /, **attrs):
        """Every element below of a name and with these attributes; `class_` one of its classes."""
        found = []
        for child in self.children:
            if isinstance(child, str):
                continue
            if (tag is None or child.name == tag) and child.bears(attrs):
                found.append(child)
            found += child.all(tag, **attrs)
        return found

    def one(self, tag=None, /, **attrs):
        found = self.all(tag, **attrs)
        assert len(found) == 1, (tag, attrs, len(found))
        return found[0]

    def bears(self, attrs):
        for key, value in attrs.items():
            if key == "class_":
                if value not in (self.attrs.get("class") or "").split():
                    return False
            elif self.attrs.get(key.replace("_", "-")) != value:
                return False
        return True


class _Reader(HTMLParser):
    def __init__(self):
        super().__init__(convert_charrefs=True)
        self.root = Element("root")
        self.open = [self.root]

    def handle_starttag(self, tag, attrs):
        element = Element(tag, dict(attrs))
        self.open[-1].children.append(element)
        if tag not in VOID:
            self.open.append(element)

    def handle_startendtag(self, tag, attrs):
        self.open[-1].children.append(Element(tag, dict(attrs)))

    def handle_endtag(self, tag):
        assert self.open[-1].name == tag, f"<{self.open[-1].name}> is closed by </{tag}>"
        self.open.pop()

    def handle_data(self, data):
        self.open[-1].children.append(data)


def read(answer):
    """The page of an answer; every element that is opened is closed."""
    assert answer.status_code == 200, answer.get_data(as_text=True)[:500]
    reader = _Reader()
    reader.feed(answer.get_data(as_text=True))
    reader.close()
    assert reader.open == [reader.root]
    return reader.root
