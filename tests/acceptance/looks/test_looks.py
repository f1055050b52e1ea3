"""Every kind of page in every view: no fault that an eye would see, and its picture kept to be looked at."""

import pytest

from pages import KINDS
from views import VIEWS, faults, show


@pytest.mark.parametrize("kind", KINDS)
def test_a_page_has_no_fault_in_any_view(kind, browser, pages, gallery):
    page = pages.page(kind)
    found = []
    for view in VIEWS:
        show(browser, page, view)
        browser.picture(gallery / f"{kind}.{view.name}.png")
        found += [f"{view.name}: {fault}" for fault in faults(browser, view)]
        if view.print:
            browser.paper(gallery / f"{kind}.pdf")
    assert not found, "\n".join(found)


@pytest.mark.parametrize("kind", KINDS)
def test_a_page_warns_of_the_bench_and_defers_to_local_rules(kind, pages):
    text = pages.page(kind).read_text()
    end = text[text.index('<section id="cautions">'):]
    for words in ("Bias voltage", "Radioactive sources", "beam area", "interlock", "The rules of your own place"):
        assert words in end


# A fault each, put into a page that has none: (style, script, what must be told).
FAULTS = {
    "wide": (".answer { width: 3000px; max-width: none }", "", "page too wide"),
    "over": ("figcaption { margin-top: -12rem }", "", "over one another"),
    "over_cells": ("td { position: relative; left: -4rem } td:first-child { left: 0 }", "", "over one another"),
    "cut": ("h1 { height: 1rem; overflow: hidden }", "", "cut off"),
    "cut_on_a_plot": ("", "const { ctx } = Chart.getChart(document.querySelector('canvas')); ctx.fillText('a name', -20, 50)",
                      "cut off: “a name” on a plot"),
    "pale": (".note, figcaption { color: #a0a0a0 }", "", "pale text"),
    "pale_line": ("", "const one = Chart.getChart(document.querySelector('canvas')); one.data.datasets[0].borderColor = '#ffe9a0'",
                  "pale line"),
    "small": (".csv { line-height: 10px; padding: 0 }", "", "small target"),
    "empty": ("", "const one = Chart.getChart(document.querySelector('canvas')); one.data.datasets = []; one.update('none')",
              "empty plot"),
    "no_caption": ("", "document.querySelector('figcaption').textContent = 'A plot.'", "no caption"),
    "name_over_points": ("", "const { ctx, chartArea } = Chart.getChart(document.querySelector('canvas')); "
                             "ctx.font = '99px sans-serif'; ctx.fillText('name name', chartArea.left + 5, chartArea.bottom - 20); "
                             "ctx.fillText('name name', chartArea.left + 5, chartArea.bottom - 100)", "over points"),
    "logged": ("", "console.error('a trouble')", "a trouble"),
    "thrown": ("", "null.trouble", "thrown"),
    "asked": ("", "document.body.append(Object.assign(new Image(), { src: 'https://example.org/one.png' }))", "request"),
}


@pytest.mark.parametrize("fault", FAULTS)
def test_a_fault_put_into_a_page_is_told(fault, browser, pages, tmp_path):
    style, script, told = FAULTS[fault]
    text = pages.page("chain" if fault == "over_cells" else "agree").read_text()
    text = text.replace('<meta http-equiv="Content-Security-Policy"', "<meta data-none")  # it would refuse what follows
    text = text.replace("</body>", f"<style>{style}</style><script>{{ {script} }}</script></body>")
    faulty = tmp_path / "faulty.html"
    faulty.write_text(text)
    show(browser, faulty, VIEWS[0])
    found = faults(browser, VIEWS[0])
    assert any(told in one for one in found), found
