"""The board's page in a real browser: Chromium, driven by Playwright."""

import os
import queue
import shutil
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page, sync_playwright

from handsfree.job.board_view import AlarmPanel, ClockPanel, NotePanel
from handsfree.shell.board import Board
from handsfree.shell.board_messages import Access, new_token
from tests.shell.board_scenes import COATED, MIXED, POURED, Job, Scene, scenes

pytestmark = pytest.mark.browser

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
WAIT_MS = 10_000
SIZES = {
    "phone-small": (360, 640),
    "phone": (390, 844),
    "phone-lying": (844, 390),
    "wall": (800, 480),
    "desk": (1440, 900),
}
SCENES = {scene.name: scene for scene in scenes()}
# 25 mm are read from 5 m by the rule of thumb "a two hundredth of the distance" (common practice,
# no published source); a seven inch wall screen of 800 by 480 has 5.2 points to a millimeter.
LEAST_LETTER_PX = 130
DIGIT_HEIGHT = 0.73  # Of the type size, in DejaVu Sans.


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    if CHROMIUM is None:
        pytest.skip("no Chromium here; on Debian and Ubuntu: apt-get install chromium")
    # The sandbox of the browser does not start for root, which is who runs this in a container.
    arguments = ["--no-sandbox"] if os.geteuid() == 0 else []
    with sync_playwright() as playwright:
        running = playwright.chromium.launch(executable_path=CHROMIUM, args=arguments)
        yield running
        running.close()


@pytest.fixture(scope="module")
def board() -> Iterator[Board]:
    """A board whose clock stands still, so that a picture is the same each time."""
    access = Access("127.0.0.1", 0, new_token(), may_acknowledge=True)
    with Board(access, on_trouble=print, does_tick=False) as running:
        yield running


OpenPage = Callable[..., Page]


@pytest.fixture
def open_page(browser: Browser) -> Iterator[OpenPage]:
    """Opens a board's page; a message of the page's console fails the test."""
    contexts = []
    complaints: list[str] = []

    def opened(address: str, size: str = "desk", **options: object) -> Page:
        width, height = SIZES[size]
        viewport = {"width": width, "height": height}
        context = browser.new_context(viewport=viewport, **options)  # type: ignore[arg-type]
        contexts.append(context)
        page = context.new_page()
        page.set_default_timeout(WAIT_MS)
        page.on("console", lambda message: complaints.append(message.text))
        page.on("pageerror", lambda error: complaints.append(str(error)))
        page.goto(address)
        return page

    yield opened
    for context in contexts:
        context.close()
    # A stream that breaks on purpose is told by the browser itself.
    assert [c for c in complaints if "net::ERR" not in c and "401" not in c] == []


def wait_for(page: Page, text: str) -> None:
    """Until the dominant thing shows the text."""
    page.wait_for_function(
        "text => document.getElementById('main').innerText.replaceAll('\\u00a0', ' ')"
        ".includes(text)",
        arg=text,
    )


def show(board: Board, page: Page, scene: Scene) -> None:
    board.show(scene.job.view, scene.job.now)
    wait_for(page, scene.dominant)


def keep_picture(request: pytest.FixtureRequest, page: Page, name: str) -> None:
    folder: Path | None = request.config.getoption("--screenshots")
    if folder is not None:
        folder.mkdir(parents=True, exist_ok=True)
        page.screenshot(path=folder / f"{name}.png")


OVERFLOWING = """() => [...document.querySelectorAll('main, main *, #asked, #asked *, #rest li')]
  .filter((one) => one.checkVisibility() && one.tagName !== 'svg' && !one.closest('svg'))
  .filter((one) => {
    const box = one.getBoundingClientRect();
    const around = (one.closest('main') || document.body).getBoundingClientRect();
    return box.left < -1 || box.top < -1 || box.right > innerWidth + 1
      || box.bottom > innerHeight + 1 || box.right > around.right + 1
      || box.bottom > around.bottom + 1 || one.scrollWidth > one.clientWidth + 2
        && getComputedStyle(one).display !== 'inline';
  }).map((one) => `${one.tagName}.${one.className}: ${one.textContent.slice(0, 40)}`)"""


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("size", SIZES)
def test_every_moment_fits_every_screen(
    board: Board, open_page: OpenPage, request: pytest.FixtureRequest, size: str, scheme: str
) -> None:
    page = open_page(board.address, size, color_scheme=scheme)
    for scene in SCENES.values():
        show(board, page, scene)
        assert page.evaluate(OVERFLOWING) == [], scene.name
        assert page.evaluate("document.documentElement.scrollHeight <= innerHeight"), scene.name
        keep_picture(request, page, f"{size}-{scheme}-{scene.name}")


@pytest.mark.parametrize("name", ["pour", "pour-half", "clock"])
def test_the_dominant_number_is_read_from_afar_on_a_small_wall_screen(
    board: Board, open_page: OpenPage, name: str
) -> None:
    page = open_page(board.address, "wall")
    show(board, page, SCENES[name])
    size = page.evaluate(
        "parseFloat(getComputedStyle(document.querySelector('.big > span')).fontSize)"
    )
    assert size * DIGIT_HEIGHT >= LEAST_LETTER_PX


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_it_is_accessible(board: Board, open_page: OpenPage, scheme: str) -> None:
    page = open_page(board.address, "phone", color_scheme=scheme)
    for scene in SCENES.values():
        show(board, page, scene)
        found = Axe().run(page).response["violations"]
        assert [(one["id"], [n["html"] for n in one["nodes"]]) for one in found] == [], scene.name


def test_markup_in_a_name_is_text(board: Board, open_page: OpenPage) -> None:
    page = open_page(board.address)
    name = "<img src=x onerror=alert(1)><b>Gate</b>"
    view = replace(
        SCENES["ready"].job.view,
        product=name,
        main=NotePanel(name, name),
        heard=name,
        said="</script><script>alert(1)</script>",
    )
    board.show(view, SCENES["ready"].job.now)
    wait_for(page, name)
    assert page.inner_text("#product") == name
    assert page.locator("main img, main b, footer script").count() == 0


def test_an_alarm_never_hides_and_flashes_at_most_twice_a_second(
    board: Board, open_page: OpenPage
) -> None:
    page = open_page(board.address)
    show(board, page, SCENES["clock-alarm"])
    animations = page.evaluate(
        "document.getAnimations().map((a) => [a.effect.getComputedTiming().duration,"
        " a.effect.pseudoElement, a.effect.target.id])"
    )
    assert animations == [[1000, "::after", "main"]]  # The frame alone: once a second.
    opacity = "getComputedStyle(document.querySelector('main .big')).opacity"
    assert page.evaluate(opacity) == "1"


def test_who_wants_no_motion_gets_none(board: Board, open_page: OpenPage) -> None:
    page = open_page(board.address, reduced_motion="reduce")
    show(board, page, SCENES["clock-alarm"])
    assert page.evaluate("document.getAnimations().length") == 0


def test_urgency_is_told_by_shape_and_words_too(board: Board, open_page: OpenPage) -> None:
    page = open_page(board.address)
    shapes = []
    for name in ("clock-alarm", "tape"):
        show(board, page, SCENES[name])
        shapes.append(page.get_attribute("main svg path", "d"))
    assert shapes[0] != shapes[1]


def test_the_bar_fills_as_readings_come(board: Board, open_page: OpenPage) -> None:
    page = open_page(board.address)
    heights = []
    for reading in ("", "hardener five zero", "hardener one one zero"):
        job = Job(*POURED, *([reading] if reading else []))
        board.show(job.view, job.now)
        wait_for(page, f"{job.view.main.left_g} g more" if reading else "to pour")  # type: ignore[union-attr]
        heights.append(float(page.get_attribute("main svg g rect", "height") or 0))
    assert heights == sorted(heights)
    assert heights[0] < heights[1] < heights[2]


def test_a_wrong_address_is_said(board: Board, open_page: OpenPage) -> None:
    page = open_page(board.address[:-1] + "!")
    wait_for(page, "Wrong address")


def test_a_press_is_sent_and_shown(board: Board, open_page: OpenPage) -> None:
    got: queue.Queue[str] = queue.Queue()
    board.on_press(got.put)
    page = open_page(board.address)
    show(board, page, SCENES["tape"])
    page.click("main button")
    page.wait_for_function("() => document.querySelector('main button').textContent === 'Sent'")
    job = SCENES["tape"].job
    assert isinstance(job.view.main, AlarmPanel)
    show(board, page, SCENES["ready"])
    assert got.get(timeout=WAIT_MS / 1000) == job.view.main.key
    assert got.empty()


# --- time, and a program that goes away ----------------------------------------------------


def test_clocks_run_on_when_the_program_has_ended(browser: Browser) -> None:
    job = Job(*MIXED, *COATED)
    clock = job.view.main
    assert isinstance(clock, ClockPanel)
    page = browser.new_page()
    page.clock.install()
    with Board(Access("127.0.0.1", 0, new_token()), on_trouble=print) as board:
        board.show(job.view, clock.ends_at - timedelta(seconds=300.5))
        page.goto(board.address)
        wait_for(page, "4:5")
    page.clock.run_for(235_000)
    wait_for(page, "1:0")
    page.clock.run_for(70_000)
    wait_for(page, "over: do not use the rest")
    page.close()


def test_a_program_that_ends_is_noticed_and_one_that_comes_back_too(browser: Browser) -> None:
    access = Access("127.0.0.1", 0, new_token())
    job = Job(*POURED)
    page = browser.new_page()
    page.clock.install()
    with Board(access, on_trouble=print, does_tick=False) as board:
        board.show(job.view, job.now)
        page.goto(board.address)
        wait_for(page, "122")
        access = board.access
    page.clock.run_for(10_000)
    page.wait_for_selector("body.stale", timeout=WAIT_MS)
    assert page.inner_text("#link") == "No news since 12:00"
    # What was known stays in sight.
    assert "122" in page.inner_text("main")
    with Board(access, on_trouble=print, does_tick=False) as board:
        job.say("hardener five zero")
        board.show(job.view, job.now)
        page.clock.run_for(10_000)
        wait_for(page, "72 g more")
        assert page.inner_text("#link") == "Live"
    page.close()


HOURS_8_OF_BEATS = 8 * 3600 // 2


@pytest.mark.slow
def test_eight_hours_of_news_leave_server_and_page_as_small_as_one(
    browser: Browser, board: Board
) -> None:
    page = browser.new_page()
    session = page.context.new_cdp_session(page)
    session.send("Performance.enable")
    job = Job(*MIXED, *COATED)
    board.show(job.view, job.now)
    page.goto(board.address)

    def sizes_mb() -> tuple[float, float]:
        session.send("HeapProfiler.collectGarbage")
        metrics = session.send("Performance.getMetrics")["metrics"]
        heap = next(one["value"] for one in metrics if one["name"] == "JSHeapUsedSize")
        lines = Path(f"/proc/{board.pid}/smaps_rollup").read_text(encoding="ascii").splitlines()
        server = next(line for line in lines if line.startswith("Pss:")).split()[1]
        return heap / 1e6, int(server) / 1e3

    found = []
    for number in range(HOURS_8_OF_BEATS + 1):
        board.show(replace(job.view, main=NotePanel(f"beat {number}", "")), job.now)
        wait_for(page, f"beat {number}")
        if number % (HOURS_8_OF_BEATS // 8) == 0:
            found.append(sizes_mb())
    print("MB of page and server, each hour:", [(round(p, 2), round(s, 1)) for p, s in found])
    # Two megabytes are far above what a measurement scatters by, and far below a leak's hours.
    for first, last in zip(found[1], found[-1], strict=True):
        assert last - first < 2.0
    page.close()
