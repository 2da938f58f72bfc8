"""Whether a file is a record at all, told by its content, and its bytes as plain lines of UTF-8."""

from app.calc.base.errors import CalcError
from app.calc.record.objects import object_lines
from app.calc.record.one_line import turned
from app.calc.record.tidy import tidy
from app.calc.record.workbook import is_workbook, sheet_text

_STRANGE = bytes(byte for byte in range(1, 32) if byte not in b"\t\r\n\f\v\x1b")
"""What no text has, but for a few that a serial line made up."""

_ENDS = 100_000  # letters by which the ends of lines are told
_KINDS = {
    b"PK": "a zip archive; unpack it",
    b"\x89PNG": "a picture",
    b"\xff\xd8\xff": "a picture",
    b"GIF8": "a picture",
    b"BM": "a picture",
    b"II*\x00": "a picture",
    b"MM\x00*": "a picture",
    b"%PDF": "a PDF",
    b"\x1f\x8b": "a compressed file; unpack it",
    b"BZh": "a compressed file; unpack it",
    b"\xfd7zXZ": "a compressed file; unpack it",
    b"7z\xbc\xaf": "an archive; unpack it",
    b"Rar!": "an archive; unpack it",
    b"RIFF": "a sound or a film",
    b"SQLite format": "a database",
    b"\x7fELF": "a program",
    b"MZ": "a program",
    b"\xcf\xfa\xed\xfe": "a program",
    b"\xca\xfe\xba\xbe": "a program",
    b"{\\rtf": "a text document; save it as plain text",
    b"<html": "a web page; save the file itself",
    b"<!DOCTYPE": "a web page; save the file itself",
}


def plain_text(raw: bytes, sheet: str = "") -> bytes:
    """Pass what is text, as UTF-8 or the single-byte text it is, in lines that end in a line feed; a sheet as such.

    Parameters
    ----------
    raw : bytes
        The file as it came [-].
    sheet : str
        Which sheet of a workbook; without it, the one with the most rows [-].

    Returns
    -------
    bytes
        Text without a byte-order mark [-].

    Raises
    ------
    CalcError
        It is empty, or not text; judged by its content, whatever its name.

    Notes
    -----
    UTF-16 is told by its mark, or by every second byte being zero. Samples that stand along one line are turned, see
    `one_line.turned`, and what stands round numbers is taken away, see `tidy`.

    References
    ----------
    Signatures of file types: common knowledge, no single source.

    Examples
    --------
    >>> plain_text(b"\\xef\\xbb\\xbf0,1\\r\\n")
    b'0,1\\r\\n'
    """
    if not raw or raw.isspace():
        raise CalcError("file", "The file is empty.", "Choose the file that the logger wrote.")
    if is_workbook(raw):
        return sheet_text(raw, sheet)
    for start, what in _KINDS.items():
        strange = b"\0" in raw[:4096] or bool(set(raw[:64]) & set(_STRANGE))
        if raw.startswith(start) and (len(start) > 2 or strange):
            kind, _, way_out = what.partition("; ")
            remedy = f"{way_out[0].upper()}{way_out[1:]}, then send that." if way_out else "Send the logger's own text."
            raise CalcError("file", f"This is {kind}, whatever its name says.", remedy)
    if raw[:2] in (b"\xff\xfe", b"\xfe\xff"):
        raw = raw.decode("utf-16", errors="replace").encode()
    if raw.startswith(b"\xef\xbb\xbf"):
        raw = raw[3:]
    for code, zeros in (("utf-16-le", raw[1:400:2]), ("utf-16-be", raw[:400:2])):
        if zeros and not zeros.strip(b"\0"):
            raw = raw.decode(code, errors="replace").encode()
    if raw.count(b"\r", 0, _ENDS) > 3 * raw.count(b"\n", 0, _ENDS):
        raw = raw.replace(b"\r\n", b"\r").replace(b"\r", b"\n")
    table = object_lines(raw)
    if table is not None:
        return table
    text = tidy(raw)
    if not _is_text(text[:4096]):
        at = next(i for i, byte in enumerate(text) if byte in _STRANGE)
        line = text.count(b"\n", 0, at) + 1
        raise CalcError("file", f"Line {line} holds bytes that are not text.", "Export it as CSV or plain text.")
    return turned(text)


def _is_text(start: bytes) -> bool:
    """Whether bytes are letters; a board that starts may send a few that are none."""
    strange = len(start) - len(start.translate(None, _STRANGE))
    return strange <= max(8, len(start) // 50)
