"""Strict XML to elements with their lines; nothing outside the file is ever opened."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from xml.parsers import expat

from armcarry.errors import InputError
from armcarry.files.yaml_text import read_bytes, shorten
from armcarry.texts import printable

MAX_BYTES = 8_000_000
MAX_DEPTH = 40
MAX_ELEMENTS = 200_000


@dataclass
class Element:
    """An XML element: its tag, attributes, child elements, text and 1-based line."""

    tag: str
    attributes: dict[str, str]
    line: int
    children: list[Element] = field(default_factory=list)
    text: str = ""

    def all(self, tag: str) -> list[Element]:
        """Return the children of one tag."""
        return [child for child in self.children if child.tag == tag]


def read_xml(path: Path, kind: str = "URDF") -> tuple[Element, bytes]:
    """Read an XML file and return its root element and its bytes.

    Raises:
        InputError: not readable, not well-formed, or with a document type, entities, or too much nesting.
    """
    content = read_bytes(path, MAX_BYTES, kind)
    return parse_xml(content, path), content


def parse_xml(content: bytes, path: Path) -> Element:
    """Parse XML bytes; ``path`` is only named in errors. Raises InputError."""
    builder = _Builder(path)
    try:
        builder.parser.Parse(content, True)
    except expat.ExpatError as error:
        words = expat.errors.messages.get(error.code, str(error))
        raise InputError(f"not XML: {words}", file=path, line=error.lineno) from None
    except (ValueError, LookupError) as error:  # an encoding that expat or Python does not know
        raise InputError(f"not XML: {error}", file=path, line=1) from None
    if builder.root is None:
        raise InputError("not XML: no element", file=path, line=1)
    return builder.root


class _Builder:
    """Handlers for expat. Without a document type no entity can be declared, so none is ever expanded."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.root: Element | None = None
        self.stack: list[Element] = []
        self.count = 0
        self.parser = expat.ParserCreate()
        self.parser.buffer_text = True
        self.parser.SetParamEntityParsing(expat.XML_PARAM_ENTITY_PARSING_NEVER)
        self.parser.StartDoctypeDeclHandler = self.doctype
        self.parser.EntityDeclHandler = self.doctype
        self.parser.ExternalEntityRefHandler = self.doctype
        self.parser.StartElementHandler = self.start
        self.parser.EndElementHandler = self.end
        self.parser.CharacterDataHandler = self.characters

    def refuse(self, problem: str, accepted: str) -> InputError:
        return InputError(problem, file=self.path, line=self.parser.CurrentLineNumber, accepted=accepted)

    def doctype(self, *_: object) -> int:
        raise self.refuse("a document type or entity is not accepted", "XML without <!DOCTYPE ...>")

    def start(self, tag: str, attributes: dict[str, str]) -> None:
        self.count += 1
        if len(self.stack) >= MAX_DEPTH:
            raise self.refuse(f"<{shorten(tag, 40)}> is nested too deep", f"at most {MAX_DEPTH} levels")
        if self.count > MAX_ELEMENTS:
            raise self.refuse("too many elements", f"at most {MAX_ELEMENTS}")
        safe = {name: printable(value) for name, value in attributes.items()}
        element = Element(tag, safe, self.parser.CurrentLineNumber)
        if self.stack:
            self.stack[-1].children.append(element)
        else:
            self.root = element
        self.stack.append(element)

    def end(self, _: str) -> None:
        self.stack.pop()

    def characters(self, text: str) -> None:
        element = self.stack[-1]
        if len(element.text) < 2000:
            element.text += text
