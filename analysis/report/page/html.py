"""A page to print or to read anywhere: one HTML file that asks for nothing else.

Conventions: the verdict first; every figure with a text for those who can't see it; light and
dark by the reader's own setting; nothing is loaded from anywhere, and the page itself forbids
it. The same content gives the same bytes.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from html import escape
from typing import Final

STYLE: Final = """
:root{color-scheme:light dark;--paper:#fff;--ink:#1c1c1c;--soft:#595959;--line:#d9d9d9;
--one:#12355b;--two:#b35a00;--wash:#eef1f4}
@media (prefers-color-scheme:dark){:root{--paper:#16181b;--ink:#e8e6e3;--soft:#b3b0ab;
--line:#3a3e44;--one:#8fbcec;--two:#f0a35c;--wash:#22262b}}
*{box-sizing:border-box}
body{margin:0 auto;padding:1.2rem;max-width:46rem;background:var(--paper);color:var(--ink);
font:1rem/1.5 system-ui,"DejaVu Sans",sans-serif}
h1{font-size:1.5rem;line-height:1.2;margin:.2rem 0}
h2{font-size:1.1rem;margin:1.8rem 0 .4rem;border-top:2px solid var(--ink);padding-top:.5rem}
.when{color:var(--soft);margin:0}
.verdict{background:var(--wash);border-left:.5rem solid var(--ink);padding:.6rem 1rem;
margin:1rem 0;font-size:1.15rem}
.verdict p{margin:.3rem 0}
figure{margin:1rem 0;break-inside:avoid}
figcaption{color:var(--soft);font-size:.9rem}
svg{width:100%;height:auto;display:block;font-size:12px;fill:var(--ink)}
svg path{fill:none;stroke-width:1.6}
svg .left,svg .after{stroke:var(--one);stroke-width:2}
svg .right{stroke:var(--two);stroke-dasharray:7 3}
svg .before{stroke:var(--two);stroke-width:3.2;stroke-dasharray:2 2.5}
svg .third{stroke:var(--soft);stroke-width:2.4;stroke-dasharray:1.5 3}
svg .grid{stroke:var(--line);stroke-width:.7}
svg .axis{fill:none;stroke:var(--ink)}
svg .band{fill:var(--soft);opacity:.22}
svg .mark{fill:var(--paper);stroke:var(--ink);stroke-width:1.4}
pre{overflow-x:auto;font:.78rem/1.45 ui-monospace,"DejaVu Sans Mono",monospace;margin:.3rem 0}
.wide{overflow-x:auto}
table{border-collapse:collapse;font-size:.88rem;width:100%}
th,td{text-align:left;padding:.2rem .5rem .2rem 0;border-bottom:1px solid var(--line)}
@media (max-width:30rem){body{padding:.8rem}svg{font-size:16px}}
@page{margin:15mm}
@media print{:root{--paper:#fff;--ink:#000;--soft:#444;--line:#ccc;--one:#12355b;--two:#b35a00;
--wash:#f1f1f1}body{max-width:none;padding:0;font-size:10pt}
pre{white-space:pre-wrap;font-size:7.6pt}h2{break-after:avoid}
table{font-size:8.5pt;line-height:1.25}th,td{padding-top:.1rem;padding-bottom:.1rem}
tr,figure{break-inside:avoid}figure svg{max-height:6.2cm}}
"""


@dataclass(frozen=True, kw_only=True, slots=True)
class PagePart:
    """A part of a page.

    Attributes
    ----------
    figure : str or None
        SVG with its own title.
    caption : str
        Under the figure.
    texts : tuple of str
        Paragraphs.
    lines : tuple of str
        Lines whose columns are aligned by blanks.
    rows : tuple of tuple of str
        A table; its first row holds the headings.
    """

    heading: str
    figure: str | None = None
    caption: str = ""
    texts: tuple[str, ...] = ()
    lines: tuple[str, ...] = ()
    rows: tuple[tuple[str, ...], ...] = ()


def page_html(*, title: str, when: str, verdict: Sequence[str], parts: Sequence[PagePart]) -> str:
    """Return a page.

    Parameters
    ----------
    when : str
        What it is of, and when that was.
    verdict : sequence of str
        What to do or what was found, the first thing first.
    """
    said = "\n".join(f"<p>{escape(text)}</p>" for text in verdict)
    return f"""<!doctype html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width,initial-scale=1">
<meta http-equiv="Content-Security-Policy" content="default-src 'none';style-src 'unsafe-inline'">
<title>{escape(title)}</title>
<style>{STYLE}</style>
</head>
<body>
<main>
<h1>{escape(title)}</h1>
<p class="when">{escape(when)}</p>
<section class="verdict" aria-label="Verdict">
{said}
</section>
{"".join(_part_html(part) for part in parts)}</main>
</body>
</html>
"""


def _part_html(part: PagePart) -> str:
    """Return one part."""
    inside = [f"<h2>{escape(part.heading)}</h2>"]
    if part.figure is not None:
        caption = f"<figcaption>{escape(part.caption)}</figcaption>" if part.caption else ""
        inside.append(f"<figure>\n{part.figure}\n{caption}</figure>")
    inside += [f"<p>{escape(text)}</p>" for text in part.texts]
    if part.lines:
        text = escape("\n".join(part.lines))
        label = escape(part.heading, quote=True)
        inside.append(f'<pre tabindex="0" role="region" aria-label="{label}">{text}</pre>')
    if part.rows:
        inside.append(_table_html(part.rows, part.heading))
    return "<section>\n" + "\n".join(inside) + "\n</section>\n"


def _table_html(rows: Sequence[tuple[str, ...]], heading: str) -> str:
    """Return a table, which scrolls by itself and is called as its heading."""
    label = escape(heading, quote=True)
    head = "".join(f'<th scope="col">{escape(cell) or "quantity"}</th>' for cell in rows[0])
    body = "".join(
        "<tr>" + "".join(f"<td>{escape(cell)}</td>" for cell in row) + "</tr>\n" for row in rows[1:]
    )
    return (
        f'<div class="wide" tabindex="0" role="region" aria-label="{label}"><table>'
        f"<thead><tr>{head}</tr></thead>\n<tbody>{body}</tbody></table></div>"
    )
