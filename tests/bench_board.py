"""Measures the board: memory, first paint, from the event to the page and many clients.

``python -m tests.bench_board`` prints Markdown; what needs Chromium is left out without it.
"""

import shutil
import socket
import statistics
import sys
import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

from handsfree.job.board_view import NotePanel
from handsfree.shell.board import Board
from handsfree.shell.board_messages import Access, new_token
from handsfree.shell.board_page import board_page
from handsfree.shell.board_wire import view_text
from tests.shell.board_scenes import COATED, MIXED, Job

UPDATES = 200
CLIENTS = 50


def own_mb(pid: int | str = "self") -> tuple[float, float]:
    """Proportional and resident memory of a process."""
    found = {}
    for line in Path(f"/proc/{pid}/smaps_rollup").read_text(encoding="ascii").splitlines()[1:]:
        name, kilobytes, *_ = line.split()
        found[name] = int(kilobytes) / 1024
    return found["Pss:"], found["Rss:"]


def views(job: Job) -> Iterator[tuple[str, object]]:
    number = 0
    while True:
        number += 1
        text = f"update {number}"
        yield text, replace(job.view, main=NotePanel(text, ""))


def listening(access: Access) -> socket.socket:
    connection = socket.create_connection((access.host, access.port))
    head = f"GET /news HTTP/1.1\r\nHost: {access.host}:{access.port}\r\n"
    connection.sendall(f"{head}Authorization: Bearer {access.token}\r\n\r\n".encode())
    return connection


def until(connection: socket.socket, text: str) -> float:
    found = b""
    while text.encode() not in found:
        found = found[-200:] + connection.recv(65536)
    return time.perf_counter()


def row(what: str, value: str) -> None:
    print(f"| {what} | {value} |", flush=True)


def quantiles(milliseconds: list[float]) -> str:
    ordered = sorted(milliseconds)
    return (
        f"median {statistics.median(ordered):.0f} ms, "
        f"95th percentile {ordered[int(len(ordered) * 0.95)]:.0f} ms, most {ordered[-1]:.0f} ms"
    )


def without_browser(board: Board, job: Job) -> None:
    assert board.pid is not None
    row("board process, nobody looks", "{:.1f} MB PSS, {:.1f} MB RSS".format(*own_mb(board.pid)))
    connections = [listening(board.access) for _ in range(CLIENTS)]
    took = []
    for _, (text, view) in zip(range(UPDATES), views(job), strict=False):
        start = time.perf_counter()
        board.show(view, job.now)  # type: ignore[arg-type]
        took.append(1000 * (max(until(one, text + '"') for one in connections) - start))
    row(f"from the event until the last of {CLIENTS} clients has it", quantiles(took))
    row(
        f"board process with {CLIENTS} clients",
        "{:.1f} MB PSS, {:.1f} MB RSS".format(*own_mb(board.pid)),
    )
    for one in connections:
        one.close()
    moments = []
    for _ in range(200):
        start = time.perf_counter()
        job.session.show(job.now)
        moments.append(1e6 * (time.perf_counter() - start))
    row("a view worked out and handed over", f"{statistics.median(moments):.0f} µs")
    row("a view on the wire", f"{len(view_text(job.view))} bytes")


def with_browser(board: Board, job: Job, chromium: str) -> None:
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium, args=["--no-sandbox"])
        paints, took = [], []
        board.show(job.view, job.now)
        for _ in range(20):
            page = browser.new_page()
            page.goto(board.address)
            page.wait_for_function("() => performance.getEntriesByType('paint').length > 1")
            paints.append(
                page.evaluate("performance.getEntriesByName('first-contentful-paint')[0].startTime")
            )
            page.close()
        row("first contentful paint, 20 times", quantiles(paints))
        page = browser.new_page()
        page.goto(board.address)
        # The page's own clock reads the machine's, so both ends are on one clock.
        page.evaluate(
            "window.seen = {}; new MutationObserver(() => {"
            " seen[document.getElementById('main').innerText.trim()] = Date.now();"
            "}).observe(document.getElementById('main'), {childList: true})"
        )
        for _, (text, view) in zip(range(UPDATES), views(job), strict=False):
            start = time.time()
            board.show(view, job.now)  # type: ignore[arg-type]
            page.wait_for_function("text => seen[text]", arg=text)
            took.append(page.evaluate("text => seen[text]", text) - 1000 * start)
        row(f"from the event to the page, {UPDATES} times", quantiles(took))
        browser.close()


def main() -> int:
    job = Job(*MIXED, *COATED)
    print("| measure | value |\n| --- | --- |")
    row("page, with style and script", f"{len(board_page().body):,} bytes")
    before = own_mb()
    with Board(Access("127.0.0.1", 0, new_token()), on_trouble=print, does_tick=False) as board:
        board.show(job.view, job.now)
        listening(board.access).recv(4096)
        row("the program itself, more with a board", f"{own_mb()[1] - before[1]:.1f} MB RSS")
        job.session.displays = (board,)
        without_browser(board, job)
        chromium = shutil.which("chromium") or shutil.which("chromium-browser")
        if chromium is not None:
            with_browser(board, job, chromium)
    return 0


if __name__ == "__main__":
    sys.exit(main())
