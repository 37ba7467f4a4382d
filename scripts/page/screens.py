"""Screens of every state of the page, at a phone's and a laptop's size, light and dark, as one sheet for each.

    python3 scripts/page/screens.py target/debug/plumeline [FOLDER (docs/page)]
    python3 scripts/page/screens.py --shots DIR [FOLDER]

The states are those that `two_people.py` comes by; with `--shots` of a run that was made. A sheet is laid out by the browser itself.
"""
import html
import io
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

from PIL import Image
from playwright.sync_api import sync_playwright

HERE = Path(__file__).resolve().parent
# Of a screen and of its picture on the sheet, px, and how many stand side by side.
SIZES = {360: (270, 585, 7), 1280: (640, 400, 4)}
COLOURS = 64
# Those that the document shows in full size.
SHOWN = {
    "far-end-light": "far-end-release-360-light",
    "hold-dark": "far-end-keep-the-smoke-360-dark",
    "no-link-light": "far-end-no-link-360-light",
    "watch-light": "watch-1280-light",
    "far-end-wide-dark": "far-end-close-a-hole-1280-dark",
}


def keep(picture, path):
    """A page has few colours: a palette keeps pictures small, and the rare ones of warnings in it."""
    Image.open(io.BytesIO(picture)).convert("RGB").quantize(COLOURS, method=Image.Quantize.MAXCOVERAGE).save(path, optimize=True)


def sheet(browser, shots, width, scheme, out):
    wide, high, columns = SIZES[width]
    files = sorted(shots.glob(f"*-{width}-{scheme}.png"))
    assert len(files) >= 12, f"only {len(files)} states at {width} px, {scheme}"
    cells = "".join(
        f'<figure><img src="{f.as_uri()}" width="{wide}" height="{high}"><figcaption>{html.escape(f.name.removesuffix(f"-{width}-{scheme}.png"))}</figcaption></figure>' for f in files
    )
    style = f"body{{margin:8px;background:#888;display:grid;grid-template-columns:repeat({columns},{wide}px);gap:8px;font:14px sans-serif}}figure{{margin:0}}"
    source = shots / f"{width}-{scheme}.html"
    source.write_text(f"<!doctype html><meta charset=utf-8><style>{style}</style>{cells}")
    page = browser.new_page(viewport={"width": columns * (wide + 8) + 8, "height": 100})
    page.goto(source.as_uri())
    keep(page.screenshot(full_page=True), out / f"states-{width}-{scheme}.png")
    page.close()
    return len(files)


def main():
    made = sys.argv[1] == "--shots"
    rest = sys.argv[2 + made :]
    out = Path(rest[0] if rest else HERE.parents[1] / "docs/page")
    shots = Path(sys.argv[2] if made else tempfile.mkdtemp(prefix="screens-"))
    if not made:
        subprocess.run([sys.executable, HERE / "two_people.py", sys.argv[1], "--speed", "8", "--shots", shots], check=True)
    with sync_playwright() as p:
        browser = p.chromium.launch(executable_path=shutil.which("chromium"), args=["--no-sandbox"])
        for width in SIZES:
            for scheme in ["light", "dark"]:
                print(f"{width} {scheme}: {sheet(browser, shots, width, scheme, out)} states")
    for name, state in SHOWN.items():
        keep((shots / f"{state}.png").read_bytes(), out / f"{name}.png")
    if not made:
        shutil.rmtree(shots)


if __name__ == "__main__":
    main()
