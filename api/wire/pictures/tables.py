"""A picture's table, as JSON and as HTML."""

from html import escape
from typing import Any

from api.wire.pictures.drawing import Column, Picture, PictureTable


def picture_table_body(table: PictureTable) -> dict[str, Any]:
    """The table in JSON's own types."""
    return {
        "caption": table.caption,
        "columns": [{"key": each.key, "title": each.title, "unit": each.unit} for each in table.columns],
        "rows": [dict(row) for row in table.rows],
    }


def picture_body(picture: Picture) -> dict[str, Any]:
    """A picture and its table in JSON's own types."""
    return {"svg": picture.svg, "table": picture_table_body(picture.table)}


def picture_table_html(table: PictureTable) -> str:
    """The table in HTML, everything escaped; a page folds it under its picture."""
    heads = "".join(f'<th scope="col">{escape(_head(column))}</th>' for column in table.columns)
    rows = "".join(
        "<tr>" + "".join(f"<td>{escape(row[column.key])}</td>" for column in table.columns) + "</tr>"
        for row in table.rows
    )
    caption = escape(table.caption)
    return f"<table><caption>{caption}</caption><thead><tr>{heads}</tr></thead><tbody>{rows}</tbody></table>"


def _head(column: Column) -> str:
    return f"{column.title}, {column.unit}" if column.unit else column.title
