"""Where a block of a picture's own words says a place: Exif, XMP and IPTC, each with the place taken out alone.

Exif 2.32 (CIPA DC-008-2019) on TIFF 6.0: the GPS directory and its pointer. XMP (ISO 16684-1): properties by their
names. IPTC IIM 4.2 in the resources of APP13: city, country and the like. All from memory. Exif and XMP keep their
length, for other parts of a file are found by counting bytes.
"""

import re
import struct
from collections.abc import Callable
from xml.etree import ElementTree

Left = tuple[bytes | None, bool]
"""What is left of a block (nothing: it goes whole), and whether a place was found in it."""


class Doubt(Exception):
    """A block that cannot be read: it may say a place or not."""


SAYS_PLACE = re.compile(rb"(?i)gps[\s:_-]?(?:lat|lon|pos|coord|dest)|exif:gps|latitude|longitude|geotag")
"""Words that only a place is told with, in a block of any other kind."""


# --- Exif ----------------------------------------------------------------------------------------

_SIZES = {1: 1, 2: 1, 3: 2, 4: 4, 5: 8, 6: 1, 7: 1, 8: 2, 9: 4, 10: 8, 11: 4, 12: 8, 13: 4, 129: 1}
_GPS, _EXIF, _INTEROP, _MORE = 0x8825, 0x8769, 0xA005, 0x014A
_XMP, _IPTC, _PHOTOSHOP, _THUMBNAIL, _ITS_LENGTH = 0x02BC, 0x83BB, 0x8649, 0x0201, 0x0202


class _Tiff:
    """The directories of a TIFF block, each looked at once; raises `Doubt` where one leads outside or in circles."""

    def __init__(self, block: bytes) -> None:
        if block[:4] not in (b"II*\0", b"MM\0*"):
            raise Doubt
        self.data, self.order = bytearray(block), "<" if block[:1] == b"I" else ">"
        self.used: list[tuple[int, int]] = [(0, 8)]
        self.going: list[tuple[int, int]] = []
        self.gps: list[int] = []
        self.seen: set[int] = set()
        self.main = self.number("I", 4)
        at = self.main
        while at:
            at = self.look(at, chained=True)

    def number(self, kind: str, at: int) -> int:
        return int(struct.unpack_from(self.order + kind, self.data, at)[0])

    def entries(self, at: int, ranges: list[tuple[int, int]]) -> list[tuple[int, int, int]]:
        """The tag of each entry of a directory with where its value is and how long; what it takes up is noted."""
        if at < 8 or at in self.seen:
            raise Doubt
        self.seen.add(at)
        count = self.number("H", at)
        end = at + 2 + 12 * count
        if end > len(self.data):
            raise Doubt
        ranges.append((at, end))
        found = []
        for entry in range(at + 2, end, 12):
            size = _SIZES.get(self.number("H", entry + 2), 0) * self.number("I", entry + 4)
            value = entry + 8 if size <= 4 else self.number("I", entry + 8)
            if value + size > len(self.data):
                raise Doubt
            if size > 4:
                ranges.append((value, value + size))
            found.append((self.number("H", entry), value, size))
        return found

    def look(self, at: int, chained: bool = False) -> int:
        """Look through a directory and those below it; where the next one of the chain is."""
        entries = self.entries(at, self.used)
        thumbnail = {tag: self.number("I", value) for tag, value, size in entries if size == 4}
        for index, (tag, value, size) in enumerate(entries):
            if tag == _GPS:
                self.gps.append(self.number("I", value))
                self.going.append((at, index))
            elif tag in (_EXIF, _INTEROP):
                self.look(self.number("I", value))
            elif tag == _MORE:
                for below in range(value, value + size, 4):
                    self.look(self.number("I", below))
            elif tag in (_XMP, _IPTC, _PHOTOSHOP):
                self.words(tag, at, index, value, size)
        if _THUMBNAIL in thumbnail and _ITS_LENGTH in thumbnail:
            start, end = thumbnail[_THUMBNAIL], thumbnail[_THUMBNAIL] + thumbnail[_ITS_LENGTH]
            inside = self.data[start:end]
            if end > len(self.data) or b"Exif\0" in inside or SAYS_PLACE.search(inside):
                raise Doubt
            self.used.append((start, end))
        after = at + 2 + 12 * len(entries)
        if not chained:
            return 0
        self.used.append((after, after + 4))
        return self.number("I", after)

    def words(self, tag: int, at: int, index: int, value: int, size: int) -> None:
        """XMP or IPTC as an entry: blanked, or taken out whole."""
        block = bytes(self.data[value : value + size])
        looks: dict[int, Callable[[bytes], Left]] = {_XMP: without_xmp, _IPTC: _without_datasets}
        left, found = looks.get(tag, _without_resources)(block)
        if found:
            same = left is not None and len(left) == size
            self.data[value : value + size] = left if same and left is not None else bytes(size)
            if not same:
                self.going.append((at, index))

    def take_out(self) -> bytes | None:
        """The block without its GPS directories and what else goes; nothing where no entry is left."""
        ranges: list[tuple[int, int]] = []
        for at in set(self.gps):
            self.entries(at, ranges)
        if any(start < e and s < end for start, end in ranges for s, e in self.used):
            raise Doubt
        for start, end in ranges:
            self.data[start:end] = bytes(end - start)
        for at, index in sorted(self.going, reverse=True):
            count = self.number("H", at)
            if count == 1 and at == self.main:
                return None
            entry, end = at + 2 + 12 * index, min(at + 2 + 12 * count + 4, len(self.data))
            self.data[entry:end] = self.data[entry + 12 : end] + bytes(12)
            struct.pack_into(self.order + "H", self.data, at, count - 1)
        return bytes(self.data)


def without_gps(block: bytes) -> Left:
    """A TIFF block of Exif without its GPS directory.

    Raises
    ------
    Doubt
        It cannot be read to its end.
    """
    try:
        tiff = _Tiff(block)
        if not tiff.going and tiff.data == block:
            return block, False
        return tiff.take_out(), True
    except (struct.error, RecursionError) as error:
        raise Doubt from error


# --- XMP -----------------------------------------------------------------------------------------

_NAMES = (
    r"\w{0,40}(?:GPS|Latitude|Longitude)\w{0,40}|City|Country|CountryCode|CountryName|State|ProvinceState|Location"
    r"|Sublocation|LocationCreated|LocationShown|WorldRegion"
)
_NAME = re.compile(_NAMES, re.IGNORECASE)
_ATTRIBUTE = re.compile(rf"\s(?:[\w.-]+:)?(?:{_NAMES})\s*=\s*(?:\"[^\"]*\"|'[^']*')".encode(), re.IGNORECASE)
_ELEMENT = re.compile(
    rf"<((?:[\w.-]+:)?(?:{_NAMES}))(?:\s[^<>]*)?(?:/>|>.*?</\1\s*>)".encode(), re.IGNORECASE | re.DOTALL
)


def without_xmp(packet: bytes) -> Left:
    """A packet of XMP with blanks in place of the properties that say a place.

    Raises
    ------
    Doubt
        It is no XML that can be read.
    """
    if not _tells(packet):
        return packet, False
    blank = packet
    for pattern in (_ELEMENT, _ATTRIBUTE):
        blank = pattern.sub(lambda found: b" " * len(found[0]), blank)
    try:
        return (None if _tells(blank) else blank), True
    except Doubt:
        return None, True


def _tells(packet: bytes) -> bool:
    """Whether a packet has a property that says a place."""
    words = packet.strip(b"\0 \t\r\n")
    if b"\0" in words or re.search(rb"(?i)<!(?:DOCTYPE|ENTITY)", words):  # XMP in a file is UTF-8 and has neither
        raise Doubt
    try:
        root = ElementTree.fromstring(words)  # noqa: S314 (without entities, which could unfold)
    except (ElementTree.ParseError, LookupError, ValueError) as error:
        raise Doubt from error
    names = (name for element in root.iter() for name in (element.tag, *element.attrib))
    return any(_NAME.fullmatch(name.rpartition("}")[2]) for name in names if isinstance(name, str))


# --- IPTC ----------------------------------------------------------------------------------------

_HEAD = b"Photoshop 3.0\0"
_PLACES = {26, 27, 90, 92, 95, 100, 101}
"""Datasets of record 2: content location, city, sublocation, province, country."""


def without_iptc(content: bytes) -> Left:
    """An APP13 segment without the place in it.

    Raises
    ------
    Doubt
        It cannot be read to its end.
    """
    if not content.startswith(_HEAD):
        return (None, True) if SAYS_PLACE.search(content) else (content, False)
    left, found = _without_resources(content[len(_HEAD) :])
    return _HEAD + (left or b""), found


def _without_resources(block: bytes) -> Left:
    looks = {0x0404: _without_datasets, 0x0422: without_gps, 0x0423: without_gps, 0x0424: without_xmp}
    kept, found, at, last = [], False, 0, len(block.rstrip(b"\0"))
    while at < last:
        if block[at : at + 4] != b"8BIM":
            raise Doubt
        try:
            kind, name = struct.unpack_from(">HB", block, at + 4)
            start = at + 6 + (name + 2) // 2 * 2
            (size,) = struct.unpack_from(">I", block, start)
        except struct.error as error:
            raise Doubt from error
        end = start + 4 + size
        if end > len(block):
            raise Doubt
        left, here = looks.get(kind, _speaking)(block[start + 4 : end])
        if left is not None:
            kept.append(block[at:start] + struct.pack(">I", len(left)) + left + b"\0" * (len(left) % 2))
        found, at = found or here, end + size % 2
    return (b"".join(kept), True) if found else (block, False)


def _speaking(block: bytes) -> Left:
    return (None, True) if SAYS_PLACE.search(block) else (block, False)


def _without_datasets(block: bytes) -> Left:
    kept, found, at, last = [], False, 0, len(block.rstrip(b"\0"))
    while at < last:
        if len(block) < at + 5 or block[at] != 0x1C or block[at + 3] & 0x80:
            raise Doubt
        end = at + 5 + int.from_bytes(block[at + 3 : at + 5], "big")
        if end > len(block):
            raise Doubt
        if block[at + 1] == 2 and block[at + 2] in _PLACES:
            found = True
        else:
            kept.append(block[at:end])
        at = end
    return (b"".join(kept), True) if found else (block, False)
