"""Devices paired with the book: let in by a secret of their own, told by name, put out again."""

import hashlib
import secrets
from dataclasses import dataclass
from datetime import datetime, timedelta

from sqlmodel import Session, col, select

from app import clock
from app.models import PairedDevice
from app.models.device import PairIn
from app.services.book import repository

HOLDS = timedelta(days=30)
"""A pairing ends by itself after so long."""

SEEN_EVERY = timedelta(minutes=5)
"""How finely it is noted when a device was last here; each note is a write."""


@dataclass(frozen=True)
class DeviceView:
    """A device and whether it may still come in."""

    device: PairedDevice
    until: datetime
    holds: bool


_ENCRYPTED = "tls-"


def pair(session: Session, data: PairIn, *, encrypted: bool = False) -> tuple[PairedDevice, str]:
    """Let a device in; gives its row and the secret of 256 bits, which is kept nowhere but on the device.

    The secret tells whether it was given over TLS: one that went in plain may have been read on the way.
    """
    token = (_ENCRYPTED if encrypted else "") + secrets.token_urlsafe(32)
    device = PairedDevice(name=data.name, token_hash=digest(token))
    session.add(device)
    session.flush()
    return device, token


def was_encrypted(token: str) -> bool:
    """Whether a secret was given over TLS."""
    return token.startswith(_ENCRYPTED)


def digest(token: str) -> str:
    """What the book keeps of a secret: SHA-256; the secret is random and long, so nothing slower is needed."""
    return hashlib.sha256(token.encode("utf-8", "replace")).hexdigest()


def of_token(session: Session, token: str) -> PairedDevice | None:
    """The device with that secret, if its pairing holds."""
    device = session.exec(select(PairedDevice).where(PairedDevice.token_hash == digest(token))).first()
    return device if device is not None and _holds(device) else None


def not_noted(device: PairedDevice) -> bool:
    """Whether its visit is worth a note: the last one is some minutes old."""
    return clock.now() - device.last_seen_at >= SEEN_EVERY


def note_visit(session: Session, device_id: int) -> None:
    """Note that a device was here."""
    repository.get(session, PairedDevice, device_id, "device").last_seen_at = clock.now()
    session.flush()


def listed(session: Session) -> list[DeviceView]:
    """All devices ever paired, newest first."""
    found = session.exec(select(PairedDevice).order_by(col(PairedDevice.id).desc()))
    return [DeviceView(device, device.created_at + HOLDS, _holds(device)) for device in found]


def revoke(session: Session, device_id: int) -> PairedDevice:
    """Put a device out, at once; doing it again changes nothing.

    Raises
    ------
    NotFound
        There is no such device.
    """
    device = repository.get(session, PairedDevice, device_id, "device")
    device.revoked_at = device.revoked_at or clock.now()
    session.flush()
    return device


def revoke_all(session: Session) -> int:
    """Put every device out, and tell how many: a restored book lets nobody in by what stood in it."""
    held = session.exec(select(PairedDevice).where(col(PairedDevice.revoked_at).is_(None))).all()
    for device in held:
        device.revoked_at = clock.now()
    session.flush()
    return len(held)


def _holds(device: PairedDevice) -> bool:
    return device.revoked_at is None and clock.now() - device.created_at < HOLDS
