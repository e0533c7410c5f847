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
           .filter(e => e.checkVisibility() && !e.disabled && !e.matches('.unseen'))
           .map(e => [e, e.getBoundingClientRect()])
           .filter(([e, box]) => box.width && (box.width < 43.5 || box.height < 43.5))
           .map(([e, box]) => e.outerHTML.slice(0, 90) + ` ${box.width}x${box.height}`)"""
    )
    assert small == []
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")


TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
OPTIONS = {
    "light": {"resultTypes": ["violations"], "runOnly": {"type": "tag", "values": TAGS}},
    # Dark differs from light in its colours alone.
    "dark": {
        "resultTypes": ["violations"],
        "runOnly": {"type": "rule", "values": ["color-contrast", "link-in-text-block"]},
    },
}
PAGES = ["/", "/new", "/about", "/sources", "/catalogue", "/catalogue/rinne", "/nowhere"]
PAGES += ["/explore", "/settings", "/away"]


@pytest.fixture
def violations(scheme):
    """Give what axe-core finds on a page as it stands, or in one part of it."""
    from axe_playwright_python.sync_playwright import Axe

    axe = Axe()

    def found(page, where: str, within: str | None = None) -> list[str]:
        answer = axe.run(page, context=within, options=OPTIONS[scheme])
        return [
            f"{where}: {v['id']}: {node['html'][:120]} {node['failureSummary'][:200]}"
            for v in answer.response["violations"]
            for node in v["nodes"]
        ]

    return found


def settle(page) -> None:
    """Wait for the pictures of the places, and make the window as tall as the page.

    What sticks to the bottom of a smaller window lies over whatever happens to be there, and the
    pictures move what is below them when they come.
    """
    page.locator("#where-pictures:not(.stale) figure").first.wait_for()
    tall = page.evaluate("document.documentElement.scrollHeight")
    page.set_viewport_size({"width": 1440, "height": tall + 200})


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing_on_any_page(open_page, app, address, scheme, violations):
    head = next(h for h in app.state.store.examinations() if "Penhallow" in h.label)
    place = f"/examinations/{head.id}"
    # The policy of the pages forbids the checker's own script; it is lifted for the checker alone.
    page = open_page(scheme=scheme, bypass_csp=True)
    wrong: list[str] = []
    for path in [*PAGES, f"{place}/note", f"{place}/history", f"{place}/where"]:
        page.goto(address + path)
        wrong += violations(page, path)
        if path == "/nowhere":
            open_page.trouble.clear()  # the browser logs the 404 that was asked for
    assert not wrong, "\n".join(wrong)


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing_on_any_state_of_an_examination(open_page, app, scheme, violations):
    head = next(h for h in app.state.store.examinations() if "Penhallow" in h.label)
    place = f"/examinations/{head.id}"
    page = open_page(place, scheme=scheme, bypass_csp=True)
    settle(page)
    wrong = violations(page, "closed")
    page.locator("#group-pupils > details > summary").click()
    page.evaluate(
        "document.querySelectorAll('#group-pupils details:not(.further), #story details,"
        " #shorthand details, .alert, .keys').forEach(d => { d.open = true })"
    )
    settle(page)
    wrong += violations(page, "open")
    page.evaluate(
        "document.querySelectorAll('.group > details').forEach(d => { d.open = false });"
        " document.querySelectorAll('.group:has(.picture) > details, .picture')"
        ".forEach(d => { d.open = true })"
    )
    page.evaluate(
        """async () => { behind = true; for (const refused of ["", "found sideways"])
             await kept("readwrite", entries => entries.add(
               { action: "/nowhere", body: "", words: "Weber: midline", refused }));
             await showWaiting(); }"""
    )
    settle(page)
    wrong += violations(page, "pictures, entries waiting")
    page.evaluate("waiting().then(all => all.forEach(one => forget(one.number)))")
    phone = open_page(place, size="phone", scheme=scheme, bypass_csp=True)
    phone.locator("#where-pictures:not(.stale) figure").first.wait_for(state="attached")
    phone.locator(".dock .where").tap()
    wrong += violations(phone, "results on a phone", "#results")
    phone.locator("#results .close").tap()
    phone.locator("#story > details > summary").tap()
    phone.locator("#age").tap()
    wrong += violations(phone, "keys for touch", "#keypad")
    assert not wrong, "\n".join(wrong)
