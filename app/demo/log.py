"""What the demonstration's firings leave behind beside their figures: altimeters, findings, a picture; all invented."""

import struct
import zlib

import numpy as np
from sqlmodel import Session

from app.demo.maker import Told
from app.models import Firing
from app.models.altimeter import TrackIn
from app.models.firing_log import FindingIn, ReferenceIn
from app.models.picture import PictureIn
from app.services.firings import altimeters, findings, media


def tell(session: Session, firing: Firing, told: Told) -> None:
    """Keep with a firing what the story tells of its altimeter, of what was found, and of pictures."""
    if "altimeter" in told:
        row = altimeters.ALTIMETER.take_in(session, firing, "flight.csv", _flight(told["altimeter"], firing.pk))
        texts = {name: text for name, text in altimeters.ALTIMETER.texts_for(session, firing, row).items() if text}
        altimeters.keep(session, firing, row, TrackIn.model_validate(texts))
    if "found" in told:
        inside = dict(findings.inside(session, firing))
        suspects = [inside[position].pk for position in told["found"].get("suspects", [])]
        findings.write_down(session, firing, FindingIn.model_validate({**told["found"], "grain_ids": suspects}))
    if "sketch" in told:
        picture = PictureIn(file="sketch.png", caption=told["sketch"])
        media.keep(session, firing, picture, _sketch())
    if "film" in told:
        media.refer(session, firing, ReferenceIn(address=told["film"], caption="From the side"))


def _flight(told: Told, seed: int) -> bytes:
    """An altimeter's file: up in free flight to the apogee, down under a drogue and a main, noise and two spikes."""
    apogee, drogue, main, main_at, g, push = (
        *(float(told[name]) for name in ("apogee", "drogue", "main", "main_at")),
        9.81,
        55.0,
    )
    speed = np.sqrt(2 * apogee / (1 / push + 1 / g))
    burned, top = speed / push, speed / push + speed / g
    opened = top + (apogee - main_at) / drogue
    landed = opened + main_at / main
    t = np.arange(0.0, landed + 14.0, 0.05)
    s = t - 4.0
    height = np.select(
        [s < 0, s < burned, s < top, s < opened, s < landed],
        [
            0 * s,
            push * s**2 / 2,
            apogee - g / 2 * (s - top) ** 2,
            apogee - drogue * (s - top),
            main_at - main * (s - opened),
        ],
        0.0,
    )
    chance = np.random.default_rng(seed)
    height = height + chance.normal(0.0, 0.35, t.size)
    height[np.abs(s - top - 0.6) < 0.12] -= 48.0
    height[np.abs(s - opened - 0.1) < 0.08] += 21.0
    rows = (f"{a:.2f},{h:.1f}" for a, h in zip(t, height, strict=True))
    return "\n".join(("Time (s),Altitude (m)", *rows)).encode()


def _sketch() -> bytes:
    """A tiny picture: a ring, as a throat with a crust is seen from behind, dark on light."""
    y, x = np.mgrid[-40:40, -60:60]
    far = np.hypot(x, y)
    grey = np.full(far.shape, 225, np.uint8)
    grey[far < 34] = 110
    grey[(far < 15) & (np.hypot(x + 6, y - 7) > 9)] = 20
    rows = b"".join(b"\0" + row.tobytes() for row in grey)

    def chunk(kind: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    head = struct.pack(">IIBBBBB", grey.shape[1], grey.shape[0], 8, 0, 0, 0, 0)
    body = chunk(b"IHDR", head) + chunk(b"IDAT", zlib.compress(rows, 9)) + chunk(b"IEND", b"")
    return b"\x89PNG\r\n\x1a\n" + body
