"""The page in a real browser: headless Chromium, driven by Playwright. Skipped where there is none."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from layout.writers.page.render import page_html
from tests.layout.writers.build import rules
from tests.layout.writers.page_jobs import flat_job, hostile_job

playwright = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")

NAMES = ("chromium", "chromium-browser", "google-chrome", "chrome")
PHONE = {"width": 360, "height": 740}
DESK = {"width": 1280, "height": 800}


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    """One browser for all tests of this file; `SETOUT_CHROMIUM` names another one."""
    path = os.environ.get("SETOUT_CHROMIUM") or next(filter(None, map(shutil.which, NAMES)), None)
    if path is None:
        pytest.skip(f"no Chromium here ({', '.join(NAMES)}); set SETOUT_CHROMIUM to one")
    with playwright.sync_playwright() as driver:
        chromium = driver.chromium.launch(executable_path=path, args=["--no-sandbox"])
        yield chromium
        chromium.close()


@pytest.fixture(scope="module")
def address(tmp_path_factory: pytest.TempPathFactory) -> str:
    path = tmp_path_factory.mktemp("page") / "index.html"
    path.write_bytes(page_html(flat_job(), rules()))
    return path.as_uri()


@pytest.fixture
def complaints() -> Iterator[list[str]]:
    """What the browser complains of; a test that leaves any fails."""
    found: list[str] = []
    yield found
    assert found == []


Open = Any


@pytest.fixture
def opened(browser: Any, complaints: list[str]) -> Iterator[Open]:
    """Opens an address in a context of its own: size, colours, script as asked."""
    contexts = []

    def open_page(address: str, **options: object) -> Any:
        context = browser.new_context(**{"viewport": PHONE, **options})
        contexts.append(context)
        page = context.new_page()
        page.set_default_timeout(5000)
        page.on("console", lambda m: complaints.append(m.text) if m.type != "log" else None)
        page.on("pageerror", lambda e: complaints.append(str(e)))
        page.on("request", lambda r: complaints.append(r.url) if r.url[:4] == "http" else None)
        page.goto(address)
        return page

    yield open_page
    for context in contexts:
        context.close()


def shown(page: Any, selector: str) -> list[str]:
    return [e.inner_text() for e in page.locator(selector).all() if e.is_visible()]


def test_search_finds_flats_and_rooms(opened: Open, address: str) -> None:
    page = opened(address)
    assert len(shown(page, "nav li")) == 3
    page.get_by_label("Find a flat or room").fill("flat 1 bed")
    (left,) = shown(page, "nav li")
    assert "Bedroom" in left
    assert page.locator("#found").inner_text() == "1 of 3 bays"
    page.get_by_label("Find a flat or room").fill("no such room")
    assert shown(page, "nav li") == []


def test_tapping_a_piece_tells_its_size_cuts_and_plank(opened: Open, address: str) -> None:
    page = opened(f"{address}#b1")
    run = page.locator(".bay.open .floor > g").nth(2)
    run.locator("path").first.click()
    card = page.locator(".bay.open .card")
    assert card.locator("h3").inner_text() == "Row 3"
    said = card.locator(".said").inner_text()
    assert said.startswith("Piece 1: 1040 \N{MULTIPLICATION SIGN} 180")
    assert "cut to 1040" in said
    assert "new plank" in said
    run.locator("path").nth(1).click()
    assert "full plank 1220 \N{MULTIPLICATION SIGN} 180" in card.locator(".said").inner_text()
    assert page.locator(".bay.open .rows tr.cur th").inner_text() == "3"


def test_ticks_are_kept_after_a_reload_and_for_this_job_only(
    opened: Open, address: str, tmp_path: Path
) -> None:
    page = opened(f"{address}#b1")
    page.get_by_role("button", name="Row 1 laid, next").click()
    page.get_by_role("button", name="Row 2 laid, next").click()
    page.get_by_role("checkbox", name="Row 5 laid").check()
    page.reload()
    boxes = page.locator(".bay.open .rows input")
    assert [i for i in range(boxes.count()) if boxes.nth(i).is_checked()] == [0, 1, 4]
    assert page.locator(".bay.open .card h3").inner_text() == "Row 3"
    assert "3 of " in page.locator(".bay.open .card .where").inner_text()
    page.goto(address)
    assert "3 of " in page.locator("nav li").first.inner_text()
    other = tmp_path / "index.html"
    other.write_bytes(page_html(flat_job(rules(plank={"length": 1000, "width": 180})), rules()))
    page.goto(other.as_uri())
    assert "laid" not in page.locator("nav li").first.inner_text()


def test_everything_can_be_done_from_the_keyboard(opened: Open, address: str) -> None:
    page = opened(address, viewport=DESK)
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.className") == "skip"
    page.get_by_label("Find a flat or room").focus()
    page.keyboard.type("bedroom")
    for _ in range(3):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.hash") == "#b2":
            break
    page.keyboard.press("Enter")
    page.wait_for_selector("#b2.open")
    assert page.evaluate("document.activeElement.id") == "b2"
    page.keyboard.press("Tab")
    names = []
    for _ in range(12):
        names.append(
            page.evaluate("document.activeElement.innerText || document.activeElement.ariaLabel")
        )
        if names[-1] == "Row 1 laid, next":
            break
        page.keyboard.press("Tab")
    assert names[-1] == "Row 1 laid, next"
    page.keyboard.press("Enter")
    page.keyboard.press("Tab")  # into the list
    assert page.evaluate("document.activeElement.type") == "checkbox"
    page.keyboard.press("ArrowDown")
    page.keyboard.press("ArrowDown")
    page.keyboard.press("Space")
    assert page.locator("#b2 .rows tr.laid th").all_inner_texts() == ["1", "3"]
    piece = page.get_by_role("button", name="Piece 2 of row 3")
    piece.focus()
    page.keyboard.press("Space")
    assert piece.get_attribute("aria-pressed") == "true"


def test_reading_needs_no_script(opened: Open, address: str) -> None:
    page = opened(address, java_script_enabled=False)
    text = " ".join(page.locator("main").text_content().split())
    for words in ("B1 Living room", "B3 Study", "rip all to 150", "Before the first cut", "1040"):
        assert words in text
    assert not page.get_by_label("Find a flat or room").is_visible()
    page.locator("nav li a").nth(1).click()
    assert page.locator("#b2 svg").is_visible()


@pytest.mark.parametrize(("scheme", "size"), [("dark", PHONE), ("light", DESK)])
def test_no_serious_barrier_and_no_sideways_scroll(
    opened: Open, address: str, scheme: str, size: dict[str, int]
) -> None:
    """Checked by axe-core, which a package brings along; both views of the page. Colours hang on the
    scheme, places on the size: each is seen with each view here, all together by
    `python -m tests.bench.checked_outputs`.
    """
    engine = pytest.importorskip("axe_playwright_python.sync_playwright").Axe()
    page = opened(address, viewport=size, color_scheme=scheme)
    dark = page.evaluate("getComputedStyle(document.body).backgroundColor") != "rgb(255, 255, 255)"
    assert dark is (scheme == "dark")
    for view in ("", "#b1"):
        page.goto(address + view)
        found = engine.run(page).response["violations"]
        grave = [(v["id"], n["html"]) for v in found for n in v["nodes"]]
        assert grave == []
        for other in (PHONE, DESK):
            page.set_viewport_size(other)
            assert page.evaluate("document.documentElement.scrollWidth") <= other["width"]
        page.set_viewport_size(size)


def test_hostile_names_are_shown_and_do_nothing(opened: Open, tmp_path: Path) -> None:
    path = tmp_path / "index.html"
    path.write_bytes(page_html(hostile_job(), rules()))
    page = opened(path.as_uri())
    names = shown(page, "nav li bdi")
    assert "</script><script>window.hit=1</script>" in names
    assert "{{ 7*7 }} & <b>bold</b>" in names
    for number in range(len(names)):
        page.goto(f"{path.as_uri()}#b{number + 1}")
        page.get_by_role("button", name="Row 1 laid, next").click()
        assert page.evaluate("document.documentElement.scrollWidth") <= PHONE["width"]
    assert page.evaluate("window.hit") is None


def test_what_is_pressed_on_a_phone_is_large_enough(opened: Open, address: str) -> None:
    """At least 44 px, as WCAG 2.2 target size (enhanced, 2.5.5) asks."""
    page = opened(f"{address}#b1")
    sizes = page.evaluate(
        """[...document.querySelectorAll('.bay.open button, .bay.open .rows label')]
           .map(e => e.getBoundingClientRect()).map(r => [r.width, r.height])"""
    )
    assert len(sizes) > 10
    assert min(min(s) for s in sizes) >= 44


def test_print_shows_the_bay_with_its_list_and_the_cautions(opened: Open, address: str) -> None:
    page = opened(f"{address}#b1", color_scheme="dark")
    page.emulate_media(media="print")
    assert page.locator("#b1 .rows").is_visible()
    assert page.locator("aside.cautions").is_visible()
    assert not page.locator("#b2").is_visible()
    assert not page.locator("nav").is_visible()
    assert not page.locator("#b1 .card").is_visible()
    assert page.evaluate("getComputedStyle(document.body).color") == "rgb(20, 24, 28)"
    page.goto(address)
    assert page.locator("#b1 svg").is_visible()
    assert page.locator("#b3 .rows").is_visible()
