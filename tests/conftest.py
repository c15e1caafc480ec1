"""What several test modules share."""

import shutil

import pytest

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]


@pytest.fixture(scope="module")
def browser():
    """Headless Chromium, an installed one."""
    if CHROMIUM is None:
        pytest.skip("no Chromium on the PATH; .ci/run installs one")
    sync_api = pytest.importorskip("playwright.sync_api")
    with sync_api.sync_playwright() as play:
        started = play.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        yield started
        started.close()
