"""Where a picture says it was taken, taken out: held against Pillow, which reads pictures with code of its own.

Pictures are made here with Pillow (a general library, python-pillow.org), the place in each part that can hold one;
what Pillow reads afterwards must lack the place and have all else as it was: every pixel, every other tag.
"""

import hashlib
import io
import random
import struct
import zlib
from collections.abc import Callable
from typing import Any

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from PIL import Image, PngImagePlugin

from app.picture_places import without_place
from app.pictures import NoPicture, kind_of
from tests.test_pictures import EXTENDED, LOSSY, jpeg, png

GPS = 0x8825
PLACE = {1: "N", 2: (54.0, 12.0, 3.5), 3: "E", 4: (9.0, 44.0, 1.25), 5: b"\0", 6: 12.5, 29: "2026:11:21"}
TAGS = {0x010F: "Maker", 0x0110: "Camera of a bench", 0x0112: 6, 0x0132: "2026:11:21 15:02:03", 0x8298: "Ada"}
SHOT = {0x9003: "2026:11:21 15:02:03", 0x829A: 0.008, 0x9286: b"ASCII\0\0\0crust in the throat"}

XMP = """<?xpacket begin="\ufeff" id="W5M0MpCehiHzreSzNTczkc9d"?>
<x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#">
<rdf:Description rdf:about="" xmlns:exif="http://ns.adobe.com/exif/1.0/" xmlns:dc="http://purl.org/dc/elements/1.1/"
 xmlns:photoshop="http://ns.adobe.com/photoshop/1.0/" xmlns:Iptc4xmpExt="http://iptc.org/std/Iptc4xmpExt/2008-02-29/"
 xmlns:xmp="http://ns.adobe.com/xap/1.0/" xmp:Rating="4" exif:GPSLatitude="54,12.058N" photoshop:City='Heide'>
<exif:GPSLongitude>9,44.02E</exif:GPSLongitude><exif:GPSMapDatum/>
<Iptc4xmpExt:LocationShown><rdf:Bag><rdf:li rdf:parseType="Resource"><Iptc4xmpExt:City>Heide</Iptc4xmpExt:City>
</rdf:li></rdf:Bag></Iptc4xmpExt:LocationShown>
<dc:description><rdf:Alt><rdf:li xml:lang="x-default">Crust in the throat</rdf:li></rdf:Alt></dc:description>
</rdf:Description></rdf:RDF></x:xmpmeta>
<?xpacket end="w"?>""".encode()
TELLS = (b"GPSL", b"Heide", b"9,44", b"54,12")


def drawn(size: tuple[int, int] = (40, 30)) -> Image.Image:
    """A picture in which no two places are alike."""
    chance = random.Random(7)
    return Image.frombytes("RGB", size, bytes(chance.randrange(256) for _ in range(3 * size[0] * size[1])))


def exif(place: bool = True) -> Image.Exif:
    """Exif as Pillow writes it, with a thumbnail's worth of other tags."""
    made = Image.Exif()
    made.update(TAGS)
    made.get_ifd(0x8769).update(SHOT)
    if place:
        made.get_ifd(GPS).update(PLACE)
    return made


def saved(kind: str, **more: Any) -> bytes:
    out = io.BytesIO()
    drawn().save(out, kind, **more)
    return out.getvalue()


def told(raw: bytes) -> tuple[dict[int, Any], dict[int, Any], dict[int, Any]]:
    """What Pillow reads of Exif: the main directory, the one of the shot, and the place."""
    with Image.open(io.BytesIO(raw)) as picture:
        found = picture.getexif()
        pointers = (0x8769, GPS, 0xA005)
        main = {tag: value for tag, value in found.items() if tag not in pointers}
        return main, dict(found.get_ifd(0x8769)), dict(found.get_ifd(GPS))


def pixels(raw: bytes) -> bytes:
    with Image.open(io.BytesIO(raw)) as picture:
        picture.load()
        return picture.convert("RGBA").tobytes()


def app(marker: int, content: bytes) -> bytes:
    return struct.pack(">BBH", 0xFF, marker, len(content) + 2) + content


def behind_start(raw: bytes, *segments: bytes) -> bytes:
    """A JPEG with these segments behind its first marker."""
    return raw[:2] + b"".join(segments) + raw[2:]


def chunk(kind: bytes, data: bytes) -> bytes:
    return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))


def before_pixels(raw: bytes, *chunks: bytes) -> bytes:
    """A PNG with these chunks before its pixels."""
    at = raw.index(b"IDAT") - 4
    return raw[:at] + b"".join(chunks) + raw[at:]


# --- Exif ----------------------------------------------------------------------------------------


@pytest.mark.promise(
    "The place a picture was taken at is left out, its pixels and all other tags are as they came",
    figure="JPEG, PNG, WebP; Exif, XMP, IPTC; read by Pillow",
)
@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
def test_the_place_goes_out_of_exif_and_every_other_tag_and_pixel_stays(kind: str) -> None:
    raw = saved(kind, exif=exif(), **({"lossless": True} if kind == "WEBP" else {}))
    before = told(raw)
    assert before[2], "the picture says where it was taken"
    looked = without_place(raw)
    assert (looked.found, looked.cut) == (True, False)
    main, shot, place = told(looked.raw)
    assert place == {}
    assert (main, shot) == before[:2]
    assert len(main) == len(TAGS)
    assert pixels(looked.raw) == pixels(raw)
    assert kind_of(looked.raw) == kind_of(raw)
    assert len(looked.raw) == len(raw), "nothing is moved, for other parts count bytes"
    changed = [i for i, (a, b) in enumerate(zip(raw, looked.raw, strict=True)) if a != b]
    assert max(changed) - min(changed) < 400
    again = without_place(looked.raw)
    assert (again.raw, again.found, again.cut) == (looked.raw, False, False)


@pytest.mark.parametrize("order", ["<", ">"])
def test_both_orders_of_bytes_are_read(order: str) -> None:
    made = exif()
    made.endian = order
    raw = saved("JPEG", exif=made.tobytes())
    looked = without_place(raw)
    assert looked.found
    assert told(looked.raw)[2] == {}
    assert told(looked.raw)[:2] == told(raw)[:2]


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
def test_a_picture_that_names_no_place_is_kept_byte_by_byte(kind: str) -> None:
    raw = saved(kind, exif=exif(place=False), icc_profile=b"profile" * 99)
    looked = without_place(raw)
    assert looked.raw == raw
    assert not looked.found
    assert not looked.cut


def _longer(tiff: bytearray) -> None:
    tiff[4:8] = struct.pack(">I" if tiff[:1] == b"M" else "<I", len(tiff) + 99)


def _circle(tiff: bytearray) -> None:
    """The directory that follows is the first one again."""
    order = ">" if tiff[:1] == b"M" else "<"
    (at,) = struct.unpack_from(order + "I", tiff, 4)
    (count,) = struct.unpack_from(order + "H", tiff, at)
    struct.pack_into(order + "I", tiff, at + 2 + 12 * count, at)


def _no_tiff(tiff: bytearray) -> None:
    tiff[:2] = b"XX"


def _short(tiff: bytearray) -> None:
    del tiff[len(tiff) // 2 :]


def _over_another(tiff: bytearray) -> None:
    """The place lies where another directory does."""
    order = ">" if tiff[:1] == b"M" else "<"
    (at,) = struct.unpack_from(order + "I", tiff, 4)
    (count,) = struct.unpack_from(order + "H", tiff, at)
    where = {struct.unpack_from(order + "H", tiff, e)[0]: e for e in range(at + 2, at + 2 + 12 * count, 12)}
    struct.pack_into(order + "I", tiff, where[GPS] + 8, at)


@pytest.mark.parametrize("spoil", [_longer, _circle, _no_tiff, _short, _over_another])
@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
def test_exif_that_cannot_be_read_goes_whole(kind: str, spoil: Callable[[bytearray], None]) -> None:
    block = bytearray(exif().tobytes()[6:])
    spoil(block)
    broken = bytes(block)
    plain = saved(kind, lossless=True) if kind == "WEBP" else saved(kind)
    match kind:
        case "JPEG":
            raw = behind_start(plain, app(0xE1, b"Exif\0\0" + broken))
        case "PNG":
            raw = before_pixels(plain, chunk(b"eXIf", broken))
        case _:
            made = saved(kind, lossless=True, exif=exif())
            at = made.index(b"EXIF")
            body = made[12:at] + b"EXIF" + struct.pack("<I", len(broken)) + broken + b"\0" * (len(broken) % 2)
            raw = b"RIFF" + struct.pack("<I", len(body) + 4) + b"WEBP" + body
    looked = without_place(raw)
    assert looked.cut
    assert broken[8:40] not in looked.raw
    assert told(looked.raw) == ({}, {}, {})
    assert pixels(looked.raw) == pixels(plain)
    if kind == "WEBP":
        assert not looked.raw[20] & 0x08, "its head says no more that there is Exif (RFC 9649, 2.7.1)"


# --- XMP and IPTC --------------------------------------------------------------------------------


def xmp_of(raw: bytes) -> Any:
    with Image.open(io.BytesIO(raw)) as picture:
        picture.load()
        return picture.info.get("xmp")


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "PNG packed", "WEBP"])
def test_the_place_goes_out_of_xmp_and_its_other_words_stay(kind: str) -> None:
    match kind:
        case "JPEG":
            raw = saved("JPEG", xmp=XMP)
        case "WEBP":
            raw = saved("WEBP", xmp=XMP, lossless=True)
        case _:
            info = PngImagePlugin.PngInfo()
            info.add_itxt("XML:com.adobe.xmp", XMP.decode(), zip=kind == "PNG packed")
            raw = saved("PNG", pnginfo=info)
    looked = without_place(raw)
    assert (looked.found, looked.cut) == (True, False)
    left = xmp_of(looked.raw)
    left = left.encode() if isinstance(left, str) else left
    assert not any(words in left for words in TELLS)
    assert b"Crust in the throat" in left
    assert b'xmp:Rating="4"' in left
    assert len(left) == len(XMP)
    assert pixels(looked.raw) == pixels(raw)


def test_xmp_spread_over_segments_is_put_together_and_its_new_sum_told() -> None:
    longer = XMP.replace(b"Crust", b"Crust " * 12_000)
    guid = hashlib.md5(longer, usedforsecurity=False).hexdigest().upper().encode()
    short = b'<x:xmpmeta xmlns:x="adobe:ns:meta/"><a xmlns:xmpNote="u" xmpNote:HasExtendedXMP="%s"/></x:xmpmeta>' % guid
    pieces = [(at, longer[at : at + 60_000]) for at in range(0, len(longer), 60_000)]
    assert len(pieces) == 2
    name = b"http://ns.adobe.com/xmp/extension/\0"
    segments = [app(0xE1, name + guid + struct.pack(">II", len(longer), at) + piece) for at, piece in pieces]
    raw = behind_start(saved("JPEG"), app(0xE1, b"http://ns.adobe.com/xap/1.0/\0" + short), *segments)
    looked = without_place(raw)
    assert (looked.found, looked.cut) == (True, False)
    assert not any(words in looked.raw for words in TELLS)
    assert b"Crust Crust" in looked.raw
    assert guid not in looked.raw
    ends = looked.raw.split(name)[1:]
    size = struct.unpack_from(">I", ends[0], 32)[0]
    left = b"".join(end[40 : 40 + len(piece)] for end, (_, piece) in zip(ends, pieces, strict=True))
    assert len(left) == size
    assert looked.raw.count(hashlib.md5(left, usedforsecurity=False).hexdigest().upper().encode()) == 3


@pytest.mark.parametrize(
    "xmp",
    [XMP[:-60], b"<!DOCTYPE a [<!ENTITY b 'exif'>]>" + XMP, XMP.decode().encode("utf-16"), b"\x00\x01"],
    ids=["cut off", "entities", "utf-16", "no text"],
)
def test_xmp_that_cannot_be_read_goes_whole(xmp: bytes) -> None:
    raw = behind_start(saved("JPEG"), app(0xE1, b"http://ns.adobe.com/xap/1.0/\0" + xmp))
    looked = without_place(raw)
    assert looked.cut
    assert looked.raw == saved("JPEG")


def dataset(number: int, words: bytes) -> bytes:
    return bytes([0x1C, 2, number]) + struct.pack(">H", len(words)) + words


def test_city_and_country_go_out_of_iptc_and_its_other_words_stay() -> None:
    iim = dataset(5, b"A nozzle") + dataset(90, b"Heide") + dataset(101, b"Somewhere") + dataset(120, b"Crust")
    resource = (
        b"8BIM" + struct.pack(">H", 0x0404) + b"\0\0" + struct.pack(">I", len(iim)) + iim + b"\0" * (len(iim) % 2)
    )
    raw = behind_start(saved("JPEG"), app(0xED, b"Photoshop 3.0\0" + resource))
    looked = without_place(raw)
    assert looked.found
    with Image.open(io.BytesIO(looked.raw)) as picture:
        from PIL import IptcImagePlugin

        found = IptcImagePlugin.getiptcinfo(picture)
    assert found == {(2, 5): b"A nozzle", (2, 120): b"Crust"}
    assert pixels(looked.raw) == pixels(raw)


# --- Elsewhere in the file -----------------------------------------------------------------------


def test_words_in_a_png_that_name_a_place_go_and_others_stay() -> None:
    info = PngImagePlugin.PngInfo()
    info.add_text("exif:GPSLatitude", "54/1, 12/1, 3/1")
    info.add_text("Comment", "Latitude 54.2", zip=True)
    info.add_text("Description", "Crust in the throat", zip=True)
    figures = (b"Exif\0\0" + exif().tobytes()[6:]).hex()
    info.add_text("Raw profile type exif", f"\nexif\n{len(figures) // 2:8}\n{figures}\n", zip=True)
    raw = saved("PNG", pnginfo=info)
    looked = without_place(raw)
    assert (looked.found, looked.cut) == (True, False)
    with Image.open(io.BytesIO(looked.raw)) as picture:
        picture.load()
        assert isinstance(picture, PngImagePlugin.PngImageFile)
        assert picture.text == {"Description": "Crust in the throat"}
    assert pixels(looked.raw) == pixels(raw)


def test_a_phones_second_picture_behind_the_first_loses_its_place_too() -> None:
    first, second = saved("JPEG", exif=exif()), saved("JPEG", exif=exif(), quality=30)
    looked = without_place(first + second)
    assert looked.found
    assert len(looked.raw) == len(first + second)
    assert told(looked.raw[len(first) :])[2] == {}
    assert pixels(looked.raw[len(first) :]) == pixels(second)


def test_what_stands_behind_a_picture_and_is_none_goes() -> None:
    for raw in (saved("JPEG"), saved("PNG"), saved("WEBP")):
        end = {b"\xff\xd8": b"\xff\xd9", b"\x89P": b"IEND\xae\x42\x60\x82", b"RI": b""}[raw[:2]]
        film = b"ftypmp42 +54.2009+009.7336/" + end
        looked = without_place(raw + film)
        assert looked.cut
        assert looked.raw == raw
        assert without_place(raw + b"\0\0").raw == raw + b"\0\0"


@pytest.mark.parametrize(
    "segment",
    [
        app(0xFE, b"taken at latitude 54.2"),
        app(0xEB, b"JP\0\1 stds.exif exif:GPSLat") + app(0xEB, b"JP\0\1 itude 54,12"),
        app(0xE1, b"other: GPSLongitude=9.7"),
    ],
    ids=["comment", "content credentials over two segments", "another APP1"],
)
def test_any_other_part_that_speaks_of_a_place_goes_whole(segment: bytes) -> None:
    raw = saved("JPEG")
    assert without_place(behind_start(raw, segment)).raw == raw


def test_a_jpeg_in_several_passes_is_gone_through_to_its_end() -> None:
    raw = saved("JPEG", exif=exif(), progressive=True, quality=95)
    looked = without_place(raw)
    assert told(looked.raw)[2] == {}
    assert pixels(looked.raw) == pixels(raw)
    late = raw[:-2] + app(0xE1, b"Exif\0\0" + exif().tobytes()[6:]) + raw[-2:]
    assert without_place(late).raw == looked.raw[:-2] + without_place(late).raw[len(looked.raw) - 2 :]
    assert without_place(late).raw.count(b"2026:11:21\0") == 0


# --- Whatever comes ------------------------------------------------------------------------------

SOUND = [
    saved("JPEG", exif=exif(), xmp=XMP),
    saved("PNG", exif=exif()),
    saved("WEBP", exif=exif(), xmp=XMP),
    jpeg(),
    png(),
    LOSSY,
    EXTENDED,
]


@settings(max_examples=400)
@given(
    st.sampled_from(SOUND),
    st.lists(st.tuples(st.floats(0, 1), st.integers(0, 255)), max_size=6),
    st.floats(0, 1),
    st.booleans(),
)
@example(SOUND[0], [], 0.0, False)
def test_no_bytes_are_a_fault_of_the_program(
    raw: bytes, spots: list[tuple[float, int]], end: float, whole: bool
) -> None:
    content = bytearray(raw)
    for where, value in spots:
        content[int(where * (len(content) - 1))] = value
    spoiled = bytes(content if whole else content[: int(end * len(content))])
    try:
        kind_of(spoiled)
        looked = without_place(spoiled)
    except NoPicture:
        return
    assert len(looked.raw) <= len(spoiled)
    assert without_place(looked.raw).raw == looked.raw
    try:
        place = told(looked.raw)[2]
    except Exception:  # what Pillow cannot read either tells nobody a place
        return
    assert place == {}
