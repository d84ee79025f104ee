"""Used by all three parts, knows none of them: lengths, places, problems, handbook, tables, rendering."""
