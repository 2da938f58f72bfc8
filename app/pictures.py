"""What a picture is, told by its bytes and never by its name: its kind and its size in dots.

Only the head is read, and the end looked for; nothing is decoded, so nothing can unfold to more than it is.
"""

import struct
from dataclasses import dataclass

MOST_DOTS = 50_000_000
"""Width times height that a browser is asked to unfold at most."""

_FRAMES = {*range(0xC0, 0xD0)} - {0xC4, 0xC8, 0xCC}  # JPEG markers that begin a frame


class NoPicture(ValueError):
    """The bytes are none of the pictures taken; the message says why."""


@dataclass(frozen=True)
class Kind:
    """A picture: its media type, and width and height in dots."""

    media_type: str
    width: int
    height: int

    @property
    def ending(self) -> str:
        """The usual ending of such a file's name."""
        return {"image/jpeg": "jpg", "image/png": "png", "image/webp": "webp"}[self.media_type]


def kind_of(raw: bytes) -> Kind:
    """The kind of a picture.

    Raises
    ------
    NoPicture
        It is no JPEG, PNG or WebP; or it is cut off, empty, or larger than a browser should unfold.
    """
    try:
        if raw.startswith(b"\x89PNG\r\n\x1a\n"):
            kind = _png(raw)
        elif raw.startswith(b"\xff\xd8\xff"):
            kind = _jpeg(raw)
        elif raw[:4] == b"RIFF" and raw[8:12] == b"WEBP":
            kind = _webp(raw)
        else:
            raise NoPicture("This is no JPEG, PNG or WebP, whatever its name says.")
    except (struct.error, IndexError):
        raise NoPicture("This picture is cut off or damaged.") from None
    if not 0 < kind.width * kind.height <= MOST_DOTS:
        raise NoPicture(f"This picture has {kind.width} × {kind.height} dots; make it smaller.")
    return kind


def _png(raw: bytes) -> Kind:
    """PNG (ISO/IEC 15948): the first chunk is IHDR, the last IEND."""
    if raw[12:16] != b"IHDR" or raw[-8:-4] != b"IEND":
        raise NoPicture("This PNG is cut off or damaged.")
    return Kind("image/png", *struct.unpack(">II", raw[16:24]))


def _jpeg(raw: bytes) -> Kind:
    """JPEG (ITU-T T.81, annex B): segments up to the frame, which tells the size."""
    if b"\xff\xd9" not in raw[-4096:]:
        raise NoPicture("This JPEG is cut off: its end is missing.")
    at = 2
    while raw[at] == 0xFF:
        marker = raw[at + 1]
        if marker == 0xFF:  # a filling byte
            at += 1
            continue
        if marker in _FRAMES:
            height, width = struct.unpack(">HH", raw[at + 5 : at + 9])
            return Kind("image/jpeg", width, height)
        if marker in (0xD9, 0xDA):  # the picture begins, or ends, without a frame
            break
        at += 2 + max(2, struct.unpack(">H", raw[at + 2 : at + 4])[0])
    raise NoPicture("This JPEG is damaged: it does not tell its size.")


def _webp(raw: bytes) -> Kind:
    """WebP (RFC 9649): lossy, lossless or extended, each with the size at its own place."""
    if len(raw) < 8 + struct.unpack("<I", raw[4:8])[0]:
        raise NoPicture("This WebP is cut off: its end is missing.")
    chunk = raw[12:16]
    if chunk == b"VP8 " and raw[23:26] == b"\x9d\x01\x2a":
        width, height = struct.unpack("<HH", raw[26:30])
        return Kind("image/webp", width & 0x3FFF, height & 0x3FFF)
    if chunk == b"VP8L" and raw[20] == 0x2F:
        bits = struct.unpack("<I", raw[21:25])[0]
        return Kind("image/webp", (bits & 0x3FFF) + 1, (bits >> 14 & 0x3FFF) + 1)
    if chunk == b"VP8X":
        sizes = [int.from_bytes(raw[at : at + 3], "little") + 1 for at in (24, 27)]
        return Kind("image/webp", *sizes)
    raise NoPicture("This WebP is damaged: it does not tell its size.")
