"""A notebook of the kit as a page in the browser, already run and without its code: Voilà shows it, here it is started and ended."""

import json
import os
import secrets
import socket
import subprocess
import tempfile
import time
import webbrowser
from collections.abc import Callable, Mapping
from pathlib import Path

import nbformat
from papermill.iorw import load_notebook_node
from papermill.parameterize import parameterize_notebook

from ..faults import refusal
from ..reference import kit_folder
from .tied import command

_LOOK = Path(__file__).with_name("jupyter")  # holds the template of a page
_HERE = ("localhost", "127.0.0.1", "::1")
_ELSEWHERE = (
    "In a container, or on a machine without a screen, start it with --ip 0.0.0.0 --no-browser --port 8866, pass that port on, and open "
    "the address where your browser is, with localhost or the machine's name in it."
)


def page_of(name: str, parameters: Mapping[str, object], folder: Path) -> Path:
    """Write a notebook of the kit with its parameters filled in."""
    book = load_notebook_node(str(kit_folder("notebooks") / f"{name}.ipynb"))
    target = folder / f"{name}.ipynb"
    nbformat.write(parameterize_notebook(book, dict(parameters)), target)
    return target


def show_page(
    name: str,
    parameters: Mapping[str, object],
    say: Callable[[str], None],
    *,
    port: int | None = None,
    ip: str = "localhost",
    browser: bool = True,
) -> int:
    """Show a notebook of the kit, filled in with parameters, as a page until Ctrl-C ends it, and open a `browser` on it; the exit code.

    `say` gets what to open, a line at a time; another `ip` than this machine's own lets others in who have the whole address; without a
    `port` it is a free one. StudyError if nothing can be shown at that address and port, and with the faults of a study that is explored.
    """
    port, token = _port(ip, port), secrets.token_urlsafe(24)
    with tempfile.TemporaryDirectory(prefix="casting-econ-") as place:
        folder = Path(place)
        notebook = page_of(name, parameters, folder)
        server = {"ip": ip, "port": port, "port_retries": 0, "open_browser": False, "token": token, "log_level": "ERROR"}
        page = {"template": "page", "allow_template_override": "NO", "show_tracebacks": True}
        page["extension_allowlist"] = ["@voila-dashboards/widgets-manager8", "@jupyter-widgets/jupyterlab-manager", "anywidget"]
        # in a file that nobody else may read: among a command's words the token would be seen
        (folder / "voila.json").write_text(json.dumps({"Voila": server, "VoilaConfiguration": page}), encoding="utf-8")
        paths = os.pathsep.join(filter(None, (str(_LOOK), os.environ.get("JUPYTER_PATH"))))
        with (folder / "log.txt").open("wb") as log:
            process = subprocess.Popen(
                command("voila", str(notebook)),
                stdin=subprocess.PIPE,
                stdout=log,
                stderr=log,
                cwd=folder,
                env=os.environ | {"JUPYTER_PATH": paths},
            )
            try:
                if name == "explore":  # while the page starts
                    from ..kit import open_study

                    open_study(parameters["study"])
                say("Starting; this takes a few seconds.")
                while not _answers(ip, port):
                    if process.poll() is not None:
                        told = (folder / "log.txt").read_text(encoding="utf-8", errors="replace").strip().splitlines()
                        right, found = "another --ip or --port", (told or [""])[-1]
                        raise refusal(f"{ip}:{port}", "nothing can be shown here", right, found=found)
                    time.sleep(0.05)
                address = f"http://{'localhost' if ip in ('', '0.0.0.0', '::') else ip}:{port}/?token={token}"
                opened = browser and webbrowser.open(address)
                say(f"{'Opened in your browser' if opened else 'Open this address in a browser'}: {address}")
                if not opened or ip not in _HERE:
                    say(_ELSEWHERE if ip in _HERE else "Whoever has the whole address can open it; keep it to yourself.")
                say("Ctrl-C here ends it.")
                return process.wait()
            except KeyboardInterrupt:
                return 0
            finally:
                if process.poll() is None:
                    process.terminate()
                    process.wait()


def _port(ip, port):
    """The port asked for, or a free one; StudyError where it is taken."""
    try:
        with socket.socket(socket.AF_INET6 if ":" in ip else socket.AF_INET) as free:
            free.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            free.bind((ip, port or 0))
            return free.getsockname()[1]
    except OSError as error:
        right = "another --port, or none for a free one" if port else "the address of this machine, such as localhost"
        raise refusal(f"{ip}:{port or ''}", "nothing can be shown here", right, found=error.strerror or str(error)) from None


def _answers(ip, port):
    """Whether something listens."""
    try:
        socket.create_connection(("localhost" if ip in ("", "0.0.0.0", "::") else ip, port), timeout=1).close()
    except OSError:
        return False
    return True
