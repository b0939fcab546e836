"""A document as PDF: archival (PDF/A-2a, ISO 19005-2) and accessible (PDF/UA-1, ISO 14289-1), set by typst.

All text reaches the page as data, so nothing that a person wrote in a plan or a reason is taken for markup. Fonts
are those inside the library; system fonts, packages from a network and the clock are not used, so that the same
records give the same bytes on any machine.
"""

import json
from importlib.resources import files

from station.errors import StationError
from station.reports.document import Bullets, Caution, Document, Facts, Heading, Paragraph, Picture, Table

_STANDARDS = ["a-2a", "ua-1"]


def pdf_of(document: Document, *, template: str | None = None) -> bytes:
    """Return the document as PDF. `template`: typst source instead of the house's `page.typ`.

    Raises:
        StationError: the setter refuses, or warns: an unknown font would silently become another one.
    """
    import typst

    source = template or files("station.reports").joinpath("page.typ").read_text(encoding="utf-8")
    try:
        # It takes files by name, as its own documentation says; its type hints don't know yet.
        made, warnings = typst.compile_with_warnings(
            {"main": source.encode(), **inputs_of(document)},  # type: ignore[call-overload]
            format="pdf",
            ignore_system_fonts=True,
            pdf_standards=_STANDARDS,
            timestamp=document.date_utc.replace(microsecond=0),
        )
    except typst.TypstError as error:
        raise StationError(f"report {document.title!r}: can't be set: {error.message}.") from error
    if warnings:
        raise StationError(f"report {document.title!r}: can't be set: {warnings[0].message}.")
    return bytes(made)


def inputs_of(document: Document) -> dict[str, bytes]:
    """Return the files that a template reads: the document, and its pictures by number."""
    pictures: dict[str, bytes] = {}
    blocks: list[dict[str, object]] = []
    for block in document.blocks:
        match block:
            case Heading() | Paragraph():
                blocks.append({"kind": type(block).__name__, "text": block.text})
            case Bullets() | Caution():
                blocks.append({"kind": type(block).__name__, "items": block.items})
            case Facts():
                blocks.append({"kind": "Facts", "pairs": block.pairs})
            case Table():
                align = ["left" if i in block.words else "right" for i in range(len(block.headers))]
                blocks.append({"kind": "Table", "headers": block.headers, "rows": block.rows, "align": align})
            case Picture():
                name = f"picture-{len(pictures) + 1}.svg"
                pictures[name] = block.svg
                blocks.append(
                    {
                        "kind": "Picture",
                        "file": name,
                        "alt": block.alt,
                        "caption": block.caption,
                        "width": block.width,
                    }
                )
    day = document.date_utc
    written = {
        "title": document.title,
        "subtitle": document.subtitle,
        "date": [day.year, day.month, day.day],
        "mark": document.mark,
        "footer": document.footer,
        "blocks": blocks,
    }
    return {"document.json": json.dumps(written, ensure_ascii=False).encode(), **pictures}
