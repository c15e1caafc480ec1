"""The explorer as a maker meets it: JupyterLab in a real browser, a slider moved by keyboard, the model's number on the page."""

import os
import re
import secrets
import socket
import subprocess
import sys
import time
import urllib.request
from pathlib import Path

import pytest

from casting_econ.explore.explorer import Explorer, view_sentence
from casting_econ.explore.lab import explorer_notebook
from casting_econ.kit import format_of, open_study

DATA = Path(__file__).parents[1] / "data"
PRICE = "channels.online.price"


@pytest.fixture(scope="module")
def lab(browser, tmp_path_factory):
    """JupyterLab on the explorer's notebook of the first demo, at an address with a token; always ended."""
    folder = tmp_path_factory.mktemp("lab")
    notebook = explorer_notebook(DATA / "kelpmoor-handles", folder)
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    token = secrets.token_hex(16)
    words = [sys.executable, "-m", "jupyterlab", "--no-browser", "--ip=127.0.0.1", f"--port={port}", "--allow-root"]
    words += [f"--IdentityProvider.token={token}", f"--ServerApp.root_dir={folder}", "--LabApp.news_url="]
    places = {f"JUPYTER_{kind}_DIR": str(folder / kind.lower()) for kind in ("CONFIG", "DATA", "RUNTIME")}
    with (folder / "log.txt").open("wb") as log:
        server = subprocess.Popen(words, stdout=log, stderr=log, env=os.environ | places)
        try:
            address = f"http://127.0.0.1:{port}"
            for _ in range(240):
                try:
                    urllib.request.urlopen(f"{address}/api?token={token}", timeout=2).read()
                    break
                except OSError:
                    assert server.poll() is None, (folder / "log.txt").read_text()
                    time.sleep(0.25)
            yield f"{address}/lab/tree/{notebook.name}?token={token}"
        finally:
            server.terminate()
            server.wait(timeout=20)


@pytest.mark.browser
def test_a_slider_moved_in_jupyterlab_shows_the_number_of_the_model(lab, browser):
    """All cells run, the price of an online order moved by the arrow key, the sentence read and equal to the model's."""
    explorer = Explorer(open_study(DATA / "kelpmoor-handles"), draws=4000, seed=20)
    lever = next(lever for lever in explorer.levers if lever.key == PRICE)
    fmt = format_of(explorer.kit)
    page = browser.new_page(viewport={"width": 1280, "height": 1000})
    page.goto(lab)
    page.locator(".jp-Notebook h1").filter(has_text="What if").wait_for(timeout=90_000)
    page.wait_for_function("document.querySelector('.jp-Notebook-ExecutionIndicator[data-status=idle]')", timeout=90_000)
    page.get_by_role("menuitem", name="Run", exact=True).click()
    page.get_by_role("menuitem", name=re.compile("^Run All Cells")).click()
    status = page.locator("[role=status][aria-live=polite]").filter(has_text="Pay an hour")
    status.wait_for(timeout=90_000)
    before = status.inner_text()
    slider = page.get_by_role("slider").nth([own.key for own in explorer.levers].index(PRICE))
    slider.focus()
    slider.press("ArrowRight")
    page.wait_for_function(
        "was => document.querySelector('[role=status][aria-live=polite]').innerText !== was", arg=before, timeout=30_000
    )
    after = status.inner_text()
    picture = page.locator(".jp-OutputArea-output img").first.get_attribute("alt")
    if folder := os.environ.get("EXPLORER_PICTURES"):
        page.screenshot(path=f"{folder}/explorer.png")
        page.set_viewport_size({"width": 700, "height": 1000})
        page.screenshot(path=f"{folder}/explorer-narrow.png")
    page.close()

    assert before == view_sentence(explorer.look({}), fmt)
    assert after == view_sentence(explorer.look({PRICE: lever.now + lever.step}), fmt)
    assert "more than the study" in after and picture.startswith("Pay an hour falls with scrap")
