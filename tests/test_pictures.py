"""Pictures by their bytes: kinds and sizes as the published formats lay them down, and what is none.

Layouts: PNG, ISO/IEC 15948:2004, 5.2, 11.2.2; JPEG, ITU-T T.81 (1992), B.2.2; WebP, RFC 9649 (2024), 2.5 to 2.7 (all
from memory). `tests/browser/test_firing_log.py` compares with pictures that a browser encoded.
"""

import struct
import zlib

import pytest

from app.pictures import MOST_DOTS, Kind, NoPicture, kind_of


def png(width: int = 3, height: int = 2) -> bytes:
    """A whole grey PNG."""

    def chunk(kind: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    rows = zlib.compress(b"".join(b"\0" + b"\x80" * width for _ in range(min(height, 10))))
    head = struct.pack(">IIBBBBB", width, height, 8, 0, 0, 0, 0)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", rows) + chunk(b"IEND", b"")


def jpeg(width: int = 300, height: int = 200, frame: int = 0xC0) -> bytes:
    """The segments of a JPEG without its picture."""
    app0 = b"\xff\xe0" + struct.pack(">H", 16) + b"JFIF\0" + b"\0" * 9
    table = b"\xff\xc4\x00\x05abc"  # begins like a frame and is none
    start = bytes([0xFF, 0xFF, frame]) + struct.pack(">HBHHB", 11, 8, height, width, 1) + b"\x01\x11\x00"
    return b"\xff\xd8" + app0 + table + start + b"\xff\xda\x00\x02data\xff\xd9"


def webp(chunk: bytes, body: bytes) -> bytes:
    """A WebP of one chunk."""
    inner = b"WEBP" + chunk + struct.pack("<I", len(body)) + body
    return b"RIFF" + struct.pack("<I", len(inner)) + inner


LOSSY = webp(b"VP8 ", b"\x10\x00\x00\x9d\x01\x2a" + struct.pack("<HH", 320, 240) + b"\0" * 10)
LOSSLESS = webp(b"VP8L", b"\x2f" + struct.pack("<I", 319 | 239 << 14) + b"\0" * 10)
EXTENDED = webp(b"VP8X", b"\0\0\0\0" + (319).to_bytes(3, "little") + (239).to_bytes(3, "little"))


@pytest.mark.parametrize(
    ("raw", "kind"),
    [
        (png(3, 2), Kind("image/png", 3, 2)),
        (jpeg(), Kind("image/jpeg", 300, 200)),
        (jpeg(frame=0xC2), Kind("image/jpeg", 300, 200)),
        (LOSSY, Kind("image/webp", 320, 240)),
        (LOSSLESS, Kind("image/webp", 320, 240)),
        (EXTENDED, Kind("image/webp", 320, 240)),
    ],
)
def test_kind_and_size_are_told_by_the_bytes(raw: bytes, kind: Kind) -> None:
    assert kind_of(raw) == kind
    assert kind.ending in ("png", "jpg", "webp")


@pytest.mark.parametrize(
    ("raw", "words"),
    [
        (b"<svg xmlns='http://www.w3.org/2000/svg'><script/></svg>", "no JPEG, PNG or WebP"),
        (b"GIF89a" + b"\0" * 50, "no JPEG"),
        (b"PK\x03\x04" + b"\0" * 50, "no JPEG"),
        (b"0.0,1.0\n", "no JPEG"),
        (b"\xff\xd8\xff", "cut off"),
        (jpeg()[:-2], "its end is missing"),
        (b"\xff\xd8\xff\xda\x00\x02\xff\xd9", "does not tell its size"),
        (b"\xff\xd8" + b"\xff\xe0\xff\xff\xff\xd9", "cut off"),
        (png()[:-6], "cut off"),
        (png(0, 5), "0 × 5"),
        (png(10_000, MOST_DOTS // 10_000 + 1), "make it smaller"),
        (LOSSY[:-3], "cut off"),
        (webp(b"ALPH", b"\0" * 20), "does not tell its size"),
    ],
)
def test_what_is_no_picture_or_only_part_of_one_is_refused(raw: bytes, words: str) -> None:
    with pytest.raises(NoPicture, match=words):
        kind_of(raw)


def test_a_jpeg_cut_anywhere_is_refused_or_read_and_never_a_fault_of_the_program() -> None:
    whole = jpeg()
    for end in range(2, len(whole)):
        for raw in (whole[:end], whole[:end] + b"\xff\xd9", LOSSY[:end], EXTENDED[:end], png()[:end]):
            try:
                assert kind_of(raw).width > 0
            except NoPicture:
                continue
