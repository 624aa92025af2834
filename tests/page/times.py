"""Times from sending a photo to having its result, as a phone's browser does it: one phone, then four at once.

Usage: times.py PROGRAM BAY.toml PHOTO [COUNT]. Prints median and 95 of 100 (of COUNT photos a phone, 20 by default), in
seconds: of the answer to the upload, which comes when the record is on the disk, and of the page with the result behind it.
Needs Python's standard library alone.
"""

import http.client
import pathlib
import re
import subprocess
import sys
import tempfile
import threading
import time
import urllib.parse


class Phone:
    def __init__(self, port):
        self.port, self.cookie = port, ""
        answer, text = self.ask("GET", "/new")
        self.cookie = answer.getheader("set-cookie").split(";")[0]
        self.form = re.search(r'name="form" value="(\w+)"', text)[1]

    def ask(self, method, path, body=None, kind=None):
        line = http.client.HTTPConnection("127.0.0.1", self.port)
        heads = {"Cookie": self.cookie, "Sec-Fetch-Site": "same-origin"} | ({"Content-Type": kind} if kind else {})
        line.request(method, path, body, heads)
        answer = line.getresponse()
        return answer, answer.read().decode(errors="replace")

    def vehicle(self, name):
        """Begins one, and gives its page and the fields of its form."""
        entry = {"form": self.form, "vehicle": name, "who": "AB", "height": "650", "offset": "600"}
        answer, _ = self.ask("POST", "/new", urllib.parse.urlencode(entry), "application/x-www-form-urlencoded")
        place = answer.getheader("location")
        _, text = self.ask("GET", place)
        return place, {name: re.search(f'name="{name}" value="([^"]*)"', text)[1] for name in ("key", "seen", "lamp")}

    def photo(self, name, photo):
        """Seconds to the answer, and to the page behind it."""
        place, fields = self.vehicle(name)
        fields |= {"form": self.form, "said": "nothing"}
        parts = [f'--B\r\nContent-Disposition: form-data; name="{key}"\r\n\r\n{value}\r\n' for key, value in fields.items()]
        head = '--B\r\nContent-Disposition: form-data; name="photo"; filename="photo"\r\n\r\n'
        body = "".join([*parts, head]).encode() + photo + b"\r\n--B--\r\n"
        begun = time.monotonic()
        answer, text = self.ask("POST", place + "/photo", body, "multipart/form-data; boundary=B")
        answered = time.monotonic()
        if answer.status != 303:
            raise SystemExit(f"{answer.status}: {text}")
        _, text = self.ask("GET", place)
        if "class=\"verdict" not in text:
            raise SystemExit("the page shows no result")
        return answered - begun, time.monotonic() - begun, re.search(r"<h2>([^<]*)</h2>", text)[1]


def told(what, times):
    for name, column in (("recorded", 0), ("page shown", 1)):
        of = sorted(one[column] for one in times)
        at = lambda share: of[min(len(of) - 1, int(share * len(of)))]  # noqa: E731
        print(f"{what}, {name}: median {at(0.5):.2f} s, p95 {at(0.95):.2f} s, most {of[-1]:.2f} s")


def main():
    program, bay = (str(pathlib.Path(name).resolve()) for name in sys.argv[1:3])
    photo, count = pathlib.Path(sys.argv[3]).read_bytes(), int(sys.argv[4]) if len(sys.argv) > 4 else 20
    with tempfile.TemporaryDirectory() as folder:
        subprocess.run([program, "record", "init", "shop"], cwd=folder, check=True, stdout=subprocess.DEVNULL)
        server = subprocess.Popen([program, "serve", "--bay", bay, "--record", "shop", "--port", "0"], cwd=folder,
                                  stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True)
        try:
            port = int(re.search(r":(\d+)/", server.stdout.readline())[1])
            phones = [Phone(port) for _ in range(4)]
            results = phones[0].photo("warm", photo)
            print(f"{pathlib.Path(sys.argv[3]).name}, {len(photo) / 1e6:.1f} MB: {results[2]}")
            told("one phone", [phones[0].photo(f"one {n}", photo) for n in range(count)])
            times = []
            sending = [threading.Thread(target=lambda phone=phone, n=n: times.extend(
                phone.photo(f"four {n} {k}", photo) for k in range(count // 2))) for n, phone in enumerate(phones)]
            for one in sending:
                one.start()
            for one in sending:
                one.join()
            told("four phones at once", times)
        finally:
            server.terminate()
            server.wait(timeout=20)


if __name__ == "__main__":
    main()
