"""What layer names say, in the languages drawings come in."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from importer.dxf.layer_words import (
    is_door_name,
    is_flat_name,
    is_ignored_name,
    is_measure_name,
    is_room_name,
    is_wall_name,
    is_window_name,
    says,
)


@pytest.mark.parametrize(
    "layer",
    [
        "A-WALL",
        "A-WALL-INTR",
        "plan$0$A-WALL",
        "xref|WALLS",
        "02_Innenwand",
        "Wände",
        "MAUERWERK",
        "Cloisons",
        "MURS",
        "muros_exteriores",
        "Tabiques",
        "PARETI",
        "Parede",
        "binnenmuren",
        "Ściany",
        "ściana nośna",
        "стены",
        "Наружные стены",
        "Väggar",
        "seinät",
        "zid",
        "duvar",
        "墙",
    ],
)
def test_wall_layers_are_known(layer: str) -> None:
    assert is_wall_name(layer)
    assert not is_ignored_name(layer)


@pytest.mark.parametrize(
    "layer",
    [
        "A-WALL-PATT",
        "WALL HATCH",
        "S-STEM-WALL",
        "FOUNDATION WALL",
        "A-FOOTER",
        "WALL-DIMS",
        "CURTAIN WALL",
        "A-BEAM",
        "GRID",
        "0",
        "Layer 1",
        "MURAL",
    ],
)
def test_layers_about_walls_or_nothing_are_no_wall_layers(layer: str) -> None:
    assert not is_wall_name(layer)


@pytest.mark.parametrize(
    "layer",
    [
        "A-DOOR",
        "DOORS",
        "Türen",
        "Innentüren",
        "TUEREN",
        "Portes",
        "puertas",
        "PORTE_INT",
        "deuren",
        "Drzwi",
        "двери",
        "Dörrar",
        "dvere",
        "doorswindows",
        "A-DOOR-FRAM",
        "建具",
    ],
)
def test_door_layers_are_known(layer: str) -> None:
    assert is_door_name(layer)


@pytest.mark.parametrize("layer", ["A-DOOR-IDEN", "DOOR TAGS", "DOOR-TEXT"])
def test_tags_of_doors_are_no_doors(layer: str) -> None:
    assert not is_door_name(layer)


@pytest.mark.parametrize(
    "layer", ["A-GLAZ", "Fenster", "FENETRES", "ventanas", "okna", "окна", "raam", "Vetrate"]
)
def test_window_layers_are_known(layer: str) -> None:
    assert is_window_name(layer)


@pytest.mark.parametrize(
    "layer",
    ["A-AREA", "ROOMS", "Raumflächen", "Pièces", "Habitaciones", "Помещения", "A-ROOM-BDRY"],
)
def test_room_layers_are_known(layer: str) -> None:
    assert is_room_name(layer)


@pytest.mark.parametrize(
    "layer", ["A-AREA-IDEN", "A-AREA-PATT", "ROOM TEXT", "GROSS AREA", "BGF-FLÄCHE"]
)
def test_tags_hatches_and_gross_areas_are_no_room_layers(layer: str) -> None:
    assert not is_room_name(layer)


@pytest.mark.parametrize("layer", ["SUITES", "Wohnungen", "A-FLAT-OTLN", "apartments", "квартиры"])
def test_flat_layers_are_known(layer: str) -> None:
    assert is_flat_name(layer)


@pytest.mark.parametrize(
    "layer", ["A-ANNO-DIMS", "Bemassung", "COTAS", "Quote", "размеры", "GRID", "Achsen"]
)
def test_measure_layers_are_known_and_ignored(layer: str) -> None:
    assert is_measure_name(layer)
    assert is_ignored_name(layer)


@pytest.mark.parametrize(
    "layer", ["A-FURN", "Möbel", "mobilier", "SANITÄR", "A-ROOF", "HATCH", "trees"]
)
def test_layers_that_bound_no_room_are_ignored(layer: str) -> None:
    assert is_ignored_name(layer)


@pytest.mark.parametrize("layer", ["A-FLOR-STRS", "A-COLS", "DOORS", "WALLS", "0", "1", "Layer7"])
def test_parts_of_the_building_and_meaningless_names_are_not_ignored(layer: str) -> None:
    assert not is_ignored_name(layer)


@given(st.text(max_size=40))
def test_any_name_is_read_and_case_does_not_matter(name: str) -> None:
    assert says(name) == says(name)
    if name.isascii() and name.isupper():
        assert says(name.lower()) == says(name)
