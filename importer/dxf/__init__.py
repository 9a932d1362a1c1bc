"""DXF: loading and repair, units, flattening, walls, doors, labels, storeys."""
