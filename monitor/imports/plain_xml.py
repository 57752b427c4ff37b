"""XML from elsewhere: looked over as it streams by, before any library makes a tree of it."""

from __future__ import annotations

from typing import TYPE_CHECKING
from xml.parsers import expat  # a bare reader: it makes nothing of what it reads

from defusedxml.common import DefusedXmlException
from defusedxml.ElementTree import ParseError, fromstring

from monitor.imports.archive import refused

if TYPE_CHECKING:
    from xml.etree.ElementTree import Element

MOST_ELEMENTS = 3_000_000
DEEPEST = 60
_AGAIN = "Export it again from the program that drew it."


class _Refused(Exception):  # noqa: N818 - it leaves this module as a BadInputError
    """What must not be read."""


class _Watch:
    def __init__(self) -> None:
        self._depth = self._elements = 0

    def doctype(self, *_: object) -> None:
        raise _Refused("it declares a document type, by which a small file can blow up")

    def start(self, *_: object) -> None:
        self._depth += 1
        self._elements += 1
        if self._depth > DEEPEST:
            raise _Refused(f"it nests more than {DEEPEST} deep")
        if self._elements > MOST_ELEMENTS:
            raise _Refused(f"it has more than {MOST_ELEMENTS:,} elements")

    def end(self, _name: str) -> None:
        self._depth -= 1


def look_over(data: bytes, entry: str, name: str) -> None:
    """Refuse entities, and trees too deep or too large, of one XML file in the file `name`."""
    watch = _Watch()
    reader = expat.ParserCreate()
    reader.StartDoctypeDeclHandler = watch.doctype
    reader.StartElementHandler = watch.start
    reader.EndElementHandler = watch.end
    try:
        reader.Parse(data, True)  # noqa: FBT003 - its only form
    except _Refused as fault:
        raise refused(
            "unsafe-xml",
            f"{entry} in {name} is not read: {fault}.",
            f"No drawing program writes that. {_AGAIN}",
            name,
        ) from None
    except (expat.ExpatError, ValueError, LookupError) as fault:
        raise _broken(entry, name, fault) from None


def parsed(data: bytes, entry: str, name: str) -> Element:
    """The tree of it, once it was looked over."""
    data = data.rstrip(b"\0")  # some programs end it so
    look_over(data, entry, name)
    try:
        root: Element = fromstring(data, forbid_dtd=True)
    except (ParseError, DefusedXmlException, ValueError, LookupError) as fault:
        raise _broken(entry, name, fault) from None
    return root


def _broken(entry: str, name: str, fault: Exception) -> Exception:
    said = " ".join(str(fault).split())[:120]
    return refused("broken-xml", f"{entry} in {name} cannot be read: {said}.", _AGAIN, name)
