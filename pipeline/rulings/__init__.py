"""Rulings for many cases at once (DuckDB) and for one case in full."""
