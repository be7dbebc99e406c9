"""HTML of the pocket page that cannot be talked into markup: text is escaped, tables head their rows."""

from collections.abc import Iterable, Sequence
from html import escape

Rows = Iterable[Sequence[str]]


def html_text(value: str) -> str:
    """Text from a file or a person, made harmless for HTML; a sign that no file can hold becomes a question mark."""
    clean = "".join(sign if sign.isprintable() else " " for sign in value)
    return escape(clean.encode("utf-8", "replace").decode("utf-8"), quote=True)


def html_table(caption: str, header: Sequence[str], rows: Rows) -> str:
    """A table whose first column heads its rows; a line break in a cell is kept."""
    head = "".join(f'<th scope="col">{html_text(cell)}</th>' for cell in header)
    body = "".join(
        f'<tr><th scope="row">{html_text(row[0])}</th>'
        + "".join(f"<td>{'<br>'.join(html_text(part) for part in cell.split(chr(10)))}</td>" for cell in row[1:])
        + "</tr>"
        for row in rows
    )
    title = f"<caption>{html_text(caption)}</caption>" if caption else ""
    return f"<table>{title}<thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>"
