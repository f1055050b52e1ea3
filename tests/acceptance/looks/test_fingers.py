"""A finger on a phone: taps pick and measure, two fingers zoom, one scrolls the page. Touches go in where the browser
takes them from a screen, so that it decides what scrolls as on a phone."""

import pytest

from views import VIEWS, show

PHONE = next(view for view in VIEWS if view.phone)

PLOT = """(() => {{
  const canvas = document.querySelector("{figure} canvas");
  canvas.scrollIntoView({{ block: "center" }});
  const {{ left, top }} = canvas.getBoundingClientRect();
  const {{ scales: {{ x, y }}, chartArea, data }} = Chart.getChart(canvas);
  const area = {{ left: left + chartArea.left, right: left + chartArea.right, top: top + chartArea.top, bottom: top + chartArea.bottom }};
  const points = data.datasets[0].data.filter((point) => point.at !== undefined && point.y > 0)
    .map((point) => [left + x.getPixelForValue(point.x), top + y.getPixelForValue(point.y), point.y]);
  return {{ ...area, points, x: [x.min, x.max], y: [y.min, y.max], scrolled: scrollY }};
}})()"""


@pytest.fixture
def traces(browser, pages):
    show(browser, pages.page("traces"), PHONE)
    return browser


def plot(browser, figure):
    """Where a plot stands in the window, the points of its first series in pixels, its ranges, how far the page is scrolled."""
    return browser.run(PLOT.format(figure=figure))


def touch(browser, kind, *places):
    points = [{"x": x, "y": y, "id": number} for number, (x, y) in enumerate(places)]
    browser.ask("Input.dispatchTouchEvent", type=kind, touchPoints=points)


def settled(browser):
    browser.run("new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(() => done())))")


def tap(browser, x, y):
    touch(browser, "touchStart", (x, y))
    touch(browser, "touchEnd")
    settled(browser)


def move(browser, begin, end, steps=8):
    """Fingers go from their first places to their last."""
    touch(browser, "touchStart", *begin)
    for step in range(1, steps + 1):
        touch(browser, "touchMove", *[tuple(a + (b - a) * step / steps for a, b in zip(one, other))
                                      for one, other in zip(begin, end)])
    touch(browser, "touchEnd")
    settled(browser)


def span(ends):
    return ends[1] - ends[0]


def test_a_tap_on_a_bin_brings_its_traces(traces):
    seen = plot(traces, "#plot-1")
    x, y, count = max(seen["points"], key=lambda point: point[2])
    tap(traces, x, min(y + 5, seen["bottom"] - 2))
    rule = traces.run("document.getElementById('rule').textContent")
    assert rule.startswith("Picked: the bin at") and f"which holds {count:.0f};" in rule


def test_taps_on_the_trace_set_both_cursors(traces):
    seen = plot(traces, "#trace")
    middle = (seen["top"] + seen["bottom"]) / 2
    ends = [seen["left"] + share * (seen["right"] - seen["left"]) for share in (0.25, 0.75)]
    for x in ends:
        tap(traces, x, middle)
    read = traces.run("document.getElementById('measured').textContent")
    assert "A: " in read and "B: " in read and "B − A: " in read
    # A pixel of the plot is what a finger can be held to.
    between_s = traces.run("view.cursors.b - view.cursors.a")
    factor = traces.run("plots[Number(document.getElementById('trace').dataset.plot)].x.factor")
    pixel_s = span(seen["x"]) * factor / (seen["right"] - seen["left"])
    assert abs(between_s - 0.5 * span(seen["x"]) * factor) < 2 * pixel_s


@pytest.mark.parametrize("figure", ["#trace", "#plot-1"])
def test_two_fingers_zoom_into_what_is_between_them_and_the_page_stands_still(figure, traces):
    seen = plot(traces, figure)
    x, y = (seen["left"] + seen["right"]) / 2, (seen["top"] + seen["bottom"]) / 2
    move(traces, [(x - 40, y - 30), (x + 40, y + 30)], [(x - 80, y - 60), (x + 80, y + 60)])
    zoomed = plot(traces, figure)
    for axis in ("x", "y"):
        assert span(zoomed[axis]) == pytest.approx(span(seen[axis]) / 2, rel=0.02)  # fingers twice as far apart
        assert sum(zoomed[axis]) == pytest.approx(sum(seen[axis]), abs=0.02 * span(seen[axis]))
    assert zoomed["scrolled"] == seen["scrolled"]
    assert not traces.run(f"document.querySelector('{figure} .whole').hidden")
    # Together they shift it.
    move(traces, [(x - 40, y - 30), (x + 40, y + 30)], [(x, y - 30), (x + 80, y + 30)])
    shifted = plot(traces, figure)
    pixel = span(zoomed["x"]) / (seen["right"] - seen["left"])
    assert shifted["x"][0] == pytest.approx(zoomed["x"][0] - 40 * pixel, abs=2 * pixel)
    assert span(shifted["x"]) == pytest.approx(span(zoomed["x"]), rel=0.02)


@pytest.mark.parametrize("figure", ["#trace", "#plot-1"])
def test_one_finger_over_a_plot_scrolls_the_page_and_zooms_nothing(figure, traces):
    seen = plot(traces, figure)
    x, y = (seen["left"] + seen["right"]) / 2, (seen["top"] + seen["bottom"]) / 2
    move(traces, [(x, y)], [(x, y - 150)])
    scrolled = traces.run("scrollY")
    assert scrolled > seen["scrolled"] + 75
    after = plot(traces, figure)
    assert (after["x"], after["y"]) == (seen["x"], seen["y"])


def test_both_pulses_of_a_pair_are_laid_on_their_times(traces):
    """In a list of pairs each pulse has its partner on the page; both rise through the same share at 0."""
    value = traces.run("[...document.getElementById('group').options].findIndex((one) => / less .*est/.test(one.textContent))")
    assert value >= 0
    traces.run(f"part('group').value = '{value}'; takeGroup()")
    box = traces.run("(() => { part('both').scrollIntoView({ block: 'center' }); const { left, top, width, height } ="
                     " part('both').getBoundingClientRect(); return [left + width / 2, top + height / 2]; })()")
    tap(traces, *box)
    title = traces.run("document.querySelector('#trace h3').textContent")
    assert " and " in title
    drawn = traces.run("Chart.getChart(document.querySelector('#trace canvas')).data.datasets.map(({ label, data }) => "
                       "({ label, points: data.map(({ x, y }) => [x, y]) }))")
    assert len(drawn) == 2 and drawn[0]["label"] != drawn[1]["label"]
    for one in drawn:
        before = [y for x, y in one["points"] if x <= 0][-1]
        after = [y for x, y in one["points"] if x >= 0][0]
        # A time of the edge lies between the foot and the top; the noise of these pulses is below a tenth of them.
        assert before < 0.9 and after > 0.1, one["label"]
        assert 0.8 < max(y for _, y in one["points"]) < 1.3, one["label"]
    assert traces.run("document.getElementById('measured').textContent").count("ns") == 2
    assert traces.complaints() == []


def test_the_page_can_be_worked_by_keys_alone(traces):
    """Tab comes to every button, list and plot, and what has the focus shows it."""
    there = traces.run("[...document.querySelectorAll('button, select, a, summary, canvas')]"
                       ".filter((one) => one.checkVisibility() && !one.disabled).length")
    traces.run("scrollTo(0, 0); document.activeElement.blur()")
    met = set()
    for _ in range(there + 20):  # regions that scroll take the focus too
        for kind in ("rawKeyDown", "keyUp"):
            traces.ask("Input.dispatchKeyEvent", type=kind, key="Tab", windowsVirtualKeyCode=9)
        number, tag, outline = traces.run(
            "(() => { const one = document.activeElement; return [[...document.querySelectorAll('*')].indexOf(one),"
            " one.tagName, getComputedStyle(one).outlineStyle]; })()")
        if tag in ("BUTTON", "SELECT", "A", "SUMMARY", "CANVAS"):
            assert outline != "none", tag
            met.add(number)
    assert len(met) == there
