"""Two ways to enter an examination in the browser: wholly by touch, and wholly by keys."""

from __future__ import annotations

import time
from collections.abc import Iterable
from itertools import groupby

from decussate.examination.catalogue import load_catalogue
from decussate.examination.record import Examination, Finding, Story
from decussate.web.bedside import load_parts, part_of

PAGE_ORDER = {
    test.id: n for n, test in enumerate(test for part in load_parts() for test in part.tests)
}
FURTHER = {test.id for part in load_parts() for test in part.further}
MOST_KEYS = 120
"""A walk to the next thing that takes more keys than this has lost its way."""


def until(page, truth: str) -> None:
    """Wait until an expression is true (the policy of the page forbids the driver's own wait)."""
    deadline = time.monotonic() + 30
    while not page.evaluate(truth):
        assert time.monotonic() < deadline, truth
        page.wait_for_timeout(20)


def saved(page) -> None:
    """Wait until the page has heard of everything it sent."""
    until(page, "!document.querySelector('.htmx-request')")


def in_page_order(examination: Examination) -> Iterable[tuple[str, list[Finding]]]:
    """Give the findings test by test, in the order of the page."""
    ordered = sorted(examination.present(), key=lambda found: PAGE_ORDER[found.test])
    return ((test, list(found)) for test, found in groupby(ordered, key=lambda f: f.test))


def side_key(found: Finding) -> str:
    return found.side.value if found.side else "whole"


def both_normal(findings: list[Finding]) -> bool:
    return len(findings) == 2 and all(
        f.response == "normal" and f.measurement is None for f in findings
    )


def written(value: float | str) -> str:
    return f"{value:g}" if isinstance(value, float) else value


class Touch:
    """A finger: it taps, and counts its touches. It types nothing."""

    def __init__(self, page) -> None:
        self.page = page
        self.touches = 0

    def tap(self, selector: str) -> None:
        self.page.locator(selector).tap()
        self.touches += 1

    def opened(self, box: str) -> None:
        """Open a box that is closed."""
        if self.page.locator(box).get_attribute("open") is None:
            self.tap(f"{box} > summary")

    def digits(self, field: str, number: str) -> None:
        """Enter a number on the keys of the page."""
        self.tap(field)
        for digit in number:
            self.tap(f"#keypad [data-digit='{digit}']")
        self.tap("#keypad .done")

    def story(self, story: Story) -> None:
        self.opened("#story > details")
        if story.age is not None:
            self.digits("#age", f"{story.age:g}")
        for name in ("sex", "onset", "course"):
            if told := getattr(story, name):
                self.tap(f"#story-form label:has([name={name}][value='{told}'])")
        for context in story.context:
            self.tap(f"#story-form label:has([value='{context}'])")

    def to_test(self, test: str) -> None:
        group = f"#group-{part_of()[test].key}"
        self.opened(f"{group} > details")
        if test in FURTHER:
            self.opened(f"{group} .further")
            self.page.locator(f"#test-{test}").wait_for()

    def record(self, found: Finding, old: bool) -> None:
        cell = f"#test-{found.test} .cell.{side_key(found)}"
        choice = f"{cell} .choice[value='record {side_key(found)} {found.response}']"
        if found.measurement is not None:
            self.opened(f"{cell} .scale:has(> .options)")
            self.digits(f"{cell} [name^='value']", written(found.measurement.value))
        else:
            if self.page.locator(f"{cell} > .all-the-same").count():  # held back: the reason first
                self.opened(f"{cell} .all-the-same")
                self.tap(f"{cell} [name^='although']")
                self.tap("#keypad [data-for='although'] button >> nth=0")
            if not self.page.locator(choice).is_visible():
                self.opened(f"{cell} .scale:has(> .options)")
            self.tap(choice)
        if old:
            self.page.locator(f"{cell}.abnormal").wait_for()
            self.opened(f"{cell} .scale:has(> .options)")
            self.tap(f"{cell} .known")

    def enter(self, examination: Examination) -> None:
        """Enter a whole examination."""
        self.story(examination.story)
        for test, findings in in_page_order(examination):
            self.to_test(test)
            if both_normal(findings):
                self.tap(f"#test-{test} .both")
                continue
            for found in findings:
                self.record(found, (found.test, found.side) in examination.known_old)
        saved(self.page)


class Keys:
    """A keyboard: it presses keys, and reads where the focus is. It points at nothing."""

    def __init__(self, page) -> None:
        self.page = page
        self.presses = 0

    def press(self, *keys: str) -> None:
        for key in keys:
            self.page.keyboard.press(key)
            self.presses += 1

    def on(self, selector: str) -> bool:
        return self.page.evaluate("s => document.activeElement.closest(s) !== null", selector)

    def walk(self, key: str, selector: str) -> None:
        """Press one key until the focus is in what a selector names."""
        for _ in range(MOST_KEYS):
            if self.on(selector):
                return
            self.press(key)
        raise AssertionError(f"{MOST_KEYS} × {key} do not reach {selector}")

    def opened(self, summary: str) -> None:
        """Open a box whose heading has the focus, if it is closed."""
        if not self.on(f"details[open] > {summary}"):
            self.press("Enter")

    def story(self, story: Story) -> None:
        self.walk("Tab", "#story summary")
        self.opened("summary")
        if story.age is not None:
            self.walk("Tab", "#age")
            for digit in f"{story.age:g}":
                self.press(digit)
        for name in ("sex", "onset", "course"):
            if told := getattr(story, name):
                self.walk("Tab", f"[name={name}]")
                self.walk("ArrowDown", f"[name={name}][value='{told}']")
        for context in story.context:
            self.walk("Tab", f"[name=context][value='{context}']")
            self.press("Space")
        self.walk("Shift+Tab", "#story summary")

    def to_test(self, test: str) -> None:
        if self.on(f"#test-{test}"):
            return
        group = f"#group-{part_of()[test].key}"
        self.walk("ArrowDown", f"{group} *")
        if self.on(f"{group} > details > summary"):
            self.opened("summary")
        if test in FURTHER and not self.on(f"{group} .further *"):
            self.walk("ArrowDown", f"{group} .further > summary")
            self.opened("summary")
            self.page.locator(f"#test-{test}").wait_for()
        self.walk("ArrowDown", f"#test-{test}")

    def record(self, found: Finding, old: bool) -> None:
        test = load_catalogue().test(found.test)
        if found.side is not None:
            self.press("ArrowRight" if found.side == "left" else "ArrowLeft")
        cell = f"#test-{test.id} .cell.{side_key(found)}"
        if found.measurement is not None:
            self.press("m", *written(found.measurement.value), "Enter")
            said = self.page.locator(f"{cell} .said")
            said.get_by_text(found.measurement.unit).wait_for()
        else:
            if self.page.locator(f"{cell} > .all-the-same").count():  # held back: the reason first
                self.press("d", *"safe", "Enter")
            codes = [*test.responses, "abnormal"]
            self.press(str(codes.index(found.response) + 1))
        if old:
            self.page.locator(f"{cell}.abnormal").wait_for()
            self.press("o")

    def enter(self, examination: Examination) -> None:
        """Enter a whole examination."""
        self.story(examination.story)
        for test, findings in in_page_order(examination):
            self.to_test(test)
            if both_normal(findings):
                self.press("b")
                continue
            for found in findings:
                self.record(found, (found.test, found.side) in examination.known_old)
        saved(self.page)
