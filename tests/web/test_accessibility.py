"""The pages for every hand and eye: large targets, nothing off the screen, no axe-core violation.

Checked against WCAG 2.2 A and AA with axe-core; target size against the 44 CSS pixels of WCAG 2.2,
success criterion 2.5.5.
"""

import pytest

pytestmark = pytest.mark.browser


@pytest.mark.parametrize("size", ["phone", "tablet", "laptop"])
def test_every_target_is_large_and_nothing_runs_off_the_screen(open_page, examination, size):
    page = open_page(f"/examinations/{examination}", size=size)
    page.evaluate("document.querySelectorAll('details').forEach(d => { d.open = true })")
    page.locator(".fetch").first.wait_for(state="detached")
    page.locator(".htmx-request").first.wait_for(state="detached")
    small = page.evaluate(
        """() => [...document.querySelectorAll('button, .test summary, .group summary, .parts a,'
             + ' .links a, .dock a, .next-tests a, .spot, .onward, select, textarea,'
             + ' input:not([type])')]
           .filter(e => e.checkVisibility({contentVisibilityAuto: false}) && !e.disabled)
           .map(e => [e, e.getBoundingClientRect()])
           .filter(([e, box]) => box.width && (box.width < 43.5 || box.height < 43.5))
           .map(([e, box]) => e.outerHTML.slice(0, 90) + ` ${box.width}x${box.height}`)"""
    )
    assert small == []
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing_on_any_page(open_page, app, address, scheme):
    from axe_playwright_python.sync_playwright import Axe

    axe = Axe()
    tags = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
    every_rule = {"type": "tag", "values": tags}
    # Dark differs from light in its colours alone.
    colours = {"type": "rule", "values": ["color-contrast", "link-in-text-block"]}
    options = {
        "resultTypes": ["violations"],
        "runOnly": every_rule if scheme == "light" else colours,
    }
    head = next(h for h in app.state.store.examinations() if "Penhallow" in h.label)
    place = f"/examinations/{head.id}"
    pages = ["/", "/new", "/about", "/sources", "/catalogue", "/catalogue/rinne", "/nowhere"]
    pages += ["/explore", "/settings", "/away"]
    pages += [f"{place}/note", f"{place}/history", f"{place}/where"]
    # The policy of the pages forbids the checker's own script; it is lifted for the checker alone.
    page = open_page(scheme=scheme, bypass_csp=True)

    def violations(where: str) -> list[str]:
        found = axe.run(page, options=options).response["violations"]
        return [
            f"{where}: {v['id']}: {node['html'][:120]} {node['failureSummary'][:200]}"
            for v in found
            for node in v["nodes"]
        ]

    wrong: list[str] = []
    for path in pages:
        page.goto(address + path)
        wrong += violations(path)
    # Tall enough for the whole page, or the dock would lie over whatever happens to be below it.
    page.set_viewport_size({"width": 1440, "height": 9000})
    page.goto(address + place)
    wrong += violations("examination, closed")
    page.locator("#group-pupils > details > summary").click()
    page.evaluate(
        "document.querySelectorAll('#group-pupils details:not(.further), #story details,"
        " #shorthand details, .alert, .keys').forEach(d => { d.open = true })"
    )
    wrong += violations("examination, open")
    page.evaluate(
        "document.querySelectorAll('.group > details').forEach(d => { d.open = false });"
        " document.querySelectorAll('.group:has(.picture) > details, .picture')"
        ".forEach(d => { d.open = true })"
    )
    page.locator("#where-pictures figure").first.wait_for()
    page.evaluate(
        """async () => { behind = true; for (const refused of ["", "found sideways"])
             await kept("readwrite", entries => entries.add(
               { action: "/nowhere", body: "", words: "Weber: midline", refused }));
             await showWaiting(); }"""
    )
    wrong += violations("examination, pictures, entries waiting")
    page.evaluate("waiting().then(all => all.forEach(one => forget(one.number)))")
    phone = open_page(place, size="phone", scheme=scheme, bypass_csp=True)
    phone.locator(".dock .where").tap()
    page = phone
    wrong += violations("results on a phone")
    open_page.trouble.clear()  # the browser logs the 404 that was asked for
    assert not wrong, "\n".join(wrong)
