#!/usr/bin/env python3
"""Puts the record of a job into one PDF/A-3: the customer's page, the report, and the packed job as an attachment.

Usage: record_to_pdf.py JOB ARCHIVE OUT.pdf        ARCHIVE is what `plumeline pack JOB --out ARCHIVE` wrote

Needs the package `weasyprint` (70 was used). Fonts are embedded; site and verdict stand on every page.
"""
import html
import json
import pathlib
import re
import sys

from weasyprint import CSS, HTML, Attachment


def with_own_style(page):
    """The page as text; each chart has its style within, because WeasyPrint gives drawings none of the page's, and no paint order."""
    text = page.read_text(encoding="utf-8")
    rules = re.findall(r"^(\.chart [^{]*\{[^}]*\})", text, re.MULTILINE)
    style = "".join(rule for rule in rules if "paint-order" not in rule) + ".chart text { font-size: 12px; } .chart .small { font-size: 10.5px; }"
    text = re.sub(r'(<svg class="chart"[^>]*>)', lambda tag: f"{tag[1]}<style>{style}</style>", text)
    # Nor does it draw what stands elsewhere: each mark of a verdict is put in its place.
    marks = dict(re.findall(r'<symbol id="([^"]*)" viewBox="0 0 20 20">(.*?)</symbol>', text))
    return re.sub(r'(<svg class="mark")([^>]*>)<use href="#([^"]*)"/>', lambda m: f'{m[1]} viewBox="0 0 20 20"{m[2]}{marks[m[3]]}', text)


def main(job, archive, out):
    job = pathlib.Path(job)
    result = json.loads((job / "result.json").read_text(encoding="utf-8"))
    simulated = " (SIMULATED)" if result["simulated"] else ""
    words = f"{result['site']} \u2013 {result['verdict'].upper()}{simulated}"
    # As a CSS string: what could end it or escape from it is written by its number.
    words = "".join(c if c.isalnum() or c in " ().,-\u2013" else f"\\{ord(c):x} " for c in words)
    def running(part):
        return CSS(string=f'@page {{ size: A4; margin: 14mm; @bottom-left {{ content: "{words}"; font: 8pt sans-serif; }}'
                   f' @bottom-right {{ content: "{part} " counter(page) " / " counter(pages); font: 8pt sans-serif; }} }}')

    names = {"page.html": "for the customer", "report.html": "report"}
    parts = [HTML(string=with_own_style(job / name), base_url=str(job / name)).render(stylesheets=[running(part)], pdf_variant="pdf/a-3b") for name, part in names.items()]
    whole = parts[0].copy([page for part in parts for page in part.pages])
    whole.metadata.title = html.unescape(words)
    whole.metadata.attachments = [Attachment(archive, description="the packed job, with its seals")]
    whole.write_pdf(out, pdf_variant="pdf/a-3b")
    print(f"{len(whole.pages)} pages in {out}")


if len(sys.argv) != 4:
    sys.exit(__doc__)
main(*sys.argv[1:])
