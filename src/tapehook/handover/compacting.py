"""A PDF in fewer bytes: what the typesetter writes one by one, as the tags of each cell, is packed into object streams.

Nothing is changed but how objects are stored: ISO 32000-1, 7.5.7 (object streams) and 7.5.8 (cross-reference streams).
"""

import re
import zlib
from itertools import pairwise

from tapehook.handover.typesetting import TypesettingError

_TOGETHER = 200
"""Objects to a stream: more pack better, fewer are quicker for a reader that wants one of them."""
_ENTRY = 20
"""Bytes of a line of a cross-reference table."""
_SECTION = re.compile(rb"xref\s+(\d+) (\d+)\s*?\n")
_PREVIOUS = re.compile(rb"/Prev (\d+)")


def compacted(pdf: bytes) -> bytes:
    """The same PDF with all that is no stream packed together; equal bytes for equal input.

    Raises TypesettingError when the PDF has not the form that the typesetter gives it.
    """
    offsets, starts, trailer = _sections(pdf)
    objects = _objects(pdf, offsets, starts)
    streams = {number: body for number, body in objects.items() if body.endswith(b"endstream")}
    plain = [number for number in sorted(objects) if number not in streams]
    size = max(objects, default=0) + 1
    body = bytearray(pdf[: min(offsets.values())])
    places: dict[int, tuple[int, int, int]] = {}
    for number in sorted(streams):
        places[number] = (1, len(body), 0)
        body += _object(number, streams[number])
    for at in range(0, len(plain), _TOGETHER):
        members = plain[at : at + _TOGETHER]
        holder, size = size, size + 1
        places |= {number: (2, holder, index) for index, number in enumerate(members)}
        places[holder] = (1, len(body), 0)
        body += _object(holder, _packed(members, objects))
    table, size = size, size + 1
    places[table] = (1, len(body), 0)
    start = len(body)
    body += _object(table, _table(places, size, trailer))
    return bytes(body) + b"startxref\n" + str(start).encode() + b"\n%%EOF"


def _sections(pdf: bytes) -> tuple[dict[int, int], set[int], bytes]:
    """Where each object stands, newer sections before older ones; all places where anything begins; the newest trailer.

    Objects that gave their place to newer ones still end those before them.
    """
    at = int(_found(re.compile(rb"startxref\s+(\d+)\s+%%EOF\s*$"), pdf[-64:]))
    offsets: dict[int, int] = {}
    starts = {len(pdf)}
    newest = b""
    while True:
        head = _SECTION.match(pdf, at)
        if head is None:
            raise TypesettingError("the PDF has no table of its objects where it says")
        first, count = int(head[1]), int(head[2])
        starts.add(at)
        for index in range(count):
            entry = pdf[head.end() + index * _ENTRY : head.end() + (index + 1) * _ENTRY]
            if entry[17:18] == b"n":
                offsets.setdefault(first + index, int(entry[:10]))
                starts.add(int(entry[:10]))
        after = pdf[head.end() + count * _ENTRY :]
        trailer = after[after.index(b"<<") + 2 : after.index(b"startxref")].rstrip().removesuffix(b">>")
        newest = newest or trailer
        previous = _PREVIOUS.search(trailer)
        if previous is None:
            return offsets, starts, _PREVIOUS.sub(b"", newest)
        at = int(previous[1])


def _found(pattern: re.Pattern[bytes], data: bytes) -> bytes:
    found = pattern.search(data)
    if found is None:
        raise TypesettingError("the PDF does not end as the typesetter ends it")
    return bytes(found[1])


def _objects(pdf: bytes, offsets: dict[int, int], starts: set[int]) -> dict[int, bytes]:
    """What stands between ``obj`` and ``endobj``, by number. An object ends where the next thing in the file begins."""
    ordered = sorted(starts)
    ends = dict(pairwise(ordered))
    objects = {}
    for number, start in offsets.items():
        head = f"{number} 0 obj".encode()
        whole = pdf[start : ends[start]]
        written = whole.rstrip()
        if not whole.startswith(head) or not written.endswith(b"endobj"):
            raise TypesettingError(f"object {number} of the PDF is not where the PDF says")
        objects[number] = written[len(head) : -len(b"endobj")].strip()
    return objects


def _object(number: int, body: bytes) -> bytes:
    return f"{number} 0 obj\n".encode() + body + b"\nendobj\n"


def _packed(members: list[int], objects: dict[int, bytes]) -> bytes:
    """An object stream: where each member stands in it, then the members."""
    places, at = [], 0
    for number in members:
        places.append(f"{number} {at}")
        at += len(objects[number]) + 1
    head = " ".join(places).encode() + b"\n"
    data = zlib.compress(head + b"\n".join(objects[number] for number in members))
    said = f"<</Type/ObjStm/N {len(members)}/First {len(head)}/Filter/FlateDecode/Length {len(data)}>>"
    return said.encode() + b"\nstream\n" + data + b"\nendstream"


def _table(places: dict[int, tuple[int, int, int]], size: int, trailer: bytes) -> bytes:
    """The cross-reference stream: kind, place and index of each object, in one, four and two bytes."""
    free = (0, 0, 65_535)
    rows = (places.get(number, free) for number in range(size))
    data = zlib.compress(b"".join(k.to_bytes(1) + at.to_bytes(4) + i.to_bytes(2) for k, at, i in rows))
    kept = re.sub(rb"/Size \d+", b"", trailer).strip()
    said = f"/Type/XRef/Size {size}/W[1 4 2]/Filter/FlateDecode/Length {len(data)}>>".encode()
    return b"<<" + kept + said + b"\nstream\n" + data + b"\nendstream"
