"""A building model (IFC) in, a `Plan` out. The geometry kernel only ever runs in a child process."""
