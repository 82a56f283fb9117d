"""Units in which a sheet may give a measured column, and how its cells become the column's own unit."""

from __future__ import annotations

UNITS: dict[str, dict[str, str]] = {
    "in": {"in": "1", "cm": "2.54", "mm": "25.4", "m": "0.0254", "ft": "12"},
    "mph": {"mph": "1", "km/h": "1.609344", "m/s": "0.44704"},
}
"""For a declared unit, the units that a sheet may use: how many of them make one (of a foot: how many inches it has).

By definition an inch is 25.4 mm and a mile 1,609.344 m (international yard of 1959; from memory).
"""

DECIMALS = 6
"""To so many decimals a converted cell is rounded, so that 30.48 cm are 12 inches and not 12.000000000000002."""


def converted_sql(cell: str, declared: str, unit: str) -> str:
    """Return the DuckDB expression that turns the number `cell`, in `unit`, into the declared unit.

    KeyError where the two are not of a kind.
    """
    factor = UNITS[declared][unit]
    sign = "*" if unit == "ft" else "/"
    return f"round({cell} {sign} CAST({factor} AS DOUBLE), {DECIMALS})"
