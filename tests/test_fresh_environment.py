"""A pack made here verifies in a second, fresh environment installed from the versions that the pack pins."""

import os
import shutil
import subprocess
import sys
import venv
import zipfile
from pathlib import Path

import pytest
from commands import ROOT, command


def test_a_pack_verifies_in_a_fresh_environment(tmp_path):
    """pip installs the pins of the pack and then the kit alone; every page run there, from another folder, gives the same numbers."""
    study = Path(shutil.copytree(ROOT / "data" / "hollin-quay-pulls", tmp_path / "one study"))
    text = (study / "study.toml").read_text(encoding="utf-8")
    (study / "study.toml").write_text(text.replace("draws = 4096", "draws = 256"), encoding="utf-8")
    archive = tmp_path / "the pack.zip"
    code, said, error = command("pack", study, "--out", archive)
    assert code == 0, said + error
    elsewhere = tmp_path / "another machine"
    elsewhere.mkdir()
    with zipfile.ZipFile(archive) as book:
        (elsewhere / "requirements.txt").write_bytes(book.read("requirements.txt"))
    venv.create(elsewhere / "env", with_pip=True)
    python = elsewhere / "env" / ("Scripts" if os.name == "nt" else "bin") / "python"
    own = {key: value for key, value in os.environ.items() if key not in ("PYTHONPATH", "VIRTUAL_ENV", "PYTHONHOME")}

    def ran(*words, **more):
        return subprocess.run([str(python), *words], cwd=elsewhere, env=own, capture_output=True, text=True, **more)

    # the kit is built from a copy, so that nothing of another build gets in
    kit = shutil.copytree(
        ROOT, elsewhere / "kit", ignore=shutil.ignore_patterns(".git", ".venv", "report", ".*cache", "__pycache__")
    )
    installed = ran("-m", "pip", "install", "-q", "--no-compile", "--disable-pip-version-check", "-r", "requirements.txt")
    if installed.returncode and any(word in installed.stderr for word in ("NewConnectionError", "ConnectTimeoutError")):
        pytest.skip(f"no package index to install from: {installed.stderr.strip().splitlines()[-1]}")
    assert installed.returncode == 0, installed.stderr
    installed = ran("-m", "pip", "install", "-q", "--no-compile", "--disable-pip-version-check", "--no-deps", str(kit))
    assert installed.returncode == 0, installed.stderr
    shutil.rmtree(kit)

    found = ran("-m", "casting_econ.cli", "verify", str(archive))

    assert found.returncode == 0, found.stdout + found.stderr
    assert "Same numbers: all" in found.stdout
    assert "Other versions" not in found.stdout and "Not what was packed" not in found.stdout
    assert sys.prefix not in found.stdout
