"""How much smaller the error of a comparison is on common draws than on independent ones: python tests/benchmarks/common_draws.py."""

from pathlib import Path

import numpy as np

from casting_econ.kit import open_study
from casting_econ.pages.change import compared

DATA = Path(__file__).resolve().parents[2] / "data"
SEEDS, DRAWS = 24, 2048


def main() -> None:
    """Print ratios of standard errors of the mean gain for each scenario of the first demo.

    The kit's comparison takes common scrambled points; its error is the scatter of the mean gain over seeds. Independent plain
    draws for either side would err by the root of both variances over the draws. Between them stands what common draws
    alone would do, were they plain: the scatter of the difference over the draws.
    """
    kit = open_study(DATA / "kelpmoor-handles")
    for name in kit.study.file.scenarios:
        runs = [compared(kit, [name], draws=DRAWS, seed=seed) for seed in range(SEEDS)]
        parts = []
        for quantity, words in (("pay", "pay an hour"), ("over_target", "the year")):
            pairs = [(getattr(run, quantity), getattr(run, f"base_{quantity}")) for run in runs]
            kit_error = np.std([(with_it - without).mean() for with_it, without in pairs], ddof=1)
            apart = np.sqrt(np.mean([with_it.var() + without.var() for with_it, without in pairs]) / DRAWS)
            plain = np.sqrt(np.mean([(with_it - without).var() for with_it, without in pairs]) / DRAWS)
            parts.append(f"{apart / kit_error:.0f} x for {words} (plain common draws: {apart / plain:.1f} x)")
        print(f"{name}: independent draws err by {', '.join(parts)}")


if __name__ == "__main__":
    main()
