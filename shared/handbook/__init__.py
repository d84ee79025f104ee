"""Formulas of published handbooks, one module per chapter."""
