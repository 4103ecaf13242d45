"""Opens a report in a real Chromium through its DevTools pipe and uses it: hover, arrow
keys, switch of axes, zoom, maps. Prints one JSON document. Needs nothing but Python.

    python3 tests/python/drive_page.py CHROMIUM PAGE.html [FOLDER for screenshots]
"""
import base64
import fcntl
import json
import os
import pathlib
import select
import shutil
import subprocess
import sys
import tempfile
import time

FLAGS = [
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
    "--disable-default-apps", "--hide-scrollbars", "--remote-debugging-pipe",
]


class Browser:
    """The pipe: messages end with a zero byte, file 3 in, file 4 out."""

    def __init__(self, chromium):
        self.profile = tempfile.mkdtemp(prefix="holdpoint-page-")
        to_read, self.to = os.pipe()
        self.back, from_write = os.pipe()

        # Out of the way of 3 and 4, which the pipes may have got.
        to_read, from_write = (fcntl.fcntl(f, fcntl.F_DUPFD, 10) for f in (to_read, from_write))

        def files():
            os.dup2(to_read, 3)
            os.dup2(from_write, 4)

        self.process = subprocess.Popen(
            [chromium, *FLAGS, f"--user-data-dir={self.profile}", "about:blank"],
            preexec_fn=files, close_fds=False,
            stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
        )
        os.close(to_read)
        os.close(from_write)
        self.rest, self.events, self.count, self.session = b"", [], 0, None

    def message(self, until):
        while b"\0" not in self.rest:
            left = until - time.monotonic()
            if left <= 0 or not select.select([self.back], [], [], left)[0]:
                raise TimeoutError("Chromium does not answer")
            part = os.read(self.back, 1 << 20)
            if not part:
                raise RuntimeError("Chromium has ended")
            self.rest += part
        one, self.rest = self.rest.split(b"\0", 1)
        return json.loads(one)

    def call(self, method, seconds=120, **params):
        self.count += 1
        ask = {"id": self.count, "method": method, "params": params}
        if self.session:
            ask["sessionId"] = self.session
        os.write(self.to, json.dumps(ask).encode() + b"\0")
        until = time.monotonic() + seconds
        while True:
            m = self.message(until)
            if m.get("id") == self.count:
                if "error" in m:
                    raise RuntimeError(f"{method}: {m['error']}")
                return m["result"]
            if "method" in m:
                self.events.append(m)

    def run(self, script):
        r = self.call("Runtime.evaluate", expression=script, returnByValue=True, awaitPromise=True)
        if "exceptionDetails" in r:
            raise RuntimeError(f"{script[:80]}: {r['exceptionDetails']}")
        return r["result"].get("value")

    def mouse(self, kind, x, y, **more):
        self.call("Input.dispatchMouseEvent", type=kind, x=x, y=y, **more)

    def click(self, x, y):
        held = {"button": "left", "clickCount": 1}
        self.mouse("mouseMoved", x, y)
        self.mouse("mousePressed", x, y, **held)
        self.mouse("mouseReleased", x, y, **held)

    def key(self, key):
        # Tab moves the focus only by its number.
        more = {"windowsVirtualKeyCode": 9} if key == "Tab" else {}
        for kind in ("keyDown", "keyUp"):
            self.call("Input.dispatchKeyEvent", type=kind, key=key, code=key, **more)

    def end(self):
        try:
            self.session = None
            self.call("Browser.close", seconds=5)
        except (TimeoutError, RuntimeError, OSError):
            self.process.kill()
        self.process.wait(timeout=20)
        shutil.rmtree(self.profile, ignore_errors=True)


def centre(b, what, within=""):
    """Scrolls an element into view: the middle of it, and its size."""
    return b.run(f"""(() => {{
        const e = {what};
        if (!e) return null;
        e.scrollIntoView({{block: "center", behavior: "instant"}});
        const r = e.getBoundingClientRect();
        return [r.left + r.width / 2, r.top + r.height / 2, r.width, r.height];
    }})()""")


def press(b, what):
    at = centre(b, what)
    assert at, f"there is no {what}"
    b.click(at[0], at[1])


def picture(b, folder, name):
    if folder:
        shot = b.call("Page.captureScreenshot", captureBeyondViewport=True)
        pathlib.Path(folder, name).write_bytes(base64.b64decode(shot["data"]))


def charts(b, found):
    ids = b.run("[...document.querySelectorAll('figure[data-chart]')].map(f => f.id)")
    found["charts"] = len(ids)
    for name in ids:
        figure = f"document.getElementById({json.dumps(name)})"
        text = f"{figure}.querySelector('output').textContent"
        paths = b.run(f"[...{figure}.querySelectorAll('path.curve')].map(p => p.getAttribute('d').length)")
        assert paths and max(paths) > 10, f"{name}: nothing is drawn: {paths}"
        assert b.run(f"!/NaN|undefined|Infinity/.test({figure}.querySelector('.plot').innerHTML)"), name
        labels = f"{figure}.querySelector('.plot .axis').outerHTML"
        # Hover.
        x, y, w, h = centre(b, f"{figure}.querySelector('.plot svg')")
        b.mouse("mouseMoved", x, y)
        read = b.run(text)
        assert len(read) > 10, f"{name}: hover reads {read!r}"
        # Arrow keys.
        b.run(f"{figure}.querySelector('.plot svg').focus()")
        b.key("Home")
        first = b.run(text)
        b.key("ArrowRight")
        assert b.run(text) != first, f"{name}: the arrow key reads nothing new"
        # Axis switch.
        before = b.run(labels)
        buttons = b.run(f"[...{figure}.querySelectorAll('.tools .pair button')].map(b => b.getAttribute('aria-pressed'))")
        if buttons:
            other = buttons.index("false")
            press(b, f"{figure}.querySelectorAll('.tools .pair button')[{other}]")
            assert b.run(labels) != before, f"{name}: the axis did not switch"
            press(b, f"{figure}.querySelectorAll('.tools .pair button')[{1 - other}]")
            assert b.run(labels) == before, f"{name}: the axis did not switch back"
        # Zoom by a box, and back.
        x, y, w, h = centre(b, f"{figure}.querySelector('.plot svg')")
        held = {"button": "left", "clickCount": 1}
        b.mouse("mousePressed", x - w / 8, y - h / 8, **held)
        b.mouse("mouseMoved", x + w / 8, y + h / 8, button="left", buttons=1)
        b.mouse("mouseReleased", x + w / 8, y + h / 8, **held)
        assert b.run(labels) != before, f"{name}: the box did not zoom"
        press(b, f"{figure}.querySelector('.tools button[aria-label^=\"Show\"]')")
        assert b.run(labels) == before, f"{name}: the whole curve is not back"
        # A curve hidden by its legend.
        count = len(paths)
        if count > 1:
            press(b, f"{figure}.querySelector('.legend button')")
            left = b.run(f"{figure}.querySelectorAll('path.curve').length")
            assert left == count - 1, f"{name}: the legend hides nothing"
            press(b, f"{figure}.querySelector('.legend button')")
    found["read"] = read if ids else ""


def maps(b, found):
    colours = """(c) => {
        const d = c.getContext("2d").getImageData(0, 0, c.width, c.height).data, seen = new Set();
        for (let k = 0; k < d.length; k += 4) seen.add(d[k] << 16 | d[k + 1] << 8 | d[k + 2]);
        return seen.size;
    }"""
    found["maps"] = b.run("document.querySelectorAll('figure[data-maps]').length")
    found["thumbs"] = b.run("document.querySelectorAll('.sheet button').length")
    if not found["maps"]:
        return
    least = b.run(f"Math.min(...[...document.querySelectorAll('.sheet canvas')].map({colours}))")
    assert least >= 2, f"a small map is blank: {least} colours"
    large = "document.querySelector('canvas.map')"
    assert b.run(f"({colours})({large})") > 20
    out = "document.querySelector('figure[data-maps] output').textContent"
    x, y, w, h = centre(b, large)
    b.mouse("mouseMoved", x, y)
    found["map_read"] = b.run(out)
    assert "depth" in found["map_read"] and "potential" in found["map_read"], found["map_read"]
    b.run(f"{large}.focus()")
    b.key("ArrowDown")
    assert b.run(out) != found["map_read"], "the arrow key moves no probe"
    twins = b.run("document.querySelectorAll('.twins button').length")
    found["twins"] = twins
    seen = set()
    for k in range(twins):
        button = f"document.querySelectorAll('.twins button')[{k}]"
        if b.run(f"{button}.disabled"):
            continue
        press(b, button)
        assert b.run(f"{button}.getAttribute('aria-pressed')") == "true", "the result is not chosen"
        assert b.run(f"{large}.toDataURL().length") > 5000, "the map of another result is blank"
        seen.add(b.run("document.querySelector('.what').textContent"))
    found["results_seen"] = len(seen)
    what = "document.querySelector('.what').textContent"
    before = b.run(what)
    last = found["thumbs"] - 1
    press(b, f"document.querySelectorAll('.sheet button')[{last}]")
    assert b.run(what) != before, "a small map does not become the large one"
    state = f"(() => {{ const c = {large}; return c.toDataURL().length; }})()"
    before = b.run(state)
    press(b, "document.querySelector('figure[data-maps] .tools button[aria-label=\"Zoom in\"]')")
    assert b.run(state) != before, "zoom does nothing to the map"


def plain(b, found):
    """What a reader without eyes or mouse needs, and order in the document."""
    found["h1"] = b.run("document.querySelectorAll('h1').length")
    assert found["h1"] == 1
    unnamed = b.run("""[...document.querySelectorAll('svg, canvas, button')].filter(e =>
        !e.closest('[aria-hidden=true]') && !e.closest('button svg, button canvas') &&
        !(e.getAttribute('aria-label') || e.getAttribute('aria-labelledby') || e.textContent.trim()) &&
        !(e.tagName === 'CANVAS' && e.closest('button'))).map(e => e.outerHTML.slice(0, 120))""")
    assert not unnamed, f"without a name: {unnamed}"
    twice = b.run("""(() => { const ids = [...document.querySelectorAll('[id]')].map(e => e.id);
        return ids.filter((id, k) => ids.indexOf(id) !== k); })()""")
    assert not twice, f"ids are there twice: {twice}"
    dead = b.run("""[...document.querySelectorAll('a[href^="#"]')].map(a => a.hash.slice(1))
        .filter(id => !document.getElementById(id))""")
    assert not dead, f"links lead nowhere: {dead}"
    drawn = b.run("[...document.querySelectorAll('figure')].filter(f => f.dataset.drawn !== 'yes').length")
    assert drawn == 0, f"{drawn} figures are not drawn"
    found["figures"] = b.run("document.querySelectorAll('figure').length")
    found["images"] = b.run("document.querySelectorAll('img, iframe, object, embed, link').length")
    assert found["images"] == 0, "something was brought in"


def keyboard(b, found):
    """Goes through the page by Tab alone: everything that can be used is reached, says what
    it is and shows that it has the focus."""
    b.run("document.activeElement.blur(); window.scrollTo(0, 0)")
    state = """(() => {
        const e = document.activeElement;
        if (!e || e === document.body) return null;
        const s = getComputedStyle(e), all = [...document.querySelectorAll('*')];
        const ring = s.outlineStyle !== 'none' && parseFloat(s.outlineWidth) >= 1;
        const name = e.getAttribute('aria-label') || e.textContent.trim();
        return {at: all.indexOf(e), tag: e.tagName.toLowerCase(), name: name.slice(0, 80), ring};
    })()"""
    wanted = b.run("""[...document.querySelectorAll('a[href], button, summary, [tabindex="0"]')]
        .filter(e => !e.disabled && (e.tagName === 'SUMMARY' || !e.closest('details:not([open])')))
        .map(e => [...document.querySelectorAll('*')].indexOf(e))""")
    reached = []
    for _ in range(len(wanted) + 5):
        b.key("Tab")
        at = b.run(state)
        if at is None or (reached and at["at"] == reached[0]["at"]):
            break
        reached.append(at)
    assert not [r for r in reached if not r["name"]], [r for r in reached if not r["name"]]
    assert not [r for r in reached if not r["ring"]], [r for r in reached if not r["ring"]][:5]
    missed = set(wanted) - {r["at"] for r in reached}
    assert not missed, f"{len(missed)} of {len(wanted)} are not reached by Tab"
    assert [r["at"] for r in reached] == sorted(r["at"] for r in reached), "Tab jumps to and fro"
    found["tab_stops"] = len(reached)


def said(b, found):
    """What the browser tells a screen reader: every figure and picture has a name, headings
    go down one level at a time, charts and maps stand beside a table."""
    nodes = b.call("Accessibility.getFullAXTree")["nodes"]
    role = lambda n: n.get("role", {}).get("value")
    name = lambda n: n.get("name", {}).get("value", "").strip()
    pictures = [n for n in nodes if not n.get("ignored") and role(n) in
                ("figure", "img", "image", "application", "graphics-document", "Canvas")]
    found["named"] = len(pictures)
    unnamed = [(role(n), n.get("backendDOMNodeId")) for n in pictures if not name(n)]
    assert not unnamed, f"without a name: {unnamed}"
    levels = b.run("[...document.querySelectorAll('h1, h2, h3, h4')].map(h => Number(h.tagName[1]))")
    assert levels and levels[0] == 1, levels
    assert all(b - a <= 1 for a, b in zip(levels, levels[1:])), f"a level is left out: {levels}"
    assert b.run("document.documentElement.lang") == "en"
    assert b.run("document.querySelectorAll('main').length") == 1
    # The table of a sheet's charts stands above them, below their heading.
    bare = b.run("""[...document.querySelectorAll('figure[data-chart]')].filter(f => {
        for (let e = f; e && !/^H[1-6]$/.test(e.tagName); e = e.previousElementSibling) {
            if ((e === f || e.tagName !== 'FIGURE') && e.querySelector('table')) return false;
        }
        return true;
    }).map(f => f.id)""")
    assert not bare, f"charts without a table: {bare}"


def drive(chromium, page, folder):
    b = Browser(chromium)
    found = {}
    try:
        target = b.call("Target.createTarget", url="about:blank")["targetId"]
        b.session = b.call("Target.attachToTarget", targetId=target, flatten=True)["sessionId"]
        for domain in ("Page", "Runtime", "Network", "Log", "Accessibility"):
            b.call(f"{domain}.enable")
        size = {"width": 1100, "height": 900, "deviceScaleFactor": 1, "mobile": False}
        b.call("Emulation.setDeviceMetricsOverride", **size)
        url = pathlib.Path(page).resolve().as_uri()
        started = time.monotonic()
        b.call("Page.navigate", url=url)
        while b.run("document.documentElement?.dataset.ready || ''") != "yes":
            if time.monotonic() - started > 30:
                raise TimeoutError("the page is not ready after 30 s")
            time.sleep(0.02)
        found["ready_s"] = time.monotonic() - started
        time.sleep(0.1)
        plain(b, found)
        keyboard(b, found)
        said(b, found)
        picture(b, folder, "light.png")
        charts(b, found)
        maps(b, found)
        light = b.run("getComputedStyle(document.documentElement).backgroundColor")
        dark = [{"name": "prefers-color-scheme", "value": "dark"}]
        b.call("Emulation.setEmulatedMedia", features=dark)
        time.sleep(0.2)
        assert b.run("getComputedStyle(document.documentElement).backgroundColor") != light
        picture(b, folder, "dark.png")
        b.call("Emulation.setEmulatedMedia", features=[])
        b.call("Emulation.setDeviceMetricsOverride", **{**size, "width": 400})
        time.sleep(0.2)
        over = b.run("document.documentElement.scrollWidth - window.innerWidth")
        assert over <= 1, f"on a narrow screen the page is {over} px too wide"
        picture(b, folder, "narrow.png")
        left, wrong = [], []
        for e in b.events:
            p = e["params"]
            if e["method"] == "Network.requestWillBeSent":
                asked = p["request"]["url"]
                if asked != url and not asked.startswith(("data:", "about:")):
                    left.append(asked)
            elif e["method"] == "Runtime.exceptionThrown":
                wrong.append(p["exceptionDetails"])
            elif e["method"] == "Runtime.consoleAPICalled" and p["type"] in ("error", "assert", "warning"):
                wrong.append(p["args"])
            elif e["method"] == "Log.entryAdded" and p["entry"]["level"] in ("error", "warning"):
                wrong.append(p["entry"]["text"])
            elif e["method"] == "Page.javascriptDialogOpening":
                wrong.append("a dialog: " + p["message"])
        assert not left, f"requests leave the page: {left}"
        assert not wrong, f"the console says: {wrong}"
        found["bytes"] = os.path.getsize(page)
        found["good"] = True
    finally:
        b.end()
    print(json.dumps(found))


if __name__ == "__main__":
    drive(sys.argv[1], sys.argv[2], sys.argv[3] if len(sys.argv) > 3 else None)
