"""Where a picture says it was taken: found in a JPEG, PNG or WebP and taken out, with nothing else of it changed.

What can be read is taken out alone; a part that cannot be read might say the place too, and goes whole. Pixels are
never unfolded or made anew. Read by the published formats (from memory): JPEG, ITU-T T.81, annex B; Exif and XMP in
JPEG, CIPA DC-008 and ISO 16684-1; PNG, ISO/IEC 15948 with eXIf (W3C, 3rd edition); WebP, RFC 9649. Not looked into:
what a maker of cameras writes in a code of its own (the maker's note of Exif).
"""

import hashlib
import re
import struct
import zlib
from collections.abc import Callable, Iterator
from dataclasses import dataclass

from app.pictures import NoPicture
from app.place_marks import SAYS_PLACE, Doubt, Left, without_gps, without_iptc, without_xmp

MOST_TEXT = 2_000_000
"""Most bytes that packed words may unfold to."""


@dataclass(frozen=True)
class Looked:
    """A picture without the place it was taken at.

    Attributes
    ----------
    raw : bytes
        The file; the very bytes that came where nothing was found.
    found : bool
        A place was found, and taken out.
    cut : bool
        A part that could not be read was taken out whole: it might have said the place.
    """

    raw: bytes
    found: bool = False
    cut: bool = False


class _Tally:
    """What was found on the way through a file."""

    def __init__(self) -> None:
        self.found = self.cut = False

    def left(self, look: Callable[[bytes], Left], part: bytes) -> bytes | None:
        """What is left of a part; nothing where it goes whole."""
        try:
            left, found = look(part)
        except Doubt:
            self.cut = True
            return None
        self.found |= found
        return left

    def end(self, rest: bytes) -> bytes:
        """What stands behind the picture: kept if it is nothing but padding."""
        if rest.strip(b"\0"):
            self.cut = True
            return b""
        return rest


def without_place(raw: bytes) -> Looked:
    """A picture, as `app.pictures.kind_of` takes it, without the place it was taken at.

    Raises
    ------
    NoPicture
        Its parts do not follow one another, so that it cannot be told what it says.
    """
    tally = _Tally()
    make = _png if raw.startswith(b"\x89PNG") else _jpeg if raw.startswith(b"\xff\xd8") else _webp
    try:
        made = make(raw, tally)
    except (struct.error, IndexError):
        raise NoPicture(
            "This picture is damaged: it cannot be seen whether it says where it was taken. Save it anew with another "
            "program, or tick that its place is kept."
        ) from None
    return Looked(made if tally.found or tally.cut else raw, tally.found, tally.cut)


def _plain(part: bytes) -> Left:
    """A part of a kind that no place belongs in: kept, unless it speaks of one all the same."""
    return (None, True) if SAYS_PLACE.search(part) else (part, False)


def _exif(part: bytes) -> Left:
    """Exif with or without its name before it."""
    head = part[:6] if part.startswith(b"Exif\0") else b""
    left, found = without_gps(part[len(head) :])
    return (None if left is None else head + left), found


# --- JPEG ----------------------------------------------------------------------------------------

_XMP, _MORE_XMP = b"http://ns.adobe.com/xap/1.0/\0", b"http://ns.adobe.com/xmp/extension/\0"
_MARKER = re.compile(rb"\xff[^\x00\xd0-\xd7\xff]")


def _segments(raw: bytes) -> Iterator[tuple[int, bytes]]:
    """The segments up to the end of the picture: marker, and content without its length. What is drawn, and bytes that
    fill, come as marker 0, and last of all what stands behind the end."""
    at = 2
    while True:
        if raw[at] != 0xFF:
            raise IndexError
        marker = raw[at + 1]
        if marker == 0xFF:
            yield 0, b"\xff"
            at += 1
            continue
        if marker == 0xD9:
            yield 0, raw[at : at + 2]
            yield -1, raw[at + 2 :]
            return
        end = at + 2 + int(struct.unpack_from(">H", raw, at + 2)[0])
        if end < at + 4 or end > len(raw):
            raise IndexError
        yield marker, raw[at + 4 : end]
        at = end
        if marker == 0xDA:
            found = _MARKER.search(raw, at)
            if found is None:
                raise IndexError
            yield 0, raw[at : found.start()]
            at = found.start()


def _jpeg(raw: bytes, tally: _Tally) -> bytes:
    segments = list(_segments(raw))
    longer = _longer_xmp([part for marker, part in segments if marker == 0xE1], tally)
    boxes = b"".join(part for marker, part in segments if marker == 0xEB)
    spoken = SAYS_PLACE.search(boxes) is not None
    made = [raw[:2]]
    for marker, part in segments:
        left: bytes | None = part
        if marker == -1:
            made.append(_behind(part, tally))
            continue
        if marker == 0:
            made.append(part)
            continue
        if marker == 0xE1:
            left = _app1(part, longer, tally)
        elif marker == 0xEB and spoken:
            left, tally.found = None, True
        elif marker == 0xED:
            left = tally.left(without_iptc, part)
        elif (0xE0 <= marker <= 0xEF and not part.startswith(b"ICC_PROFILE\0")) or marker == 0xFE:
            left = tally.left(_plain, part)
        if left is not None:
            made.append(struct.pack(">BBH", 0xFF, marker, len(left) + 2) + left)
    return b"".join(made)


def _behind(rest: bytes, tally: _Tally) -> bytes:
    """Further pictures behind the first (a phone's larger or brighter one); anything else goes."""
    if not rest.startswith(b"\xff\xd8\xff"):
        return tally.end(rest)
    try:
        return _jpeg(rest, tally)
    except (struct.error, IndexError, RecursionError):
        return tally.end(rest)


def _app1(part: bytes, longer: dict[bytes, tuple[bytes, bytes]], tally: _Tally) -> bytes | None:
    if part.startswith(b"Exif\0"):
        return tally.left(_exif, part)
    if part.startswith(_XMP):
        left = tally.left(without_xmp, part[len(_XMP) :])
        for guid, (new, _) in longer.items():
            left = left.replace(guid, new) if left is not None else None
        return None if left is None else _XMP + left
    if part.startswith(_MORE_XMP):
        at = len(_MORE_XMP)
        guid, offset = part[at : at + 32], int.from_bytes(part[at + 36 : at + 40], "big")
        if guid not in longer:
            return None
        new, whole = longer[guid]
        return _MORE_XMP + new + part[at + 32 : at + 40] + whole[offset : offset + len(part) - at - 40]
    return tally.left(_plain, part)


def _longer_xmp(parts: list[bytes], tally: _Tally) -> dict[bytes, tuple[bytes, bytes]]:
    """XMP that is spread over segments: by its MD5, its new one and what is left of it; without what goes whole."""
    whole: dict[bytes, bytearray] = {}
    at = len(_MORE_XMP)
    for part in parts:
        if part.startswith(_MORE_XMP) and len(part) >= at + 40:
            size, offset = struct.unpack_from(">II", part, at + 32)
            piece = part[at + 40 :]
            if size > MOST_TEXT or offset + len(piece) > size:
                tally.cut = True
                continue
            whole.setdefault(part[at : at + 32], bytearray(size))[offset : offset + len(piece)] = piece
    found = {}
    for guid, content in whole.items():
        left = tally.left(without_xmp, bytes(content))
        if left is not None:
            changed = left != content
            new = hashlib.md5(left, usedforsecurity=False).hexdigest().upper().encode() if changed else guid
            found[guid] = new, left
    return found


# --- PNG -----------------------------------------------------------------------------------------


def _png(raw: bytes, tally: _Tally) -> bytes:
    made, at, kind = [raw[:8]], 8, b""
    while kind != b"IEND":
        (size,) = struct.unpack_from(">I", raw, at)
        kind, end = raw[at + 4 : at + 8], at + 12 + size
        if end > len(raw):
            raise IndexError
        part = raw[at + 8 : end - 4]
        left = _of_chunk(kind, part, tally)
        if left == part:
            made.append(raw[at:end])
        elif left is not None:
            made.append(struct.pack(">I", len(left)) + kind + left + struct.pack(">I", zlib.crc32(kind + left)))
        at = end
    return b"".join([*made, tally.end(raw[at:])])


def _of_chunk(kind: bytes, part: bytes, tally: _Tally) -> bytes | None:
    if kind == b"eXIf":
        return tally.left(_exif, part)
    if kind in (b"tEXt", b"zTXt", b"iTXt"):
        return tally.left(lambda words: _words(kind, words), part)
    if kind[:1].islower() and kind != b"iCCP":
        return tally.left(_plain, part)
    return part


def _words(kind: bytes, part: bytes) -> Left:
    """A chunk of words: `keyword NUL …`, packed or not; XMP by its keyword, and what another program put there."""
    name, _, rest = part.partition(b"\0")
    packed, head = kind == b"zTXt", b""
    if kind == b"zTXt":
        head, rest = rest[:1], rest[1:]
    if kind == b"iTXt":
        language = rest.find(b"\0", 2)
        start = rest.find(b"\0", language + 1) + 1
        if language < 0 or start < 1:
            raise Doubt
        packed, head, rest = rest[:1] == b"\1", rest[:start], rest[start:]
    text = _unpacked(rest) if packed else rest
    if name == b"XML:com.adobe.xmp":
        left, found = without_xmp(text)
        if not found:
            return part, False
        if left is None:
            return None, True
        return name + b"\0" + head + (zlib.compress(left) if packed else left), True
    if name.lower().startswith(b"raw profile type "):
        return (None, True) if _profile_tells(text) else (part, False)
    return (None, True) if SAYS_PLACE.search(name) or SAYS_PLACE.search(text) else (part, False)


def _unpacked(packed: bytes) -> bytes:
    unfold = zlib.decompressobj()
    try:
        text = unfold.decompress(packed, MOST_TEXT)
    except zlib.error as error:
        raise Doubt from error
    if unfold.unconsumed_tail or not unfold.eof:
        raise Doubt
    return text


def _profile_tells(text: bytes) -> bool:
    """Whether Exif, XMP or IPTC in figures of sixteen (name, length, figures) says a place."""
    try:
        content = bytes.fromhex(b"".join(text.split()[2:]).decode("ascii"))
    except ValueError as error:
        raise Doubt from error
    if content.startswith((b"Exif\0", b"II*\0", b"MM\0*")):
        return _exif(content)[1]
    if content.startswith(_XMP):
        content = content[len(_XMP) :]
    if content.lstrip()[:1] == b"<":
        return without_xmp(content)[1]
    return without_iptc(content if content.startswith(b"Photoshop") else b"Photoshop 3.0\0" + content)[1]


# --- WebP ----------------------------------------------------------------------------------------

_DRAWN = (b"VP8 ", b"VP8L", b"VP8X", b"ALPH", b"ANIM", b"ANMF", b"ICCP")
_FLAGS = {b"EXIF": 0x08, b"XMP ": 0x04}


def _webp(raw: bytes, tally: _Tally) -> bytes:
    last = 8 + int(struct.unpack_from("<I", raw, 4)[0])
    if last > len(raw):
        raise IndexError
    looks = {b"EXIF": _exif, b"XMP ": without_xmp}
    made, at, gone = [], 12, 0
    while at + 8 <= last:
        kind, size = raw[at : at + 4], int(struct.unpack_from("<I", raw, at + 4)[0])
        part = raw[at + 8 : at + 8 + size]
        if at + 8 + size > last:
            raise IndexError
        left = part if kind in _DRAWN else tally.left(looks.get(kind, _plain), part)
        if left is None:
            gone |= _FLAGS.get(kind, 0)
        else:
            made.append([kind, left])
        at += 8 + size + size % 2
    if gone and made and made[0][0] == b"VP8X":
        head = made[0][1]
        made[0][1] = bytes([head[0] & ~gone & 0xFF]) + head[1:]
    body = b"WEBP" + b"".join(
        kind + struct.pack("<I", len(part)) + part + b"\0" * (len(part) % 2) for kind, part in made
    )
    return b"RIFF" + struct.pack("<I", len(body)) + body + tally.end(raw[last:])
