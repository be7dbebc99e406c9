"""Tables as an XLSX workbook, a sheet for each: text is text, whatever it begins with; equal bytes for equal tables.

Source of the format: ISO/IEC 29500-1, SpreadsheetML. Texts are inline strings, which no spreadsheet takes for formulas;
those that begin like one carry the mark that keeps them text when a cell is edited.
"""

import io
import math
import re
import zipfile
from collections.abc import Mapping, Sequence

from tapehook.handover.tables import FORMULA_STARTS, Cell, Table
from tapehook.picture.svg import escape

_EPOCH = (1980, 1, 1, 0, 0, 0)
"""The first moment a ZIP can name: files carry no date of their own."""
_HEAD = '<?xml version="1.0" encoding="UTF-8" standalone="yes"?>\n'
_MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
_RELATIONS = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
_PACKAGE = "http://schemas.openxmlformats.org/package/2006"
_OFFICE = "application/vnd.openxmlformats-officedocument.spreadsheetml"
_PLAIN, _BOLD, _QUOTED = 0, 1, 2
_LONGEST_CELL, _MOST_ROWS = 32_767, 1_048_576
_NAME = re.compile(r"\w{1,31}")
_ESCAPED = re.compile("_x([0-9A-Fa-f]{4})_")

_STYLES = (
    f'{_HEAD}<styleSheet xmlns="{_MAIN}"><fonts count="2"><font><sz val="11"/><name val="Calibri"/></font>'
    '<font><b/><sz val="11"/><name val="Calibri"/></font></fonts>'
    '<fills count="2"><fill><patternFill patternType="none"/></fill><fill><patternFill patternType="gray125"/></fill>'
    '</fills><borders count="1"><border/></borders><cellStyleXfs count="1"><xf/></cellStyleXfs>'
    '<cellXfs count="3"><xf/><xf fontId="1" applyFont="1"/><xf quotePrefix="1"/></cellXfs>'
    '<cellStyles count="1"><cellStyle name="Normal" xfId="0" builtinId="0"/></cellStyles></styleSheet>'
)


def workbook(tables: Mapping[str, Table]) -> bytes:
    """The workbook; sheets in the order given, the header of each in bold and held in place.

    Raises ValueError for a name no sheet can have, or more rows than one holds.
    """
    names = list(tables)
    for name, (_, rows) in tables.items():
        if not _NAME.fullmatch(name) or len(rows) >= _MOST_ROWS:
            message = f"{name!r} with {len(rows)} rows cannot be a sheet"
            raise ValueError(message)
    parts = {
        "[Content_Types].xml": _types(len(names)),
        "_rels/.rels": _links([("officeDocument", "xl/workbook.xml")]),
        "xl/workbook.xml": _book(names),
        "xl/_rels/workbook.xml.rels": _links(
            [("styles", "styles.xml"), *(("worksheet", f"worksheets/sheet{i}.xml") for i in range(1, len(names) + 1))]
        ),
        "xl/styles.xml": _STYLES,
        **{f"xl/worksheets/sheet{i}.xml": _sheet(*table) for i, table in enumerate(tables.values(), start=1)},
    }
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, text in parts.items():
            archive.writestr(zipfile.ZipInfo(name, _EPOCH), text.encode(), zipfile.ZIP_DEFLATED)
    return packed.getvalue()


def _types(sheets: int) -> str:
    kinds = [("/xl/workbook.xml", "sheet.main"), ("/xl/styles.xml", "styles")]
    kinds += [(f"/xl/worksheets/sheet{i}.xml", "worksheet") for i in range(1, sheets + 1)]
    overrides = "".join(f'<Override PartName="{name}" ContentType="{_OFFICE}.{kind}+xml"/>' for name, kind in kinds)
    return (
        f'{_HEAD}<Types xmlns="{_PACKAGE}/content-types"><Default Extension="rels" '
        'ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
        f'<Default Extension="xml" ContentType="application/xml"/>{overrides}</Types>'
    )


def _links(targets: Sequence[tuple[str, str]]) -> str:
    links = "".join(
        f'<Relationship Id="rId{i}" Type="{_RELATIONS}/{kind}" Target="{target}"/>'
        for i, (kind, target) in enumerate(targets, start=1)
    )
    return f'{_HEAD}<Relationships xmlns="{_PACKAGE}/relationships">{links}</Relationships>'


def _book(names: Sequence[str]) -> str:
    # The styles are the first link, so that sheet i is the one after.
    sheets = "".join(
        f'<sheet name="{escape(name)}" sheetId="{i}" r:id="rId{i + 1}"/>' for i, name in enumerate(names, start=1)
    )
    return f'{_HEAD}<workbook xmlns="{_MAIN}" xmlns:r="{_RELATIONS}"><sheets>{sheets}</sheets></workbook>'


def _sheet(header: Sequence[str], rows: Sequence[Sequence[Cell]]) -> str:
    top = "".join(_text(name, _BOLD) for name in header)
    body = "".join(f"<row>{''.join(map(_cell, row))}</row>" for row in rows)
    pane = '<pane ySplit="1" topLeftCell="A2" activePane="bottomLeft" state="frozen"/>'
    views = f'<sheetViews><sheetView workbookViewId="0">{pane}</sheetView></sheetViews>'
    return f'{_HEAD}<worksheet xmlns="{_MAIN}">{views}<sheetData><row>{top}</row>{body}</sheetData></worksheet>'


def _cell(value: Cell) -> str:
    if value is None:
        return "<c/>"
    if isinstance(value, bool):
        return _text("yes" if value else "no", _PLAIN)
    if isinstance(value, str):
        return _text(value, _QUOTED if value.lstrip(" ").startswith(FORMULA_STARTS) else _PLAIN)
    if math.isfinite(value):
        return f"<c><v>{value:.15g}</v></c>"
    return _text("inf", _PLAIN) if value > 0 else "<c/>"


def _text(text: str, style: int) -> str:
    """A text cell; what XML cannot hold becomes U+FFFD, and text that looks like an escape of the format is kept so."""
    cut = text[:_LONGEST_CELL].encode("utf-8", "replace").decode("utf-8")
    kept = escape(_ESCAPED.sub(r"_x005F_x\1_", cut))
    return f'<c s="{style}" t="inlineStr"><is><t xml:space="preserve">{kept}</t></is></c>'
