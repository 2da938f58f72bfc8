"""Workbooks made by hand from the two standards, so that what reads them is not what wrote them."""

import io
import zipfile
from collections.abc import Mapping, Sequence
from xml.sax.saxutils import escape

Cell = float | str | None
Rows = Sequence[Sequence[Cell]]

_MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
_REL = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
_PACKAGE = "http://schemas.openxmlformats.org/package/2006"


def _packed(parts: Mapping[str, str]) -> bytes:
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w") as package:
        for name, text in parts.items():
            stored = zipfile.ZIP_STORED if name == "mimetype" else zipfile.ZIP_DEFLATED
            package.writestr(name, text, stored)
    return stream.getvalue()


def xlsx(sheets: Mapping[str, Rows], *, values: bool = True) -> bytes:
    """ISO/IEC 29500-1, SpreadsheetML; without `values` every number is a formula that was never worked out."""

    def cell(content: Cell, column: int, row: int) -> str:
        at = f'r="{chr(65 + column)}{row}"'
        if content is None:
            return ""
        if isinstance(content, str):
            return f'<c {at} t="inlineStr"><is><t>{escape(content)}</t></is></c>'
        return f"<c {at}><v>{content!r}</v></c>" if values else f"<c {at}><f>{content!r}*1</f><v></v></c>"

    parts = {
        "[Content_Types].xml": f'<Types xmlns="{_PACKAGE}/content-types"><Default Extension="xml" '
        'ContentType="application/xml"/></Types>',
        "_rels/.rels": f'<Relationships xmlns="{_PACKAGE}/relationships"><Relationship Id="rId1" '
        f'Type="{_REL}/officeDocument" Target="xl/workbook.xml"/></Relationships>',
    }
    names, links = [], []
    for i, (name, rows) in enumerate(sheets.items(), start=1):
        names.append(f'<sheet name="{escape(name)}" sheetId="{i}" r:id="rId{i}"/>')
        links.append(f'<Relationship Id="rId{i}" Type="{_REL}/worksheet" Target="worksheets/sheet{i}.xml"/>')
        body = "".join(
            f'<row r="{n}">{"".join(cell(c, k, n) for k, c in enumerate(row))}</row>' for n, row in enumerate(rows, 1)
        )
        parts[f"xl/worksheets/sheet{i}.xml"] = f'<worksheet xmlns="{_MAIN}"><sheetData>{body}</sheetData></worksheet>'
    parts["xl/workbook.xml"] = (
        f'<workbook xmlns="{_MAIN}" xmlns:r="{_REL}"><sheets>{"".join(names)}</sheets></workbook>'
    )
    parts["xl/_rels/workbook.xml.rels"] = (
        f'<Relationships xmlns="{_PACKAGE}/relationships">{"".join(links)}</Relationships>'
    )
    return _packed(parts)


def ods(sheets: Mapping[str, Rows], *, locked: bool = False) -> bytes:
    """ISO/IEC 26300, OpenDocument; `locked` as its manifest says that the content is encrypted."""

    def cell(content: Cell) -> str:
        if content is None:
            return "<table:table-cell/>"
        if isinstance(content, str):
            return f'<table:table-cell office:value-type="string"><text:p>{escape(content)}</text:p></table:table-cell>'
        return f'<table:table-cell office:value-type="float" office:value="{content!r}"/>'

    tables = "".join(
        f'<table:table table:name="{escape(name)}">'
        + "".join(f"<table:table-row>{''.join(map(cell, row))}</table:table-row>" for row in rows)
        + "</table:table>"
        for name, rows in sheets.items()
    )
    space = "urn:oasis:names:tc:opendocument:xmlns"
    encrypted = "<manifest:encryption-data/>" if locked else ""
    return _packed(
        {
            "mimetype": "application/vnd.oasis.opendocument.spreadsheet",
            "META-INF/manifest.xml": f'<manifest:manifest xmlns:manifest="{space}:manifest:1.0">'
            f'<manifest:file-entry manifest:full-path="content.xml">{encrypted}</manifest:file-entry>'
            "</manifest:manifest>",
            "content.xml": f'<office:document-content xmlns:office="{space}:office:1.0" '
            f'xmlns:table="{space}:table:1.0" xmlns:text="{space}:text:1.0"><office:body><office:spreadsheet>'
            f"{tables}</office:spreadsheet></office:body></office:document-content>",
        }
    )
