"""A Plan and a RuleSet in, a JobResult out, then files."""
