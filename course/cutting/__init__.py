"""Cutting layouts for sheets, boards and sticks, with a bound that says how good they are."""
