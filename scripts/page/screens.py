"""Screens of every state of the page, at a phone's and a laptop's size, light and dark, as one sheet for each.

    python3 scripts/page/screens.py target/debug/plumeline [FOLDER (docs/page)]

The states are those that `two_people.py` comes by. A sheet is laid out by the browser itself.
"""
import html
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

from playwright.sync_api import sync_playwright

HERE = Path(__file__).resolve().parent
# Of a screen and of its picture on the sheet, px, and how many stand side by side.
SIZES = {360: (180, 390, 7), 1280: (400, 250, 3)}


def sheet(browser, shots, width, scheme, out):
    wide, high, columns = SIZES[width]
    files = sorted(shots.glob(f"*-{width}-{scheme}.png"))
    assert len(files) >= 8, f"only {len(files)} states at {width} px, {scheme}"
    cells = "".join(
        f'<figure><img src="{f.as_uri()}" width="{wide}" height="{high}"><figcaption>{html.escape(f.name.removesuffix(f"-{width}-{scheme}.png"))}</figcaption></figure>' for f in files
    )
    style = f"body{{margin:8px;background:#888;display:grid;grid-template-columns:repeat({columns},{wide}px);gap:8px;font:11px sans-serif}}figure{{margin:0}}"
    source = shots / f"{width}-{scheme}.html"
    source.write_text(f"<!doctype html><meta charset=utf-8><style>{style}</style>{cells}")
    page = browser.new_page(viewport={"width": columns * (wide + 8) + 8, "height": 100})
    page.goto(source.as_uri())
    page.screenshot(path=out / f"states-{width}-{scheme}.png", full_page=True)
    return len(files)


def main():
    out = Path(sys.argv[2] if len(sys.argv) > 2 else HERE.parents[1] / "docs/page")
    shots = Path(tempfile.mkdtemp(prefix="screens-"))
    subprocess.run([sys.executable, HERE / "two_people.py", sys.argv[1], "--speed", "8", "--shots", shots], check=True)
    with sync_playwright() as p:
        browser = p.chromium.launch(executable_path=shutil.which("chromium"), args=["--no-sandbox"])
        for width in SIZES:
            for scheme in ["light", "dark"]:
                print(f"{width} {scheme}: {sheet(browser, shots, width, scheme, out)} states")
    shutil.rmtree(shots)


if __name__ == "__main__":
    main()
