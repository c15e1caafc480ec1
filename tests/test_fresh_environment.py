"""A pack made here verifies in a second, fresh environment that holds the versions that the pack pins, and nothing else."""

import os
import shutil
import subprocess
import sys
import sysconfig
import venv
import zipfile
from importlib.metadata import distribution, version
from pathlib import Path

import pytest
from commands import ROOT, command


def put_into(folder, names):
    """What pip put into this environment for some distributions, linked into another; commands, which name this one, are left out."""
    there = sysconfig.get_path("purelib", vars={"base": str(folder), "platbase": str(folder)})
    for name in names:
        for file in distribution(name).files:
            place = Path(os.path.normpath(os.path.join(there, file)))
            if place.parent.name in ("bin", "Scripts"):
                continue
            place.parent.mkdir(parents=True, exist_ok=True)
            try:
                os.link(file.locate(), place)
            except OSError:  # another disk
                shutil.copy2(file.locate(), place)


def test_a_pack_verifies_in_a_fresh_environment(tmp_path):
    """With what the pack pins and the kit alone, which pip finds whole and in agreement without an index, every page run there, from
    another folder, gives the same numbers. That pip gets those versions from an index is shown by the environment that this one is made of."""
    elsewhere = tmp_path / "another machine"
    elsewhere.mkdir()
    venv.create(elsewhere / "env")
    python = elsewhere / "env" / ("Scripts" if os.name == "nt" else "bin") / "python"
    own = {key: value for key, value in os.environ.items() if key not in ("PYTHONPATH", "VIRTUAL_ENV", "PYTHONHOME")}

    def installs(*words):
        words = [sys.executable, "-m", "pip", "--python", str(python), "install", "-q", "--disable-pip-version-check", *words]
        return subprocess.Popen(words, cwd=elsewhere, env=own, stderr=subprocess.PIPE, text=True)

    # the kit is built from a copy, so that nothing of another build gets in; the pack is made meanwhile
    kit = shutil.copytree(
        ROOT, elsewhere / "kit", ignore=shutil.ignore_patterns(".git", ".venv", "report", ".*cache", "__pycache__")
    )
    built = installs("--no-compile", "--no-deps", str(kit))
    study = Path(shutil.copytree(ROOT / "data" / "hollin-quay-pulls", tmp_path / "one study"))
    text = (study / "study.toml").read_text(encoding="utf-8")
    (study / "study.toml").write_text(text.replace("draws = 4096", "draws = 256"), encoding="utf-8")
    archive = tmp_path / "the pack.zip"
    code, said, error = command("pack", study, "--out", archive)
    assert code == 0, said + error
    with zipfile.ZipFile(archive) as book:
        (elsewhere / "requirements.txt").write_bytes(book.read("requirements.txt"))
    pins = dict(line.split("==") for line in (elsewhere / "requirements.txt").read_text(encoding="utf-8").split())
    assert {name: version(name) for name in pins} == pins
    _, told = built.communicate()
    if built.returncode and any(word in told for word in ("NewConnectionError", "ConnectTimeoutError")):
        pytest.skip(f"no package index to build from: {told.strip().splitlines()[-1]}")
    assert built.returncode == 0, told
    shutil.rmtree(kit)
    put_into(elsewhere / "env", pins)
    checked = installs("--no-index", "-r", "requirements.txt")  # fails where one is missing or does not go with the others
    told = checked.communicate()[1]
    assert checked.returncode == 0, told

    words = [str(python), "-m", "casting_econ.cli", "verify", str(archive)]
    found = subprocess.run(words, cwd=elsewhere, env=own, capture_output=True, text=True)

    assert found.returncode == 0, found.stdout + found.stderr
    assert "Same numbers: all" in found.stdout
    assert "Other versions" not in found.stdout and "Not what was packed" not in found.stdout
    assert sys.prefix not in found.stdout
