"""Whether a file is text at all, told by its content, and its bytes as plain lines of UTF-8."""

from app.calc.base.errors import CalcError
from app.calc.record.one_line import turned

_KINDS = {
    b"PK": "a zip archive or a spreadsheet; export the sheet as CSV",
    b"\x89PNG": "a picture",
    b"\xff\xd8\xff": "a picture",
    b"GIF8": "a picture",
    b"BM": "a picture",
    b"%PDF": "a PDF",
    b"\x1f\x8b": "a compressed file; unpack it",
    b"7z\xbc\xaf": "an archive; unpack it",
    b"Rar!": "an archive; unpack it",
    b"\xd0\xcf\x11\xe0": "a spreadsheet; export it as CSV",
    b"RIFF": "a sound or a film",
    b"SQLite format": "a database",
}


def plain_text(raw: bytes) -> bytes:
    """Pass what is text, as UTF-8 or the single-byte text it is, with lines that end in a line feed.

    Parameters
    ----------
    raw : bytes
        The file as it came [-].

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
    UTF-16 is told by its mark.

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
    for start, what in _KINDS.items():
        if raw.startswith(start):
            kind, _, way_out = what.partition("; ")
            remedy = f"{way_out[0].upper()}{way_out[1:]}, then send that." if way_out else "Send the logger's own text."
            raise CalcError("file", f"This is {kind}, whatever its name says.", remedy)
    if raw[:2] in (b"\xff\xfe", b"\xfe\xff"):
        raw = raw.decode("utf-16", errors="replace").encode()
    if raw.startswith(b"\xef\xbb\xbf"):
        raw = raw[3:]
    if b"\0" in raw:
        line = raw.count(b"\n", 0, raw.index(b"\0")) + 1
        raise CalcError("file", f"Line {line} holds bytes that are not text.", "Export it as CSV or plain text.")
    return turned(raw if b"\n" in raw else raw.replace(b"\r", b"\n"))
