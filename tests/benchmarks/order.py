"""Time of an order's answer for a changed confidence, against the first answer of the same order: python tests/benchmarks/order.py."""

import time
from pathlib import Path

from casting_econ.kit import open_study
from casting_econ.orders import open_order, order_lines, price_of

DATA = Path(__file__).resolve().parents[2] / "data"


def answer(plan):
    """Every line that the command says."""
    return order_lines(plan, price_of(plan))


def timed(work):
    """Result and seconds."""
    started = time.perf_counter()
    return work(), time.perf_counter() - started


def main() -> None:
    """Print the seconds of each answer and the ratio to the first."""
    for name, order in (("kelpmoor-handles", "kitchen"), ("hollin-quay-pulls", "hotel-refit")):

        def first(name=name, order=order):
            plan = open_order(open_study(DATA / name), order)
            answer(plan)
            return plan

        plan, whole = timed(first)
        print(f"{name}, {order}: first answer, study opened, {whole:.2f} s")
        for confidence in (0.90, 0.99, 0.80):
            _, again = timed(lambda plan=plan, confidence=confidence: answer(plan.with_order(confidence=confidence)))
            print(f"  confidence {confidence:.0%}: {again:.2f} s, {again / whole:.2f} x the first")


if __name__ == "__main__":
    main()
