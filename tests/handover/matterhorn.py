"""PDF/UA-1 (ISO 14289-1) as far as a program can check it, by an independent reader of PDF: what is wrong, in words.

The numbers are the failure conditions of "Matterhorn Protocol 1.02" (PDF Association). Only the objects and the content
streams come from the reader; what they mean is read here, so that the typesetter's own check is not what is trusted.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from typing import Any

import pymupdf

_TOKEN = re.compile(
    rb"\s+|%[^\r\n]*|(?P<open><<|\[)|(?P<close>>>|\])|(?P<hex><[0-9A-Fa-f\s]*>)|(?P<name>/[^\s()<>\[\]{}/%]*)"
    rb"|(?P<ref>\d+\s+\d+\s+R\b)|(?P<number>[+-]?(?:\d+\.?\d*|\.\d+))(?![^\s()<>\[\]{}/%])|(?P<text>\()"
    rb"|(?P<word>[^\s()<>\[\]{}/%]+)"
)
_PAINTS = frozenset(re.findall(r"\S+", "Tj TJ ' \" f F f* B B* b b* S s sh Do BI"))
_STANDARD = frozenset(
    re.findall(
        r"\w+",
        "Document Part Art Sect Div BlockQuote Caption TOC TOCI Index NonStruct Private P H H1 H2 H3 H4 H5 H6 L LI Lbl "
        "LBody Table TR TH TD THead TBody TFoot Span Quote Note Reference BibEntry Code Link Annot Ruby Warichu Figure "
        "Formula Form",
    )
)
_ROWS_STAND_IN = ("Table", "THead", "TBody", "TFoot")
_PARENTS = {
    **dict.fromkeys(("TH", "TD"), ("TR",)),
    "TR": _ROWS_STAND_IN,
    **dict.fromkeys(("Lbl", "LBody"), ("LI", "TOCI", "Note", "BibEntry")),
}


@dataclass(frozen=True, slots=True)
class Ref:
    """A reference to an object."""

    number: int


class Name(str):
    """A name of PDF, without its slash."""

    __slots__ = ()


class Word(str):
    """An operator or a keyword."""

    __slots__ = ()


def tokens(data: bytes) -> Iterator[Any]:
    """The tokens of an object or a content stream: numbers, texts as bytes, names, words, and brackets as words."""
    at = 0
    while at < len(data):
        found = _TOKEN.match(data, at)
        assert found is not None, data[at : at + 40]
        kind, at = found.lastgroup, found.end()
        if kind == "text":
            start, at = at, _text_end(data, at)
            yield data[start : at - 1]
        elif kind == "ref":
            yield Ref(int(found[0].split()[0]))
        elif kind == "number":
            yield float(found[0])
        elif kind == "name":
            yield Name(
                re.sub(rb"#([0-9A-Fa-f]{2})", lambda hexed: bytes.fromhex(hexed[1].decode()), found[0][1:]).decode(
                    "latin-1"
                )
            )
        elif kind == "hex":
            yield bytes.fromhex(found[0][1:-1].decode() + "0" * (len(re.sub(rb"\s", b"", found[0])) % 2))
        elif kind is not None:
            yield Word(found[0].decode("latin-1"))


def _text_end(data: bytes, at: int) -> int:
    depth = 1
    while depth:
        sign = data[at : at + 1]
        at += 2 if sign == b"\\" else 1
        depth += (sign == b"(") - (sign == b")")
    return at


def values(given: Iterator[Any]) -> Iterator[Any]:
    """Tokens put together: arrays as lists, dictionaries as dicts."""
    for one in given:
        if isinstance(one, Word) and one in ("[", "<<"):
            inside = list(values(given))
            yield inside if one == "[" else dict(zip(inside[::2], inside[1::2], strict=True))
        elif isinstance(one, Word) and one in ("]", ">>"):
            return
        else:
            yield one


class Document:
    """A PDF whose objects are read one by one."""

    def __init__(self, data: bytes) -> None:
        self.pdf: Any = pymupdf.open(stream=data, filetype="pdf")
        self.read = cache(self._read)
        self.root: dict[str, Any] = self.read(self.pdf.pdf_catalog())

    def _read(self, number: int) -> Any:  # noqa: ANN401 - any object of a PDF
        return next(values(tokens(self.pdf.xref_object(number, compressed=True).encode("latin-1", "replace"))), None)

    def of(self, value: Any) -> Any:  # noqa: ANN401 - any object of a PDF
        """What a reference leads to; anything else as it is."""
        return self.read(value.number) if isinstance(value, Ref) else value

    def elements(self) -> "list[Element]":
        """All structure elements, parents before children."""
        root = self.of(self.root.get("StructTreeRoot")) or {}
        roles = self.of(root.get("RoleMap")) or {}
        found: list[Element] = []
        waiting: list[tuple[Any, Element | None]] = [(root.get("K"), None)]
        while waiting:
            given, parent = waiting.pop()
            value = self.of(given)
            if isinstance(value, list):
                waiting += [(one, parent) for one in reversed(value)]
            elif isinstance(value, dict) and "S" in value:
                kind = str(value["S"])
                for _ in range(8):
                    kind = str(self.of(roles.get(kind, kind))) if kind not in _STANDARD else kind
                element = Element(kind, value, parent)
                found.append(element)
                waiting.append((value.get("K"), element))
            elif isinstance(value, dict) and value.get("Type") == "OBJR" and parent is not None:
                parent.objects.append(value["Obj"])
        return found


class Element:
    """One structure element: its standard type, its dictionary, its parent, and the annotations it holds."""

    def __init__(self, kind: str, data: dict[str, Any], parent: "Element | None") -> None:
        self.kind, self.data, self.parent = kind, data, parent
        self.objects: list[Any] = []


def faults(data: bytes) -> list[str]:
    """All failure conditions that were met, each with where."""
    document = Document(data)
    elements = document.elements()
    found = [*_of_file(document), *_of_elements(document, elements), *_of_annotations(document, elements)]
    for page in document.pdf:
        found += [f"page {page.number + 1}: {fault}" for fault in _of_content(page.read_contents())]
    return [*found, *_of_fonts(document)]


def _of_file(document: Document) -> Iterator[str]:
    root = document.root
    marks, wishes = document.of(root.get("MarkInfo")) or {}, document.of(root.get("ViewerPreferences")) or {}
    if marks.get("Marked") != "true" or marks.get("Suspects", "false") != "false":
        yield "01-006: the file is not marked as tagged"
    if "StructTreeRoot" not in root:
        yield "01-005: there is no structure tree"
    metadata = document.pdf.get_xml_metadata()
    if not re.search(r"<pdfuaid:part>\s*1\s*</pdfuaid:part>|pdfuaid:part=.1.", metadata):
        yield "06-002: the metadata do not say PDF/UA part 1"
    if not re.search(r"<dc:title>.*?<rdf:li[^>]*>[^<]+</rdf:li>", metadata, re.DOTALL):
        yield "06-003: the metadata have no title"
    if wishes.get("DisplayDocTitle") != "true":
        yield "07-001: the title is not asked to be shown"
    if not root.get("Lang"):
        yield "11-006: the language is not said"
    if document.pdf.page_count > 20 and "Outlines" not in root:
        yield "27-000: a long file has no bookmarks"


def _of_elements(document: Document, elements: list[Element]) -> Iterator[str]:
    last = 0
    for element in elements:
        if element.kind not in _STANDARD:
            yield f"02-001: {element.kind} is no standard type"
        if element.kind in ("Figure", "Formula") and not (element.data.get("Alt") or element.data.get("ActualText")):
            yield f"13-004: a {element.kind} says nothing to those who do not see it"
        if re.fullmatch("H[1-6]", element.kind):
            level = int(element.kind[1])
            if level > last + 1:
                yield f"14-003: a heading of level {level} follows one of level {last}"
            last = level
        yield from _of_one(document, element)
    tables = [element for element in elements if element.kind == "Table"]
    heads = {id(_table(element)) for element in elements if element.kind == "TH"}
    if any(id(table) not in heads for table in tables):
        yield "15-003: a table has no cell that heads others"


def _of_one(document: Document, element: Element) -> Iterator[str]:
    parent = element.parent.kind if element.parent else "nothing"
    if element.kind == "TH" and not _scope(document, element) and not element.data.get("ID"):
        yield "15-003: a cell that heads others does not say which"
    if element.kind in _PARENTS and parent not in _PARENTS[element.kind]:
        yield f"09-004: a {element.kind} stands in {parent}"


def _table(element: Element) -> Element | None:
    above = element.parent
    while above is not None and above.kind != "Table":
        above = above.parent
    return above


def _scope(document: Document, element: Element) -> bool:
    given = document.of(element.data.get("A"))
    return any("Scope" in (document.of(one) or {}) for one in (given if isinstance(given, list) else [given]))


def _of_annotations(document: Document, elements: list[Element]) -> Iterator[str]:
    in_links = {one for element in elements if element.kind == "Link" for one in element.objects}
    for page in document.pdf:
        data = document.read(page.xref)
        where, listed = f"page {page.number + 1}", document.of(data.get("Annots")) or []
        if listed and data.get("Tabs") != "S":
            yield f"28-009: {where} is not gone through in the order of its structure"
        if "StructParents" not in data:
            yield f"01-005: {where} is not in the structure"
        for given in listed:
            one = document.of(given)
            if one.get("Subtype") == "Link" and given not in in_links:
                yield f"28-011: {where} has a link outside the structure"
            if one.get("Subtype") == "Link" and not one.get("Contents"):
                yield f"28-012: {where} has a link that says nothing"
            if one.get("Subtype") not in ("Link", "Widget", "Popup"):
                yield f"28-002: {where} has an annotation of kind {one.get('Subtype')}"


def _of_content(stream: bytes) -> Iterator[str]:
    """Whatever paints stands in a tagged sequence or in an artifact, and neither in the other."""
    open_: list[str] = []
    operands: list[Any] = []
    outside = 0
    for value in values(tokens(stream)):
        if not isinstance(value, Word):
            operands.append(value)
            continue
        if value in ("BDC", "BMC"):
            kind = "artifact" if operands[0] == "Artifact" else "tagged" if _has_id(operands) else "other"
            if kind != "other" and ({"artifact", "tagged"} - {kind}) & set(open_):
                yield f"01-00{3 if kind == 'artifact' else 4}: {kind} content within other content"
            open_.append(kind)
        elif value == "EMC":
            open_.pop()
        elif value in _PAINTS:
            outside += not {"artifact", "tagged"} & set(open_)
        operands = []
    if outside:
        yield f"01-005: {outside} paintings are neither tagged nor artifacts"


def _has_id(operands: list[Any]) -> bool:
    return len(operands) > 1 and isinstance(operands[1], dict) and "MCID" in operands[1]


def _of_fonts(document: Document) -> Iterator[str]:
    for number in range(1, document.pdf.xref_length()):
        if document.pdf.xref_get_key(number, "Type")[1] != "/Font":
            continue
        font = document.read(number)
        name = font.get("BaseFont", font.get("Name", number))
        if font.get("Subtype") in ("Type0", "Type3") and "ToUnicode" not in font:
            yield f"10-001: the letters of {name} are no text"
        wrapped = font.get("Subtype") in ("Type0", "Type3")
        descriptor = document.of(font.get("FontDescriptor")) or {}
        if not wrapped and not {"FontFile", "FontFile2", "FontFile3"} & set(descriptor):
            yield f"31-009: {name} is not in the file"
