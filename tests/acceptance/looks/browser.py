"""A Chromium without a window, told what to do over a pair of pipes by its DevTools protocol; nothing is listened on.

The protocol: https://chromedevtools.github.io/devtools-protocol/ (messages of JSON, each ended by a zero byte).
"""

import base64
import itertools
import json
import os
import select
import shutil
import subprocess
import tempfile

PATIENCE_S = 120  # only ends a browser that hangs
WITHOUT_SERVICES = ["--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-sync",
                    "--disable-background-networking", "--disable-component-update", "--disable-dev-shm-usage",
                    "--hide-scrollbars", "--force-color-profile=srgb"]


def have_browser():
    return shutil.which("chromium") is not None


class Browser:
    """A browser with a profile of its own and one page in it."""

    def __init__(self):
        to_read, self.to_browser = os.pipe()
        self.from_browser, to_write = os.pipe()
        self.profile = tempfile.TemporaryDirectory(prefix="firstedge_looks_", ignore_cleanup_errors=True)
        # The browser reads file descriptor 3 and writes 4.
        self.process = subprocess.Popen(
            ["bash", "-c", f'exec chromium "$@" 3<&{to_read} 4>&{to_write}', "chromium", *WITHOUT_SERVICES,
             f"--user-data-dir={self.profile.name}", "--remote-debugging-pipe", "about:blank"],
            pass_fds=(to_read, to_write), stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        os.close(to_read)
        os.close(to_write)
        self.buffer = b""
        self.numbers = itertools.count(1)
        self.session = None
        self.told = []  # what the browser said of its own accord
        target = self.ask("Target.createTarget", url="about:blank")["targetId"]
        self.session = self.ask("Target.attachToTarget", targetId=target, flatten=True)["sessionId"]
        for domain in ("Page", "Runtime", "Log", "Network"):
            self.ask(f"{domain}.enable")

    def close(self):
        os.close(self.to_browser)  # it ends when nobody speaks to it
        self.process.wait(PATIENCE_S)
        os.close(self.from_browser)
        self.profile.cleanup()

    def message(self):
        while b"\0" not in self.buffer:
            ready, _, _ = select.select([self.from_browser], [], [], PATIENCE_S)
            part = os.read(self.from_browser, 1 << 20) if ready else b""
            if not part:
                raise RuntimeError("the browser ended or hangs")
            self.buffer += part
        text, self.buffer = self.buffer.split(b"\0", 1)
        return json.loads(text)

    def ask(self, method, **parameters):
        """Does one thing and gives its answer."""
        number = next(self.numbers)
        order = {"id": number, "method": method, "params": parameters}
        if self.session:
            order["sessionId"] = self.session
        text = json.dumps(order).encode() + b"\0"
        while text:
            text = text[os.write(self.to_browser, text):]
        while True:
            answer = self.message()
            if answer.get("id") == number:
                if "error" in answer:
                    raise RuntimeError(f"{method}: {answer['error']}")
                return answer["result"]
            self.told.append(answer)

    def wait_for(self, event):
        while not any(one.get("method") == event for one in self.told):
            self.told.append(self.message())

    def open(self, page):
        """Opens a file and waits until it has loaded and its scripts have run."""
        self.told.clear()
        self.ask("Page.navigate", url=page.resolve().as_uri())
        self.wait_for("Page.loadEventFired")

    def run(self, script):
        """The value of an expression in the page, awaited if it is a promise."""
        answer = self.ask("Runtime.evaluate", expression=script, returnByValue=True, awaitPromise=True)
        if "exceptionDetails" in answer:
            raise RuntimeError(answer["exceptionDetails"]["exception"].get("description"))
        return answer["result"].get("value")

    def run_first(self, script):
        """Runs a script in every page that is opened from now on, before the page's own."""
        self.ask("Page.addScriptToEvaluateOnNewDocument", source=script)

    def complaints(self):
        """What the page logged, threw or asked the network for since it was opened."""
        words = []
        for one in self.told:
            said = one.get("params", {})
            if one.get("method") == "Runtime.consoleAPICalled":
                words.append(f"console: {[argument.get('value') for argument in said['args']]}")
            elif one.get("method") == "Runtime.exceptionThrown":
                details = said["exceptionDetails"]
                words.append(f"thrown: {details.get('exception', {}).get('description', details['text'])}")
            elif one.get("method") == "Log.entryAdded":
                words.append(f"log: {said['entry']['text']}")
            elif one.get("method") == "Network.requestWillBeSent" and said.get("type") != "Document":
                words.append(f"request: {said['request']['url'][:80]}")
        return words

    def picture(self, file):
        """The whole page as an image, as long as it is."""
        size = self.ask("Page.getLayoutMetrics")["cssContentSize"]
        clip = {"x": 0, "y": 0, "width": size["width"], "height": size["height"], "scale": 1}
        answer = self.ask("Page.captureScreenshot", format="png", captureBeyondViewport=True, clip=clip,
                          optimizeForSpeed=True)
        file.write_bytes(base64.b64decode(answer["data"]))

    def paper(self, file):
        """The page as it is printed: the style sheet says the size and the margins."""
        answer = self.ask("Page.printToPDF", preferCSSPageSize=True, printBackground=False)
        file.write_bytes(base64.b64decode(answer["data"]))
