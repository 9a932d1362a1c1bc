"""Files from a result: they know `layout.floor` and nothing of the solver."""
