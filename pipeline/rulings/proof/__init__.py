"""Proof by enumeration of the rules core: tables, chained ruling, whole space, invariants, open rulings."""
