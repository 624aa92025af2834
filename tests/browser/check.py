"""Opens a page at two widths, light and dark, asserts what must hold, and writes screenshots.

Usage: check.py BROWSER PAGE.html FOLDER. Talks to the browser through its debugging pipe (file descriptors 3 and 4,
messages ended by a zero byte), so nothing but Python's standard library is needed and no port is opened.
"""

import base64
import json
import os
import pathlib
import subprocess
import sys
import tempfile

# What the page must keep to; each expression gives a list of what is wrong.
CHECKS = {
    "the page scrolls sideways": """document.documentElement.scrollWidth > innerWidth
        ? [`${document.documentElement.scrollWidth} px in ${innerWidth}`] : []""",
    "an svg has no title or role": """[...document.querySelectorAll('svg')]
        .filter(s => s.getAttribute('role') !== 'img' || !s.querySelector(':scope > title')?.textContent)
        .map(s => s.outerHTML.slice(0, 80))""",
    "an id stands twice": """[...document.querySelectorAll('[id]')].map(e => e.id)
        .filter((id, n, all) => all.indexOf(id) !== n)""",
    "a link leads nowhere": """[...document.querySelectorAll('a')]
        .filter(a => !document.querySelector(a.getAttribute('href'))).map(a => a.outerHTML)""",
    "a picture is not shown or has no words": """[...document.querySelectorAll('img')]
        .filter(i => !i.alt || (i.complete && i.naturalWidth === 0)).map(i => i.alt || 'no alt')""",
    "a box that scrolls cannot be reached by keyboard": """[...document.querySelectorAll('*')]
        .filter(e => e.scrollWidth > e.clientWidth + 1 && /auto|scroll/.test(getComputedStyle(e).overflowX)
            && e.tabIndex < 0).map(e => e.className || e.tagName)""",
    "contrast is under 4.5": """(() => {
        const rgb = t => (t.match(/[\\d.]+/g) || []).map(Number);
        const lum = c => c.slice(0, 3).map(v => v / 255).map(v => v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4)
            .reduce((sum, v, n) => sum + v * [0.2126, 0.7152, 0.0722][n], 0);
        const ground = e => { for (; e; e = e.parentElement) {
            const c = rgb(getComputedStyle(e).backgroundColor); if (c.length === 3 || c[3] > 0) return c; }
            return [255, 255, 255]; };
        const wrong = new Set();
        for (const e of document.querySelectorAll('body *')) {
            if (![...e.childNodes].some(n => n.nodeType === 3 && n.data.trim()) || ['title', 'desc'].includes(e.tagName)) continue;
            const style = getComputedStyle(e);
            const [a, b] = [lum(rgb(e.ownerSVGElement ? style.fill : style.color)), lum(ground(e))];
            const ratio = (Math.max(a, b) + 0.05) / (Math.min(a, b) + 0.05);
            if (ratio < 4.5) wrong.add(`${e.tagName}.${e.getAttribute('class')}: ${ratio.toFixed(2)}`);
        }
        return [...wrong]; })()""",
}


class Browser:
    """A browser behind its debugging pipe."""

    def __init__(self, program, profile):
        to_browser, self.out = os.pipe()
        self.inn, from_browser = os.pipe()

        def place_pipes():
            # High numbers first: the pipes may be 3 or 4 themselves.
            high = [os.dup2(to_browser, 103), os.dup2(from_browser, 104)]
            os.dup2(high[0], 3)
            os.dup2(high[1], 4)

        arguments = ["--headless=new", "--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage", "--no-first-run",
                     "--disable-background-networking", f"--user-data-dir={profile}", "--remote-debugging-pipe", "about:blank"]
        self.process = subprocess.Popen([program, *arguments], preexec_fn=place_pipes, close_fds=False,
                                        stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        os.close(to_browser)
        os.close(from_browser)
        self.count, self.rest, self.events, self.session = 0, b"", [], None

    def read(self):
        while b"\0" not in self.rest:
            piece = os.read(self.inn, 1 << 16)
            if not piece:
                raise SystemExit("the browser ended")
            self.rest += piece
        message, self.rest = self.rest.split(b"\0", 1)
        return json.loads(message)

    def ask(self, method, **parameters):
        self.count += 1
        message = {"id": self.count, "method": method, "params": parameters}
        if self.session:
            message["sessionId"] = self.session
        text = json.dumps(message).encode() + b"\0"
        while text:
            text = text[os.write(self.out, text):]
        while True:
            answer = self.read()
            if answer.get("id") == self.count:
                if "error" in answer:
                    raise SystemExit(f"{method}: {answer['error']}")
                return answer["result"]
            self.events.append(answer)

    def wait_for(self, method):
        while not any(event.get("method") == method for event in self.events):
            self.events.append(self.read())

    def value(self, expression):
        answer = self.ask("Runtime.evaluate", expression=expression, returnByValue=True, awaitPromise=True)
        if "exceptionDetails" in answer:
            raise SystemExit(f"{expression[:60]}: {answer['exceptionDetails']}")
        return answer["result"].get("value")


def noise(events):
    """Console messages, exceptions and requests that are not the page itself or data inside it."""
    for event in events:
        method, p = event.get("method"), event.get("params", {})
        if method in ("Runtime.consoleAPICalled", "Runtime.exceptionThrown", "Log.entryAdded"):
            yield f"console: {json.dumps(p)[:300]}"
        elif method == "Network.requestWillBeSent":
            url = p["request"]["url"]
            if not url.startswith("data:") and not (url.startswith("file:") and p.get("type") == "Document"):
                yield f"request: {url[:200]}"


def look(browser, page, width, scheme, folder):
    browser.events.clear()
    browser.ask("Emulation.setDeviceMetricsOverride", width=width, height=900, deviceScaleFactor=1, mobile=width < 600)
    browser.ask("Emulation.setEmulatedMedia", features=[{"name": "prefers-color-scheme", "value": scheme}])
    browser.ask("Page.navigate", url=pathlib.Path(page).resolve().as_uri())
    browser.wait_for("Page.loadEventFired")
    browser.value("Promise.all([...document.images].map(i => { i.loading = 'eager'; return i.decode().catch(() => 0); })).then(() => 1)")
    browser.value("document.querySelectorAll('details').forEach(d => { d.open = true; })")
    found = [f"{what}: {', '.join(map(str, wrong[:5]))}" for what, js in CHECKS.items() if (wrong := browser.value(js))]
    # One Tab must reach the link that skips to the figures, and show it.
    for kind in ("keyDown", "keyUp"):
        browser.ask("Input.dispatchKeyEvent", type=kind, key="Tab", code="Tab", windowsVirtualKeyCode=9)
    if not browser.value("document.activeElement.className === 'skip' && document.activeElement.getBoundingClientRect().left >= 0"):
        found.append("Tab does not reach the skip link first")
    height = min(browser.value("document.documentElement.scrollHeight"), 16000)
    picture = browser.ask("Page.captureScreenshot", format="png", captureBeyondViewport=True,
                          clip={"x": 0, "y": 0, "width": width, "height": height, "scale": 1})
    (folder / f"score-{width}-{scheme}.png").write_bytes(base64.b64decode(picture["data"]))
    found += noise(browser.events)
    return [f"{width} px, {scheme}: {line}" for line in found]


def main():
    program, page, folder = sys.argv[1], sys.argv[2], pathlib.Path(sys.argv[3])
    found = []
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as profile:
        browser = Browser(program, profile)
        try:
            target = browser.ask("Target.createTarget", url="about:blank")["targetId"]
            browser.session = browser.ask("Target.attachToTarget", targetId=target, flatten=True)["sessionId"]
            for domain in ("Page", "Runtime", "Log", "Network"):
                browser.ask(f"{domain}.enable")
            for width in (360, 1400):
                for scheme in ("light", "dark"):
                    found += look(browser, page, width, scheme, folder)
        finally:
            browser.process.terminate()
            browser.process.wait(timeout=20)
    for line in found:
        print(line)
    print(f"{'FAILED' if found else 'good'}: {page}, screenshots in {folder}")
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main())
