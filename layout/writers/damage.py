"""How many damaged planks a job takes before another pack has to be opened."""

from __future__ import annotations

from layout.floor import JobResult, Quantities


def left_in_packs(job: JobResult) -> int:
    """Planks in the packs ordered beyond those laid, spares included."""
    return sum(map(_left, job.by_product.values()))


def _left(q: Quantities) -> int:
    return q.packs * q.product.per_pack - q.planks


def damaged_at_an_end(job: JobResult) -> int:
    """Planks that may come with one damaged end and are laid where that end is waste."""
    return sum(layout.damaged.in_all for plan in job.plans for layout in plan.bays)


def damage_words(job: JobResult) -> str:
    """Both in one sentence; empty for a job without a floor."""
    bays = [layout for plan in job.plans for layout in plan.bays]
    if not bays:
        return ""
    up_to = max(layout.damaged.up_to_mm for layout in bays)
    at_end, left = damaged_at_an_end(job), left_in_packs(job)
    return (
        f"{at_end} with one end damaged by up to {up_to:g}, laid where that end is waste; {left} of any "
        "damage, left in the packs with the spares"
    )
