"""Walks through the page in a real browser: a two-lamp vehicle from start to the filed sheet, with photos of 12 megapixels.

Usage: browse.py BROWSER PROGRAM FOLDER [AXE.js]. Asserts what must hold on the way, writes a screenshot of every page at
360 x 800 and at 1280 px, light and dark, and the times from sending a photo to its result. Needs Python's standard library alone.
"""

import base64
import json
import os
import pathlib
import re
import socket
import subprocess
import sys
import tempfile
import threading
import time

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parent.parent / "browser"))
from check import CHECKS, Browser  # noqa: E402
from sides import code_lets_in, fixed_camera, has_own_address, serving  # noqa: E402

# The vehicle's photos: one bay, drawn with one seed; only lamp, aim and the room's light differ.
SCENE = """family = "page"
extends = "clean"
[picture]
long_px = 4000
short_px = 3000
orientation = 6
[setup]
lamp = "{lamp}"
traffic = "right"
height_mm = 650.0
offset_mm = 600.0
distance_mm = 10000.0
vehicle_yaw_deg = 0.0
[beam]
shape = "kink15"
aim_h_deg = {h}
aim_v_deg = {v}
[room]
ambient_lux = {lux}
least_mark_level = {level}
"""
PHOTOS = {
    "left-found": ("left", -0.05, -1.7, 0.6, 0.02),
    "left-set": ("left", 0.0, -0.58, 0.6, 0.02),
    "right-set": ("right", 0.02, -0.57, 0.6, 0.02),
    # Two marks that carry other tags than the bay file says: nobody finds them but a person.
    "strange-marks": ("left", 0.0, -0.58, 0.6, 0.02),
}
HELD_FROM = 100_000  # bytes of one connection
WIDTHS = {"phone": (360, 800), "desk": (1280, 900)}
# Beside what tests/browser looks at. A link within a line of text may be small; what is pressed with gloves may not.
OWN_CHECKS = {
    "a target is smaller than 48 px": """[...document.querySelectorAll('button, .button, summary, select, input:not([type=hidden]), .choice, nav a, .jobs a')]
        .filter(e => e.offsetParent && !e.closest('.choice, .camera') || e.matches('.choice, .camera'))
        .filter(e => e.offsetParent && (e.getBoundingClientRect().height < 47.5 || e.getBoundingClientRect().width < 47.5))
        .map(e => e.outerHTML.slice(0, 70))""",
    "a field has no label": """[...document.querySelectorAll('input:not([type=hidden]), select')]
        .filter(e => !e.labels?.length).map(e => e.outerHTML.slice(0, 70))""",
    "the page has no level-one heading": "document.querySelectorAll('h1').length === 1 ? [] : ['h1']",
}
SKIPPED = ["a link leads nowhere"]  # it knows links within one page only


def photos(program, folder):
    for name, (lamp, h, v, lux, level) in PHOTOS.items():
        place = folder / name
        place.mkdir(parents=True, exist_ok=True)
        text = SCENE.format(lamp=lamp, h=h, v=v, lux=lux, level=level)
        if name == "strange-marks":
            text += "[[marks]]\nid = 100\n[[marks]]\nid = 101\n"
        if (place / "page-005.jpg").exists() and (place / "page.toml").read_text() == text:
            continue
        (place / "page.toml").write_text(text)
        subprocess.run([program, "scene", "--family", place / "page.toml", "--seed", "5", "--out", place], check=True)
    return {name: folder / name / "page-005.jpg" for name in PHOTOS}


class Relay(threading.Thread):
    """Stands between browser and server, and cuts or holds every line when it is told to."""

    def __init__(self, to):
        super().__init__(daemon=True)
        self.to, self.lines, self.is_cut, self.limit = to, [], False, None
        self.may_pass = threading.Event()
        self.may_pass.set()
        self.door = socket.create_server(("127.0.0.1", 0))
        self.port = self.door.getsockname()[1]

    def run(self):
        while True:
            line, _ = self.door.accept()
            try:
                far = None if self.is_cut else socket.create_connection(("127.0.0.1", self.to))
            except OSError:  # the server has ended
                far = None
            if far is None:
                line.close()
                continue
            self.lines += [line, far]
            for a, b, up in ((line, far, True), (far, line, False)):
                threading.Thread(target=self.pump, args=(a, b, up), daemon=True).start()

    def pump(self, a, b, is_up):
        total = 0
        try:
            while piece := a.recv(1 << 14):
                total += len(piece)
                if is_up and self.limit is not None and total > self.limit:
                    self.limit = None
                    self.cut()
                # A held photo has its head at the server already; other requests are smaller than this.
                if is_up and total > HELD_FROM:
                    self.may_pass.wait()
                b.sendall(piece)
        except OSError:
            pass
        finally:
            for line in (a, b):
                try:
                    line.shutdown(socket.SHUT_RDWR)
                except OSError:
                    pass

    def cut(self):
        self.is_cut = True
        for line in self.lines:
            try:
                line.shutdown(socket.SHUT_RDWR)
            except OSError:
                pass
        self.lines.clear()

    def mend(self):
        self.is_cut = False


class Walk:
    """One browser's tabs on one server."""

    def __init__(self, browser, base, folder, axe):
        self.browser, self.base, self.folder, self.axe = browser, base, folder, axe
        self.found, self.tabs, self.times = [], {}, []

    def tab(self, name):
        if name not in self.tabs:
            self.browser.session = None
            target = self.browser.ask("Target.createTarget", url="about:blank")["targetId"]
            self.tabs[name] = self.browser.ask("Target.attachToTarget", targetId=target, flatten=True)["sessionId"]
            self.browser.session = self.tabs[name]
            for domain in ("Page", "Runtime", "Log", "Network", "DOM"):
                self.browser.ask(f"{domain}.enable")
            self.size(*WIDTHS["phone"])
        self.browser.session = self.tabs[name]
        # A page that is not in front draws nothing, and would be waited for in vain.
        self.browser.ask("Page.bringToFront")

    def size(self, width, height, scheme="light"):
        self.browser.ask("Emulation.setDeviceMetricsOverride", width=width, height=height, deviceScaleFactor=1, mobile=width < 600)
        self.browser.ask("Emulation.setEmulatedMedia", features=[{"name": "prefers-color-scheme", "value": scheme}])

    def js(self, expression):
        return self.browser.value(expression)

    def until(self, expression, what, patience=180):
        begun = time.time()
        while time.time() - begun < patience:
            try:
                if value := self.js(expression):
                    return value
            except SystemExit:  # the page is being left
                pass
            time.sleep(0.05)
        raise SystemExit(f"waited in vain for {what}: {self.js('document.body.innerText.slice(0, 1500)')}")

    def go(self, path):
        self.js(f"location.href = {json.dumps(self.base + path)}; 1") if self.js("location.href") != "about:blank" else \
            self.browser.ask("Page.navigate", url=self.base + path)
        self.until(f"location.pathname + location.search === {json.dumps(path)} && document.readyState === 'complete'", path)

    def fill(self, **fields):
        for name, value in fields.items():
            self.js(f"document.querySelector('[name={name}]').value = {json.dumps(value)}; 1")

    def press(self, words):
        script = f"""(() => {{ const e = [...document.querySelectorAll('button, a')].find(e => e.offsetParent && e.innerText.includes({json.dumps(words)}));
            if (!e) return false; e.click(); return true; }})()"""
        if not self.js(script):
            raise SystemExit(f"nothing says {words!r}: {self.js('document.body.innerText.slice(0, 1500)')}")

    def choose(self, field, path):
        field = self.browser.ask("Runtime.evaluate", expression=f"document.querySelector('{field}')")["result"]["objectId"]
        begun = time.time()
        self.browser.ask("DOM.setFileInputFiles", objectId=field, files=[str(path)])
        return begun

    def photo(self, path):
        self.js("window.isOld = true; 1")
        return self.choose("#file", path)

    def result(self, begun, words):
        self.until("!window.isOld && document.readyState === 'complete' && !!document.querySelector('.verdict')", f"a result ({words})")
        self.times.append(time.time() - begun)
        self.expect(words)

    def expect(self, words):
        text = self.js("document.body.innerText").lower()
        if words.lower() not in text:
            self.found.append(f"{words!r} is not said: {text[:600]!r}")

    def look(self, name):
        """Checks the page and takes its picture at every size."""
        for size, (width, height) in WIDTHS.items():
            for scheme in ("light", "dark"):
                self.size(width, height, scheme)
                self.js("Promise.all([...document.images].map(i => { i.loading = 'eager'; return i.decode().catch(() => 0); })).then(() => new Promise(r => requestAnimationFrame(() => requestAnimationFrame(() => r(1)))))")
                where = f"{name}, {size}, {scheme}"
                checks = {key: value for key, value in CHECKS.items() if key not in SKIPPED} | OWN_CHECKS
                for what, js in checks.items():
                    if wrong := self.js(js):
                        self.found.append(f"{where}: {what}: {', '.join(map(str, wrong[:5]))}")
                if self.axe:
                    # The page's own policy lets no foreign script in: it is brought in by the debugger.
                    self.js(self.axe + "; 1")
                    result = self.js("axe.run(document, { runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa'] }).then(r => r.violations.map(v => v.id + ': ' + v.nodes.slice(0, 3).map(n => n.html.slice(0, 90) + ' ' + n.failureSummary).join(' | ')))")
                    self.found += [f"{where}: axe: {line}" for line in result]
                full = min(self.js("document.documentElement.scrollHeight"), 12000)
                for suffix, tall in (("", height), ("-whole", full)):
                    picture = self.browser.ask("Page.captureScreenshot", format="png", captureBeyondViewport=True,
                                               clip={"x": 0, "y": 0, "width": width, "height": tall, "scale": 1})
                    (self.folder / f"{name}-{size}-{scheme}{suffix}.png").write_bytes(base64.b64decode(picture["data"]))
        self.size(*WIDTHS["phone"])

    def noise(self, own):
        """What the console said, and requests to anywhere else than `own`."""
        for event in self.browser.events:
            method, p = event.get("method"), event.get("params", {})
            if method in ("Runtime.consoleAPICalled", "Runtime.exceptionThrown", "Log.entryAdded"):
                text = json.dumps(p)[:300]
                # Lines that the test itself cut, and answers that are errors on purpose, are told on the console too.
                # So is, without TLS, that a browser passes over a header that needs it.
                if not re.search(r"ERR_|status of 4|status of 5|Failed to load|Cross-Origin-Opener-Policy header has been ignored", text):
                    yield f"console: {text}"
            elif method == "Network.requestWillBeSent" and not re.match(rf"({own}|data:|blob:|about:)", p["request"]["url"]):
                yield f"request: {p['request']['url'][:200]}"


def walk(w, pictures, relay):
    w.tab("phone")
    w.go("/")
    w.look("start")
    w.press("New inspection")
    w.until("!!document.querySelector('[name=vehicle]')", "the form")
    w.look("new")
    w.fill(vehicle="order 12", who="AB", height="6x", offset="600")
    w.js("document.querySelector('[name=prepared]').click(); 1")
    # What is wrong is said beside the button, and what was typed stays.
    w.press("Begin")
    w.until("!document.querySelector('#begin-problem').hidden", "word of the wrong number")
    w.expect("that is no number")
    w.look("new-wrong")
    if w.js("document.querySelector('[name=vehicle]').value") != "order 12":
        w.found.append("what was typed is gone")
    w.fill(height="650")
    # Two taps, one inspection.
    w.js("(b => { b.click(); b.click(); })(document.querySelector('form.sheet button.is-main')); 1")
    w.until("location.pathname.startsWith('/i/') && document.readyState === 'complete' && !!document.querySelector('#file')", "the inspection")
    w.expect("cover the right")
    w.look("first")
    if (count := w.js("fetch('/desk').then(r => r.text()).then(t => t.split('order 12').length - 1)")) != 1:
        w.found.append(f"a double tap began {count} inspections")

    # The first photo shows too little: refused, with what to change; its marks are tapped.
    w.result(w.photo(pictures["strange-marks"]), "Photo not usable")
    w.expect("What to change")
    w.look("refused")
    w.press("Tap the marks")
    w.until("document.querySelector('#board .pin, #ask') && document.querySelector('#board-picture').complete", "the board")
    w.look("tap")
    tap_marks(w, pictures)
    w.until("location.pathname.startsWith('/i/') && !location.pathname.includes('tap') && !!document.querySelector('.verdict')", "the measured photo")
    w.look("tapped")

    # Another vehicle by a second phone, whose page hears of the first one's photo.
    w.go("/new")
    w.fill(vehicle="order 13", who="AB", height="650", offset="600")
    w.press("Begin")
    w.until("location.pathname.startsWith('/i/') && document.readyState === 'complete' && !!document.querySelector('#file')", "the inspection")
    place = w.js("location.pathname")
    w.tab("second")
    w.go(place)
    w.tab("phone")
    w.result(w.photo(pictures["left-found"]), "Too low")
    w.expect("quarter turn")
    w.look("turn")
    w.tab("second")
    w.until("document.body.innerText.toLowerCase().includes('too low')", "the second phone to hear of it")
    # Both send at once, neither whole before the other has begun: one of them counts, the other is told, and both show what is next.
    relay.may_pass.clear()
    for tab in ("phone", "second"):
        w.tab(tab)
        w.photo(pictures["left-set"])
        w.until("!document.querySelector('#sending').hidden", "the photo to be on its way")
    relay.may_pass.set()
    told = []
    for tab in ("phone", "second"):
        w.tab(tab)
        w.until("!window.isOld && document.readyState === 'complete' && document.body.innerText.includes('to recheck')", f"the outcome on the {tab}")
        told.append(bool(w.js("document.querySelector('#sending.is-stop')?.innerText.includes('Another phone')")))
        if told[-1]:
            w.look("turned-away")
    if sum(told) != 1:
        w.found.append(f"one phone of two must be turned away: {told}")
    w.tab("phone")
    w.go(place)
    w.look("recheck")

    # The phone's camera is open while another phone records a photo of the other lamp: the page stays, and its photo counts.
    w.js("window.isOld = true; document.querySelector('#file').dispatchEvent(new Event('click')); 1")
    w.tab("second")
    w.go(place + "?lamp=right-low")
    w.result(w.photo(pictures["right-set"]), "Right low beam")
    w.tab("phone")
    time.sleep(1)
    if not w.js("!!window.isOld"):
        w.found.append("the page went away under the open camera")
    # Back without a photo: now it shows what came meanwhile.
    w.js("document.querySelector('#file').dispatchEvent(new Event('cancel')); 1")
    w.until("!window.isOld && document.readyState === 'complete' && document.querySelector('.lamps').innerText.toLowerCase().includes('pass')", "the page to catch up")

    # The line breaks in the middle of a photo: it is sent again by itself and counts once.
    relay.limit = 300_000
    w.photo(pictures["left-set"])
    w.until("/again|broke off/i.test(document.querySelector('#sending').innerText)", "the page to notice the broken line")
    w.look("broken-line")
    relay.mend()
    # On a slow machine it may have given up meanwhile, and waits to be told.
    w.until("(window.isOld && !document.querySelector('#again').hidden && document.querySelector('#again').click(), !window.isOld) && !!document.querySelector('.verdict')", "the photo after the line was mended")
    w.expect("every lamp is done")
    w.look("left-done")
    # The right lamp once more, with a photo for the marks alone, which is taken first.
    w.go(place + "?lamp=right-low")
    w.js("document.querySelector('#more > summary').click(); 1")
    w.choose("#more [name=marks]", pictures["right-set"])
    w.until("!!document.querySelector('#more .is-chosen')", "the photo of the marks to be shown as chosen")
    w.look("more")
    w.result(w.photo(pictures["right-set"]), "Every lamp is done")
    w.look("done")
    w.press("Finish")
    w.until("location.pathname.startsWith('/desk/')", "the sheet")
    w.look("sheet")
    # The end of it: the report, as the link on this page gives it.
    link = "[...document.querySelectorAll('a')].find(a => a.innerText.includes('Report (PDF)'))"
    pdf = w.js(f"""fetch({link}.href).then(r => r.arrayBuffer().then(b => [r.status, r.headers.get('content-type'),
        btoa([...new Uint8Array(b)].map(c => String.fromCharCode(c)).join(''))]))""")
    report = base64.b64decode(pdf[2])
    (w.folder / "report.pdf").write_bytes(report)
    if pdf[:2] != [200, "application/pdf"] or not report.startswith(b"%PDF-") or b"%%EOF" not in report[-64:]:
        w.found.append(f"no report: {pdf[:2]}, {report[:40]}")
    w.go("/desk")
    w.look("desk")
    readings = w.js(f"fetch({json.dumps(place.replace('/i/', '/desk/') + '/record.json')}).then(r => r.json()).then(j => j.records[0].entry.lamps.map(l => l.readings.map(r => !!r.marks_photo)))")
    if readings != [[False, False, False], [False, True]]:
        w.found.append(f"readings {readings}, need three, and two, the last one with a photo of the marks")
    w.go("/desk/bay/0")
    w.look("bay")
    # Twelve check readings, the last one off.
    log = pictures["left-found"].parent / "page-005.bay.readings.csv"
    rows = [f"2026-11-{n + 1:02}T08:00:00,page-005,left,low,kink,650.0,{-0.57 + 0.002 * (n % 3) + (0.2 if n == 11 else 0)},0.02,{n}.jpg,{n:064x}" for n in range(12)]
    log.write_text("\r\n".join(["taken,bay,lamp,beam,pattern,height_mm,v_deg,h_deg,photo,sha256", *rows]) + "\r\n")
    try:
        w.go("/desk")
        w.go("/desk/bay/0")
        w.expect("outside or jumped")
        w.look("chart")
    finally:
        log.unlink()
    # Times alone: one vehicle, one photo after another, each measured from the choice of the file to the loaded result.
    w.times.clear()
    for n in range(int(os.environ.get("PAGE_TIMES", "5"))):
        w.go("/new")
        w.fill(vehicle=f"time {n}", who="AB", height="650", offset="600")
        w.press("Begin")
        w.until("location.pathname.startsWith('/i/') && document.readyState === 'complete' && !!document.querySelector('#file')", "the inspection")
        w.result(w.photo(pictures["left-set"]), "Pass")


def tap_marks(w, pictures):
    """Taps every mark where the truth says that it is: first near it, then in its middle."""
    true = lambda name: json.loads((pictures[name].parent / "page-005.truth.json").read_text())["marks"]  # noqa: E731
    places = {str(bay["report_id"]): (mark["x_px"], mark["y_px"]) for bay, mark in zip(true("left-found"), true("strange-marks"))}
    w.size(*WIDTHS["phone"])
    # A swipe is no tap.
    said = lambda: w.js("document.getElementById('ask').textContent + document.querySelectorAll('.pin:not(.is-found)').length")  # noqa: E731
    before = said()
    x, y = w.js("""(() => { const b = document.getElementById('board'); b.scrollIntoView({ block: 'center' });
        const r = b.getBoundingClientRect(); return [r.left + r.width / 2, r.top + r.height / 2]; })()""")
    for kind, further in (("mousePressed", 0), ("mouseMoved", 30), ("mouseReleased", 30)):
        w.browser.ask("Input.dispatchMouseEvent", type=kind, x=x + further, y=y, button="left", clickCount=1)
    time.sleep(0.2)
    if said() != before:
        w.found.append(f"a swipe over the picture was taken for a tap: {said()}")
    tapped = set()
    for _ in range(2 * len(places)):
        marked = w.js("document.querySelector('#marks [aria-current]')?.dataset.id")
        if not marked:
            break
        x, y = places[marked]
        spot = w.js(f"""(() => {{ const b = document.getElementById('board'), i = document.getElementById('board-picture');
            b.scrollIntoView({{ block: 'center' }});
            const r = i.getBoundingClientRect(); return [r.left + r.width * {x} / b.dataset.width, r.top + r.height * {y} / b.dataset.height]; }})()""")
        if len(tapped) == 1 and w.js("!document.getElementById('ask').textContent.startsWith('Tap near')"):
            by_keys(w, spot)
        else:
            for kind in ("mousePressed", "mouseReleased"):
                w.browser.ask("Input.dispatchMouseEvent", type=kind, x=spot[0], y=spot[1], button="left", clickCount=1)
        time.sleep(0.2)
        tapped.add(marked)
    w.press("Measure with these marks")


def by_keys(w, spot):
    """Brings the cross there with the arrow keys, and sets the mark with Enter."""
    w.js("document.getElementById('board').focus(); 1")
    cross = lambda: w.js("(r => [r.left, r.top])(document.getElementById('cross').getBoundingClientRect())")  # noqa: E731
    for _ in range(300):
        x, y = cross()
        if abs(spot[0] - x) <= 0.6 and abs(spot[1] - y) <= 0.6:
            break
        key = ("ArrowRight" if spot[0] > x else "ArrowLeft") if abs(spot[0] - x) > 0.6 else ("ArrowDown" if spot[1] > y else "ArrowUp")
        w.browser.ask("Input.dispatchKeyEvent", type="keyDown", key=key, code=key)
    else:
        w.found.append(f"the keys do not bring the cross to {spot}: {cross()}")
    w.browser.ask("Input.dispatchKeyEvent", type="keyDown", key="Enter", code="Enter")


def main():
    chromium, program, folder = sys.argv[1], str(pathlib.Path(sys.argv[2]).resolve()), pathlib.Path(sys.argv[3]).resolve()
    axe = pathlib.Path(sys.argv[4]).read_text() if len(sys.argv) > 4 else None
    folder.mkdir(parents=True, exist_ok=True)
    pictures = photos(program, folder / "photos")
    bay, log = pictures["left-found"].parent / "page-005.bay.toml", folder / "server.log"
    log.unlink(missing_ok=True)
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as place:
        place = pathlib.Path(place)
        parts = {name: place / name for name in ("walk", "lan", "camera", "watched")}
        for part in parts.values():
            part.mkdir()
        relay = Relay(None)
        browser = Browser(chromium, place / "profile")
        try:
            w = Walk(browser, f"http://127.0.0.1:{relay.port}", folder, axe)
            with serving(program, parts["walk"], bay, log, "--host", "127.0.0.1", "--host", f"127.0.0.1:{relay.port}") as (_, port):
                relay.to = port
                relay.start()
                walk(w, pictures, relay)
            with serving(program, parts["camera"], bay, log, "--watch", parts["watched"]) as (_, port):
                fixed_camera(w, port, parts["watched"], pictures["left-found"])
            w.found += w.noise(r"http://127\.0\.0\.1:")
            if has_own_address():
                browser.events.clear()
                with serving(program, parts["lan"], bay, log, "--lan") as (greeting, _):
                    code_lets_in(w, greeting)
                # Pages of before may still ask for news.
                w.found += w.noise(rf"http://127\.0\.0\.1:|{re.escape(re.search(r'Or type: ([^#]+)', greeting)[1])}")
            else:
                print("left out, for this machine has no address but its own: a phone that comes in with a code")
        finally:
            browser.process.terminate()
            browser.process.wait(timeout=20)
    times = sorted(w.times)
    print("from the choice of a 12-megapixel JPEG to the loaded result, s:", " ".join(f"{t:.2f}" for t in times))
    for line in w.found:
        print(line)
    print(f"{'FAILED' if w.found else 'good'}: screenshots in {folder}")
    return 1 if w.found else 0


if __name__ == "__main__":
    sys.exit(main())
