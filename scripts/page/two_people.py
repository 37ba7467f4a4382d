"""A whole two-person job with real browsers: one person at the far end with a phone, and what goes wrong with phones and radio.

    python3 scripts/page/two_people.py target/debug/plumeline [--speed 8] [--shots DIR] [--axe] [--tls]

The unit is a simulated one on a pseudo-terminal; a script answers at the laptop, and everything at pipes is answered in a browser
whose way to the laptop leads through a proxy that can be cut. Hands at the site are the site control's. Not here: hostile
clients (`hostile.py`).
"""
import argparse
import json
import os
import re
import shutil
import socket
import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path
from types import SimpleNamespace

from playwright.sync_api import sync_playwright

TOP = Path(__file__).resolve().parents[2]
AT_THE_PIPE = ["close-hole", "open-hole", "release-smoke", "stop-smoke", "shut-inlet", "refit-inlet", "cover-inlets", "uncover-inlets"]
BY_THE_LEAD = ["tell", "checks"]
# The smallest JPEG there is a name for: start of image, application segment, end of image.
PHOTO = bytes.fromhex("ffd8ffe000104a46494600010100000100010000ffd9")


class Way:
    """A proxy through which a browser reaches the page; it can be cut and mended."""

    def __init__(self):
        self.listener = socket.create_server(("127.0.0.1", 0))
        self.port = self.listener.getsockname()[1]
        self.open, self.up = set(), True
        threading.Thread(target=self.accept, daemon=True).start()

    def accept(self):
        while True:
            here, _ = self.listener.accept()
            threading.Thread(target=self.serve, args=(here,), daemon=True).start()

    def serve(self, here):
        try:
            head = b""
            while b"\r\n\r\n" not in head:
                part = here.recv(65536)
                if not part:
                    return here.close()
                head += part
            if not self.up:
                return here.close()
            method, target = head.split(b" ", 2)[:2]
            where = target.decode() if method == b"CONNECT" else re.match(r"http://([^/]+)", target.decode())[1]
            host, port = where.rsplit(":", 1)
            there = socket.create_connection((host, int(port)))
            if method == b"CONNECT":
                here.sendall(b"HTTP/1.1 200 go on\r\n\r\n")
                there.sendall(head.split(b"\r\n\r\n", 1)[1])
            else:
                there.sendall(head)
            self.open |= {here, there}
            threading.Thread(target=self.pump, args=(here, there), daemon=True).start()
            self.pump(there, here)
        except OSError:
            here.close()

    def pump(self, a, b):
        try:
            while part := a.recv(65536):
                b.sendall(part)
        except OSError:
            pass
        for s in (a, b):
            self.open.discard(s)
            try:
                s.shutdown(socket.SHUT_RDWR)
            except OSError:
                pass

    def cut(self):
        self.up = False
        for s in list(self.open):
            try:
                s.shutdown(socket.SHUT_RDWR)
            except OSError:
                pass


class Site:
    """Hands at the simulated site."""

    def __init__(self, address):
        host, port = address.rsplit(":", 1)
        self.s = socket.create_connection((host, int(port)))
        self.lines = self.s.makefile()

    def do(self, **what):
        self.s.sendall(json.dumps(what).encode() + b"\n")
        reply = json.loads(self.lines.readline())
        assert reply["ok"], (what, reply)


def begin(tool, folder, speed, tls):
    """The small invented job, its simulator, and the job under way."""
    job = folder / "job"
    demo = TOP / "harness/cli/demo/small"
    job.mkdir()
    for name in ["pipework.toml", "plan.toml", "settings-new.json"]:
        shutil.copy(demo / name, job)
    for name, model in [("unit-outgoing.toml", "model-a"), ("unit-replacement.toml", "model-b")]:
        shutil.copy(TOP / f"harness/job/descriptions/{model}.toml", job / name)
    (folder / "scenario.toml").write_text('format = 1\npipework = "job/pipework.toml"\nseed = 1\n')
    simulator = subprocess.Popen([tool, "simulate", folder / "scenario.toml", "--speed", str(speed), "--pty", folder / "unit"], stdout=subprocess.PIPE, text=True)
    unit = simulator.stdout.readline().removeprefix("unit: ").strip()
    control = simulator.stdout.readline().removeprefix("site control: ").strip()
    assert simulator.stdout.readline().strip() == "ready"
    answers = "".join(f'[[answer]]\nact = "{act}"\npause_s = 1000000\n' for act in AT_THE_PIPE + BY_THE_LEAD)
    (folder / "operator.toml").write_text(f'format = 1\ncontrol = "{control}"\n{answers}')
    said = open(folder / "said.txt", "w+")
    run = subprocess.Popen([tool, "run", job, "--port", unit, "--operator", folder / "operator.toml", "--speed", str(speed), "--page=127.0.0.1:0", *(["--page-tls"] if tls else [])], stdout=said, stderr=subprocess.STDOUT)
    links = {}
    for _ in range(200):
        links = dict(re.findall(r"page for ([\w ]+): (\S+)", (folder / "said.txt").read_text()))
        if len(links) == 3:
            break
        time.sleep(0.1)
    assert len(links) == 3, (folder / "said.txt").read_text()
    assert all(link.startswith("https://" if tls else "http://") for link in links.values()), links
    return job, simulator, run, links, Site(control)


def until(page, expression, arg=None, seconds=15):
    """Waits until it is so. Asked from outside: the page's own policy lets nothing be evaluated in it."""
    end = time.monotonic() + seconds
    while not page.evaluate(expression, arg):
        assert time.monotonic() < end, (expression, page.inner_text("body"))
        time.sleep(0.02)


class Person:
    """Somebody with a browser of their own."""

    def __init__(self, browser, link, name, way=None, size=(360, 780), scheme="light"):
        proxy = {"server": f"http://127.0.0.1:{way.port}", "bypass": "<-loopback>"} if way else None
        self.context = browser.new_context(viewport={"width": size[0], "height": size[1]}, color_scheme=scheme, has_touch=size[0] < 500, proxy=proxy, ignore_https_errors=True)
        self.page, self.errors = self.context.new_page(), []
        self.page.on("pageerror", lambda e: self.errors.append(str(e)))
        self.page.on("console", lambda m: self.errors.append(m.text) if "Content Security Policy" in m.text else None)
        self.page.goto(link)
        self.page.fill("#name", name)
        self.page.click("#join button")

    def joined(self):
        self.page.wait_for_selector("#job:not([hidden])", timeout=10000)
        return self

    def asked(self):
        return self.page.evaluate("mine()[0] ?? null")

    def drawn(self, ask):
        """The question stands on the page, with its buttons."""
        until(self.page, "id => open === String(id)", ask["id"])

    def touch(self, selector="#buttons button.main", before=None):
        """A finger at a button; `before` is done the moment before it comes down."""
        button = self.page.locator(selector).first
        button.scroll_into_view_if_needed()
        box = button.bounding_box()
        self.page.mouse.move(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
        if before:
            before()
        self.page.mouse.down()
        self.page.mouse.up()

    def told(self):
        return self.page.text_content("#sent")


def stranger(browser, link, shots):
    """Without the code nobody sees anything."""
    base = link.split("#")[0]
    for wrong in [base, f"{base}#{'0' * 32}"]:
        context = browser.new_context(ignore_https_errors=True)
        page = context.new_page()
        page.goto(wrong)
        if "#" in wrong:
            page.fill("#name", "Nobody")
            page.click("#join button")
            until(page, "document.getElementById('join-why').textContent.includes('not of this job')")
        assert page.is_hidden("#job") and page.text_content("#site") == "plumeline", "a stranger sees the site"
        shots.of(SimpleNamespace(page=page), "stranger-with-a-wrong-code" if "#" in wrong else "stranger-without-a-code")
        context.close()


def watcher_can_do_nothing(watch, ask):
    """Whatever a watcher's page is made to send, it answers nothing."""
    watch.page.evaluate("id => socket.send(JSON.stringify({m: 'act', id: 'x-1', prompt: id, words: '', boot: me.boot}))", ask["id"])
    until(watch.page, "document.getElementById('sent').textContent.includes('who watches')")


def places_are_named(far, number):
    """The place stands there in the words of the pipework file, and the one after it; the drawing says the same."""
    words = re.findall(r'"(archive room, [^"]+)"', (TOP / "harness/cli/demo/small/pipework.toml").read_text())
    assert len(words) == 5 and far.page.text_content("#where .place") == words[number - 1], words
    after = far.page.text_content("#next")
    assert (words[number] if number < 5 else "the last place") in after, after
    drawn = far.page.get_attribute("#where svg", "aria-label")
    assert words[number - 1] in drawn and (number == 5 or f"then hole {number + 1}" in drawn), drawn


class Shots:
    """Screens of every state, at both sizes and in both schemes, and what axe finds on them."""

    def __init__(self, folder, axe):
        self.folder, self.axe, self.taken, self.found = folder, axe, set(), []
        if folder:
            os.makedirs(folder, exist_ok=True)

    @staticmethod
    def in_sight(page, name):
        """What is to be touched stands on the first screen of a phone."""
        box = page.locator("#buttons button.main").first.bounding_box() if page.locator("#buttons button.main:visible").count() else None
        assert not name.startswith("far-end") or box is None or "photo" in name or box["y"] + box["height"] <= 780, (name, box)

    def of(self, person, name):
        if name in self.taken or not (self.folder or self.axe):
            return
        self.taken.add(name)
        page, size = person.page, person.page.viewport_size
        for width, height in [(360, 780), (1280, 800)]:
            for scheme in ["light", "dark"]:
                page.set_viewport_size({"width": width, "height": height})
                page.emulate_media(color_scheme=scheme)
                page.evaluate("scrollTo(0, 0)")
                if (width, scheme) == (360, "light"):
                    self.in_sight(page, name)
                wide = page.evaluate("document.documentElement.scrollWidth <= innerWidth")
                assert wide, f"{name} at {width} is wider than the screen"
                if self.folder:
                    page.screenshot(path=f"{self.folder}/{name}-{width}-{scheme}.png")
                if self.axe and (width, scheme) in [(360, "dark"), (1280, "light")]:
                    from axe_playwright_python.sync_playwright import Axe

                    tags = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]
                    r = Axe().run(page, options={"runOnly": {"type": "tag", "values": tags}})
                    assert r.response["passes"], "axe looked at nothing"
                    self.found += [(name, width, scheme, v["id"], v["nodes"][0]["target"]) for v in r.response["violations"]]
        # Buttons that a glove can find (WCAG 2.5.8 asks for 24 px; here 48).
        small = page.evaluate("[...document.querySelectorAll('button, summary, input:not([type=checkbox]), textarea')].filter(e => e.offsetParent && e.getBoundingClientRect().height < 47.5).map(e => e.outerHTML.slice(0, 80))")
        assert not small, small
        page.emulate_media(color_scheme="light")
        page.set_viewport_size(size)


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("tool")
    parser.add_argument("--speed", type=float, default=8)
    parser.add_argument("--shots")
    parser.add_argument("--axe", action="store_true")
    parser.add_argument("--tls", action="store_true", help="over TLS, with the certificate of the program's making")
    parser.add_argument("--browser", default=shutil.which("chromium") or shutil.which("chromium-browser"))
    args = parser.parse_args()
    tool = str(Path(args.tool).resolve())
    folder = Path(tempfile.mkdtemp(prefix="two-people-"))
    job, simulator, run, links, site = begin(tool, folder, args.speed, args.tls)
    done, counts, offline_ids = {k: False for k in ["later", "photo", "reload", "second", "cut", "watcher", "lead"]}, {}, []
    shots = Shots(args.shots, args.axe)
    try:
        with sync_playwright() as p:
            browser = p.chromium.launch(executable_path=args.browser, args=["--no-sandbox"])
            stranger(browser, links["far end"], shots)
            way = Way()
            far = Person(browser, links["far end"], "A. Example", way).joined()
            watch = Person(browser, links["watch"], "B. Example", size=(1280, 800)).joined()
            lead = Person(browser, links["lead"], "D. Example", size=(1280, 800)).joined()
            led = set()
            second = None
            shots.of(far, "far-end-nothing-to-do")
            handled = set()
            while run.poll() is None:
                try:
                    ask = far.asked()
                except Exception:
                    if run.poll() is not None:
                        break
                    raise
                led_ask = lead.asked()
                if led_ask and led_ask["act"] in BY_THE_LEAD and led_ask["id"] not in led:
                    lead.drawn(led_ask)
                    led.add(led_ask["id"])
                    shots.of(lead, f"lead-{led_ask['act']}")
                    if led_ask["wants"] == "one-of":
                        lead.touch("#buttons button.word")  # and then once more: it has consequences
                        done["lead"] = True
                    for box in lead.page.locator("#buttons input[type=checkbox]").all():
                        box.check()
                    lead.touch()
                if ask is None or ask["id"] in handled:
                    time.sleep(0.02)
                    continue
                act, hole = ask["act"], ask["hole"] and {"pipe": ask["hole"][0], "hole": ask["hole"][1]}
                if ask["wants"] == "notice" and act != "stop-smoke":
                    shots.of(far, "far-end-keep-the-smoke")
                    time.sleep(0.05)
                    continue
                try:
                    far.drawn(ask)
                except Exception:
                    continue  # withdrawn meanwhile: the readings showed it
                handled.add(ask["id"])
                counts[act] = counts.get(act, 0) + 1
                if act == "close-hole":
                    shots.of(far, "far-end-close-a-hole")
                    places_are_named(far, hole["hole"])
                    if not done["watcher"]:
                        done["watcher"] = True
                        watcher_can_do_nothing(watch, ask)
                        shots.of(watch, "watch")
                    if hole["hole"] == 2 and not done["later"]:
                        done["later"] = True
                        far.touch("#buttons button:has-text('later')")
                        continue
                    if hole["hole"] == 3 and not done["reload"]:
                        done["reload"] = True
                        far.page.reload()
                        far.joined()
                        far.drawn(ask)  # the same question, of the same person
                    site.do(do="close", **hole)
                    if hole["hole"] == 4 and not done["photo"]:
                        done["photo"] = True
                        far.page.locator("#beside summary").click()
                        far.page.fill("#note", "tape on the <b>left</b> side")
                        far.page.set_input_files("#photo", {"name": "a.jpg", "mimeType": "image/jpeg", "buffer": PHOTO})
                        until(far.page, "document.getElementById('photo-is').textContent.includes('photo kept')")
                        shots.of(far, "far-end-with-photo")
                    if hole["hole"] == 3 and second is None:
                        # A second phone answers, and the first one too, before it could know.
                        second = Person(browser, links["far end"], "C. Example").joined()
                        second.drawn(ask)
                        second.touch()
                        until(second.page, "document.getElementById('sent').textContent.startsWith('taken')")
                        done["second"] = True
                        continue
                    far.touch()
                elif act == "open-hole":
                    site.do(do="open", **hole)
                    try:
                        far.touch()
                    except Exception:
                        pass  # the flow showed it first
                elif act == "release-smoke":
                    shots.of(far, "far-end-release")
                    smoke = lambda: site.do(do="smoke", obscuration=40, seconds=3000, **hole)  # noqa: E731
                    assert far.page.text_content("#where .place") == "archive room, by the window", "the place in the file's words"
                    if counts[act] == 2:
                        done["cut"] = True
                        way.cut()
                        until(far.page, "document.getElementById('link').textContent.includes('no link')")
                        far.touch(before=smoke)
                        offline_ids.append(ask["id"])
                        shots.of(far, "far-end-no-link")
                        time.sleep(1.0)
                        way.up = True
                        until(far.page, "document.getElementById('sent').textContent.startsWith('taken')")
                    else:
                        far.touch(before=smoke)
                elif act == "stop-smoke":
                    site.do(do="smoke-off")
                    far.touch()
                elif act in ("shut-inlet", "refit-inlet"):
                    shots.of(far, "far-end-shut-an-inlet")
                    site.do(do="inlet", inlet=ask["inlet"], shut=act == "shut-inlet")
                    far.touch()
                elif act in ("cover-inlets", "uncover-inlets"):
                    far.touch()
                else:
                    raise AssertionError(f"a far end is asked {act}")
            shots.of(watch, "watch-at-the-end")
            until(far.page, "document.getElementById('ask').textContent.startsWith('The job has ended: pass')")
            shots.of(far, "far-end-at-the-end")
            errors = far.errors + watch.errors + lead.errors + (second.errors if second else [])
            browser.close()
        assert not errors, errors
        assert run.wait(timeout=60) == 0, (folder / "said.txt").read_text()[-3000:]
        assert all(done.values()), done
        assert counts.get("release-smoke", 0) >= 3 and counts.get("close-hole", 0) >= 5, counts
        judge(tool, job, offline_ids, args.speed)
        assert not shots.found, "\n".join(map(str, shots.found))
        print(f"pass: {sum(counts.values())} questions answered at pages: {counts}")
        if shots.taken:
            print(f"screens: {sorted(shots.taken)}; axe found nothing" if args.axe else f"screens: {sorted(shots.taken)}")
    except BaseException:
        print((folder / "said.txt").read_text()[-4000:], file=sys.stderr)
        raise
    finally:
        for process in (run, simulator):
            if process.poll() is None:
                process.terminate()
                process.wait(timeout=20)
    shutil.rmtree(folder)


def judge(tool, job, offline, speed):
    """The verdict, what the record says of who did what, and that all of it comes out again."""
    assert json.loads((job / "result.json").read_text())["outcome"]["verdict"] == "pass"
    lines = [json.loads(line) for line in (job / "journal.jsonl").read_text().splitlines()]
    answered = [(line["at_us"] if "at_us" in line else line["at"], line["entry"]) for line in lines if line["entry"].get("entry") == "answered"] if "entry" in lines[0] else []
    pages = [(at, e) for at, e in answered if e.get("page")]
    assert {e["page"]["by"]["name"] for _, e in pages} == {"A. Example", "C. Example", "D. Example"}, pages[:3]
    roles = {e["page"]["by"]["name"]: e["page"]["by"]["role"] for _, e in pages}
    assert roles == {"A. Example": "far-end", "C. Example": "far-end", "D. Example": "lead"}, roles
    # Beside the radio hole the mark came at once; in it, late, and counts with its own time.
    marks = {e["prompt"]: (at - e["page"]["mark"]["at"]) / 1e6 / speed for at, e in pages if e["page"].get("mark")}
    assert offline and all(marks[p] > 0.9 for p in offline), (marks, offline)
    assert len(marks) > 10 and sorted(marks.values())[len(marks) // 2] < 0.5, marks
    photos = [e["page"]["photo"] for _, e in pages if e["page"].get("photo")]
    assert len(photos) == 1 and (job / photos[0]["name"]).read_bytes() == PHOTO
    assert any(e["page"].get("note") == "tape on the <b>left</b> side" for _, e in pages)
    assert any(e["answer"] == "later" for _, e in pages)
    for command in ["replay", "check"]:
        subprocess.run([tool, command, str(job)], check=True, stdout=subprocess.DEVNULL)
    print(f"marks came {min(marks.values()) * 1e3:.0f} to {max(marks.values()) * 1e3:.0f} ms after the touch")


if __name__ == "__main__":
    main()
