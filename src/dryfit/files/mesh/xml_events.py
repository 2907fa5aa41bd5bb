"""XML as a stream of starts and ends: no tree, no document type, no entities, no network."""

from __future__ import annotations

from typing import IO, Protocol
from xml.parsers import expat

from dryfit.base.errors import MeshRefused
from dryfit.files.mesh.source import Source

_BLOCK = 1 << 20


class Handler(Protocol):
    """Names are namespace}name, or the bare name where there is no namespace."""

    def start(self, name: str, attributes: dict[str, str], line: int) -> None: ...

    def end(self, name: str, line: int) -> None: ...

    def name_space(self, prefix: str | None, uri: str | None) -> None: ...


def parse_xml(source: Source, stream: IO[bytes], place: str, handler: Handler) -> None:
    """Feeds all elements of a stream to the handler.

    Raises MeshRefused, with the line, for XML that is not well-formed and for any document type
    declaration: 3MF forbids them, and without one there are no entities to expand.
    What the stream itself raises passes through.
    """
    parser = expat.ParserCreate(namespace_separator="}")

    def refuse_document_type(*_: object) -> None:
        what = "the XML holds a document type declaration, which 3MF forbids"
        raise source.refuse(what, f"{place}, line {parser.CurrentLineNumber}")

    parser.StartDoctypeDeclHandler = refuse_document_type
    parser.StartElementHandler = lambda name, attributes: handler.start(
        name, attributes, parser.CurrentLineNumber
    )
    parser.StartNamespaceDeclHandler = handler.name_space
    parser.EndElementHandler = lambda name: handler.end(name, parser.CurrentLineNumber)
    try:
        while block := stream.read(_BLOCK):
            parser.Parse(block, False)
        parser.Parse(b"", True)
    except expat.ExpatError as fault:
        raise _malformed(source, fault, place) from fault


def _malformed(source: Source, fault: expat.ExpatError, place: str) -> MeshRefused:
    words = expat.ErrorString(fault.code) or "unknown fault"
    return source.refuse(f"the XML is not well-formed ({words})", f"{place}, line {fault.lineno}")
