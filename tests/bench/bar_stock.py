"""The two hardest published instances of bar stock: run with `python -m tests.bench.bar_stock`."""

from __future__ import annotations

import platform
import time

from layout.stock_bars import cut_bars
from tests.outside.test_cutting_stock import expanded

# Scholl N1W1B1R0 and Falkenauer u120_00; optima 18 and 48, each proven twice (patterns with SCIP,
# arc-flow with HiGHS).
HARD = {
    "N1W1B1R0": (
        1000,
        18,
        (
            "395 394x2 391 390 389 388 384 383 382 380 379 376 371 368 365 360x2 354 350 346x2 344 342 340 "
            "335x2 333 330x2 328 327 317 316 311 310x2 306 300x2 297 296 295 294x2 286 285 278 275x2"
        ),
    ),
    "u120_00": (
        150,
        48,
        (
            "98x3 96x2 94 93x2 92 91x2 90 87 86 85x2 84x5 83x2 82x2 81 80x3 79x2 78x4 76 74x2 73x4 72 71 "
            "70x3 69x3 67 66 64 62x2 60x2 59 58x3 57x4 55x3 50 49x3 47 46x2 45x2 44x2 43x4 42x5 41x3 39x2 "
            "38x3 37 36x3 35 33x3 32x2 30x3 29 28 27x2 26 25x2 24 23x2 20"
        ),
    ),
}


def main() -> None:
    """Bars, bound and processor time of each."""
    print(f"{platform.machine()}, Python {platform.python_version()}")
    for name, (bar, optimum, items) in HARD.items():
        start = time.process_time()
        plan = cut_bars(expanded(items), [bar])
        used = time.process_time() - start
        print(
            f"{name}: {len(plan.bars)} bars, bound {plan.least_mm / bar:g}, optimum {optimum}, "
            f"{used:.2f} s of processor time"
        )


if __name__ == "__main__":
    main()
