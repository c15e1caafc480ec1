"""How much smaller the error of a comparison is on common draws than on independent ones: python tests/benchmarks/common_draws.py."""

from pathlib import Path

from casting_econ.analysis import open_study
from casting_econ.scenarios import compared

DATA = Path(__file__).resolve().parents[2] / "data"


def main() -> None:
    """Print the ratio of standard errors for each scenario of the first demo, for pay an hour and for the year."""
    kit = open_study(DATA / "kelpmoor-handles")
    for name in kit.study.file.scenarios:
        one, other = compared(kit, [name], seed=7), compared(kit, [name], seed=8)
        ratios = []
        for quantity in ("pay", "over_target"):
            with_it, without, apart = getattr(one, quantity), getattr(one, f"base_{quantity}"), getattr(other, f"base_{quantity}")
            ratios.append((with_it - apart).std() / (with_it - without).std())
        print(f"{name}: independent error {ratios[0]:.1f} x the common one for pay an hour, {ratios[1]:.1f} x for the year")


if __name__ == "__main__":
    main()
