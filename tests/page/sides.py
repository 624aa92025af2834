"""What goes on beside the walk through an inspection: a phone that comes in with a code, and a fixed camera."""

import contextlib
import re
import shutil
import socket
import subprocess
import time


@contextlib.contextmanager
def serving(program, folder, bay, log, *more):
    """A server on a store of its own; gives what it printed and its port."""
    subprocess.run([program, "record", "init", folder / "shop"], check=True, stdout=subprocess.DEVNULL)
    with open(log, "a", encoding="utf-8") as said:
        server = subprocess.Popen([program, "serve", "--bay", bay, "--record", folder / "shop", "--port", "0", *more],
                                  stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=said, text=True)
        try:
            greeting = ""
            while "End with" not in greeting:
                line = server.stdout.readline()
                if not line:
                    raise SystemExit(f"the server does not start: {greeting}")
                greeting += line
            yield greeting, int(re.search(r"127\.0\.0\.1:(\d+)/", greeting)[1])
        finally:
            server.terminate()
            server.wait(timeout=20)


def has_own_address():
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))
        except OSError:
            return False
        return not probe.getsockname()[0].startswith(("127.", "0."))


def code_lets_in(w, greeting):
    """The code behind the address's # lets in, is gone from the address and from what goes back, and is never sent in one."""
    place = re.search(r"Or type: (\S+)", greeting)[1]
    base, code = place.split("#")
    w.tab("stranger")
    seen = len(w.browser.events)
    w.browser.ask("Page.navigate", url=base)
    w.until("document.body.innerText.includes('not known here')", "to be asked for a code")
    w.look("stranger")
    # Another fragment of the same page, as a scanner opens it.
    w.browser.ask("Page.navigate", url=place)
    w.until("document.body.innerText.includes('New inspection')", "to be let in")
    if code in w.js("location.href + document.referrer + document.documentElement.outerHTML"):
        w.found.append("the code is still in the page or its address")
    entries = w.browser.ask("Page.getNavigationHistory")["entries"]
    if any(code in entry["url"] for entry in entries if entry["id"] != entries[-1]["id"]):
        w.found.append("the code is still in what one goes back to")
    for event in w.browser.events[seen:]:
        if event.get("method") == "Network.requestWillBeSent":
            request = event["params"]["request"]
            if code in request["url"] or code in str(request["headers"]):
                w.found.append("the code was sent in an address or a header")
    # The same code again: the page says that it is spent, and one is still in.
    w.js(f"fetch('/enter', {{ method: 'POST', body: new URLSearchParams({{ code: '{code}' }}) }}).then(r => r.status)") == 401 or \
        w.found.append("a code counts twice")
    w.press("Let a phone in")
    w.until("!!document.querySelector('.qr')", "the code for another phone")
    w.look("let-in")


def fixed_camera(w, port, watched, photo):
    """A page that waits shows the camera's photo by itself, also when the camera writes one name over and over."""
    base, w.base = w.base, f"http://127.0.0.1:{port}"
    try:
        w.tab("watching")
        w.go("/new")
        w.fill(vehicle="order 14", who="AB", height="650", offset="600")
        w.press("Begin")
        for n, words in enumerate(("to turn", "to turn")):
            w.until("!!document.querySelector('#file')", "the inspection")
            w.press("fixed camera")
            w.until("document.body.innerText.includes('Waiting for the fixed camera')", "to wait for the camera")
            if not n:
                w.look("waiting")
            # Two looks at what is there, so that it is the new one that counts.
            time.sleep(1.2)
            w.js("window.isOld = true; 1")
            shutil.copyfile(photo, watched / "latest.jpg")
            w.until(f"!window.isOld && document.readyState === 'complete' && document.body.innerText.includes('photo {n + 1}')", f"photo {n + 1} of the camera")
            w.expect(words)
    finally:
        w.base = base
