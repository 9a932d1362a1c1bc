"""A drawing in, a Plan out. Knows nothing of planks."""
