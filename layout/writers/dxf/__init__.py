"""The architect's DXF, marked up and given back whole; and reading such a drawing again."""
