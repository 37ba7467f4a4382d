"""A recorded job as a film on the page: stages follow one another, the verdict comes, and nothing is taken from whoever looks.

    python3 scripts/page/film.py target/debug/plumeline
"""
import re
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from playwright.sync_api import sync_playwright


def main():
    tool, folder = str(Path(sys.argv[1]).resolve()), tempfile.mkdtemp(prefix="film-")
    subprocess.run([tool, "demo", "--small", "--out", f"{folder}/job", "--quiet"], check=True, stdout=subprocess.DEVNULL)
    film = subprocess.Popen([tool, "watch", f"{folder}/job", "--page=127.0.0.1:0", "--speed", "90"], stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True)
    try:
        links = {}
        for line in film.stdout:
            links.update(re.findall(r"page for ([\w ]+): (\S+)", line))
            if links:
                break
        assert list(links) == ["watch"], links
        with sync_playwright() as p:
            browser = p.chromium.launch(executable_path=shutil.which("chromium"), args=["--no-sandbox"])
            page, errors = browser.new_page(), []
            page.on("pageerror", lambda e: errors.append(str(e)))
            page.goto(links["watch"])
            page.fill("#name", "B. Example")
            page.click("#join button")
            stages, end = [], time.monotonic() + 120
            while not page.text_content("#over"):
                assert time.monotonic() < end, stages
                stage = page.text_content("#stage")
                if stage and stage not in stages:
                    stages.append(stage)
                time.sleep(0.05)
            assert "(a recording)" in page.text_content("#who") and "pass" in page.text_content("#over")
            assert len(stages) > 6 and not errors, (stages, errors)
            assert page.locator("#findings li").count() > 20
            browser.close()
        print(f"pass: {len(stages)} stages seen")
    finally:
        film.terminate()
        film.wait(timeout=10)
    shutil.rmtree(folder)


if __name__ == "__main__":
    main()
