"""A document as one HTML file: no script, nothing fetched, pictures inside, readable without style."""

from base64 import b64encode
from html import escape

from station.reports.document import Block, Bullets, Caution, Document, Facts, Heading, Paragraph, Picture, Table

_STYLE = """
body { font: 1rem/1.45 Georgia, "Times New Roman", serif; max-width: 50rem; margin: 2rem auto; padding: 0 1rem;
  color: #222; background: #fff }
h1 { font-size: 1.8rem; margin-bottom: 0 } h2 { font-size: 1.2rem; margin-top: 2rem }
.subtitle, figcaption, dt { color: #555 } .mark, .caution strong { color: #8a3b00; font-weight: bold }
.mark { border-bottom: 1px solid; padding-bottom: .4rem; text-align: center }
.caution { border: 2px solid #8a3b00; padding: .5rem 1rem }
table { border-collapse: collapse; font-size: .9rem; font-variant-numeric: tabular-nums }
th, td { padding: .2rem .6rem; text-align: right; vertical-align: top } .words { text-align: left }
thead { border-bottom: 1px solid #999 } tbody { border-bottom: 1px solid #999 }
dl { display: grid; grid-template-columns: max-content 1fr; gap: .2rem 1rem } dd { margin: 0; overflow-wrap: anywhere }
figure { margin: 1rem 0 } img { max-width: 100% } footer { margin-top: 3rem; color: #555; font-size: .85rem }
.wide { overflow-x: auto }
"""


def html_of(document: Document) -> bytes:
    """Return the document as UTF-8 HTML; the same bytes for the same document."""
    mark = f'<p class="mark">{escape(document.mark)}</p>\n' if document.mark else ""
    body = "\n".join(_block(each) for each in document.blocks)
    page = (
        f'<!doctype html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        f'<meta name="viewport" content="width=device-width">\n<title>{escape(document.title)}</title>\n'
        f"<style>{_STYLE}</style>\n</head>\n<body>\n{mark}<h1>{escape(document.title)}</h1>\n"
        f'<p class="subtitle">{escape(document.subtitle)}</p>\n<main>\n{body}\n</main>\n'
        f"<footer>{escape(document.footer)}</footer>\n</body>\n</html>\n"
    )
    return page.encode()


def _block(block: Block) -> str:
    match block:
        case Heading():
            return f"<h2>{escape(block.text)}</h2>"
        case Paragraph():
            return f"<p>{escape(block.text)}</p>"
        case Bullets():
            return _list(block.items)
        case Caution():
            return f'<div class="caution"><strong>CAUTION</strong>{_list(block.items)}</div>'
        case Facts():
            pairs = "".join(f"<dt>{escape(name)}</dt><dd>{escape(value)}</dd>" for name, value in block.pairs)
            return f"<dl>{pairs}</dl>"
        case Table():
            head = _row("th", block.headers, block.words)
            rows = "\n".join(_row("td", row, block.words) for row in block.rows)
            return f'<div class="wide"><table><thead>{head}</thead>\n<tbody>{rows}</tbody></table></div>'
        case Picture():
            # As an image of its own: the names inside two drawings can't clash.
            data = b64encode(block.svg).decode()
            image = f'<img src="data:image/svg+xml;base64,{data}" alt="{escape(block.alt)}">'
            return f"<figure>{image}<figcaption>{escape(block.caption)}</figcaption></figure>"


def _list(items: tuple[str, ...]) -> str:
    return "<ul>" + "".join(f"<li>{escape(each)}</li>" for each in items) + "</ul>"


def _row(tag: str, cells: tuple[str, ...], words: tuple[int, ...]) -> str:
    scope = ' scope="col"' if tag == "th" else ""
    made = (
        f"<{tag}{scope}{' class=words' if i in words else ''}>{escape(cell)}</{tag}>" for i, cell in enumerate(cells)
    )
    return "<tr>" + "".join(made) + "</tr>"
