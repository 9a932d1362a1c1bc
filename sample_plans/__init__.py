"""Sample drawings of an invented scenario, and the code that draws them."""
