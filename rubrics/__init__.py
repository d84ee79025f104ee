"""How well it fits: checks, decisions, sheets, collection, grading."""
