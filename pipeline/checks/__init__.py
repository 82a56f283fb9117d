"""Checks made from the table declarations, decided by SQL and confirmed by great-expectations."""
