"""A sweep on a Dask cluster gives what one machine gives, also where a worker is lost."""

import os
import re
import signal

import pytest
from commands import command, copy_of

distributed = pytest.importorskip("distributed", reason="the extra [cluster] is not installed")
pytestmark = pytest.mark.slow
WORDS = ("--vary", "channels.shop.price=30 USD..50 USD/2", "--scrap", "10%,20%", "--draws", 128)


@pytest.fixture(scope="module")
def cluster(tmp_path_factory):
    """Two worker processes."""
    options = {"n_workers": 2, "threads_per_worker": 1, "dashboard_address": None}
    with distributed.LocalCluster(**options, local_directory=str(tmp_path_factory.mktemp("workers"))) as cluster:
        yield cluster


def swept(folder):
    """Bytes of table and notebooks."""
    return {path.name: path.read_bytes() for path in [folder / "sweep.csv", *(folder / "notebooks").iterdir()]}


def test_a_sweep_survives_the_loss_of_a_worker_with_the_same_bytes(cluster, tmp_path, monkeypatch):
    """One of two workers is killed once a point has ended: every point arrives, and table and notebooks are those of one machine."""
    from casting_econ.running import sweep

    study = copy_of("hollin-quay-pulls", tmp_path)
    code, _, err = command("sweep", study, *WORDS, "--out", tmp_path / "here")
    assert code == 0, err
    with distributed.Client(cluster, set_as_default=False) as client:
        pids = list(client.run(os.getpid).values())
    assert len(pids) == 2
    recorded, killed = sweep._recorded, []

    def then_kill(path):
        if not killed:
            killed.append(pids[0])
            os.kill(pids[0], signal.SIGKILL)
        return recorded(path)

    monkeypatch.setattr(sweep, "_recorded", then_kill)
    code, out, err = command("sweep", study, *WORDS, "--out", tmp_path / "there", "--scheduler", cluster.scheduler_address)
    assert code == 0, err
    assert killed and len(re.findall(r"^\[\d/4\]", out, re.M)) == 4
    assert swept(tmp_path / "there") == swept(tmp_path / "here")


def test_a_scheduler_that_does_not_answer_is_a_fault(tmp_path, monkeypatch):
    """Nobody listens on a reserved port: one message with the remedy, and nothing is left half written."""
    client = distributed.Client
    monkeypatch.setattr(distributed, "Client", lambda address, **given: client(address, **given | {"timeout": 1}))
    study = copy_of("hollin-quay-pulls", tmp_path)
    code, _, err = command("sweep", study, "--scrap", "10%", "--scheduler", "tcp://127.0.0.1:9")
    assert code == 2 and "--scheduler" in err and "does not answer" in err and "Traceback" not in err
