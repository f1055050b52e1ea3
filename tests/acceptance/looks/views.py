"""How a page is looked at: at a desk by day and by night, on a phone, on paper."""

import dataclasses
import pathlib

EYE = (pathlib.Path(__file__).parent / "eye.js").read_text()


@dataclasses.dataclass(frozen=True)
class View:
    name: str
    width: int = 1280
    height: int = 900
    theme: str = "light"
    phone: bool = False
    print: bool = False


VIEWS = [View("desk"), View("desk-dark", theme="dark"), View("phone", width=390, height=844, phone=True),
         View("paper", width=794, height=1123, print=True)]  # A4 is 210 mm by 297 mm, 96 pixels an inch


def show(browser, page, view):
    """Opens a page as the view has it."""
    browser.ask("Emulation.setDeviceMetricsOverride", width=view.width, height=view.height, deviceScaleFactor=1,
                mobile=view.phone)
    browser.ask("Emulation.setTouchEmulationEnabled", enabled=view.phone)
    wishes = [{"name": "prefers-color-scheme", "value": view.theme}]
    browser.ask("Emulation.setEmulatedMedia", media="print" if view.print else "", features=wishes)
    browser.open(page)
    if view.print:
        browser.run("dispatchEvent(new Event('beforeprint'))")
    # Charts take their size when the browser next lays the page out.
    browser.run("new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(() => done())))")


def faults(browser, view):
    """What is wrong with the page on view, in words."""
    found = browser.run(f"(() => {{ {EYE}\nreturn looked({{ print: {str(view.print).lower()} }}); }})()")
    return found + browser.complaints()
