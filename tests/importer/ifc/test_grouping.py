"""Many alike are one finding that counts them and names the first few."""

from __future__ import annotations

from collections import Counter
from pathlib import Path

from importer.ifc.grouping import MOST_LISTED, listed
from tests.importer.ifc.models import Building, codes, said

MANY = 30


def test_list_of_places_ends() -> None:
    places = [f"p{k}" for k in range(MANY)]
    assert listed(places[:MOST_LISTED]) == "; ".join(places[:MOST_LISTED])
    assert listed(places).endswith(f"p{MOST_LISTED - 1} and {MANY - MOST_LISTED} more")


def test_each_kind_of_trouble_is_told_once(tmp_path: Path) -> None:
    house = Building()
    storey = house.storey()
    for k in range(MANY):
        x = 10000.0 * k
        house.space(storey, (x, 0, x + 4000, 3000), f"Room {k}")
        house.space(storey, (x, 0, x + 4000, 3000), f"Twin {k}")
        house.space(storey, (x + 3000, 0, x + 7000, 3000), f"Next {k}")
        bare = house.root("IfcSpace", Name=f"Bare {k}", CompositionType="ELEMENT")
        house.join("IfcRelAggregates", RelatingObject=storey, RelatedObjects=[bare])
        house.door(storey, (x + 1000, 1000, x + 1900, 1100))
        house.door(storey, (x, 90000, x + 900, 90100))
    plan = house.read(tmp_path)
    times = Counter(codes(plan))
    for code in ("IMP-350", "IMP-356", "IMP-357", "IMP-450", "IMP-451"):
        assert times[code] == 1
        assert f"{MANY} " in said(plan, code)
        assert len(said(plan, code)) < 1200
    assert max(times.values()) == 1
