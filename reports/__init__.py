"""Self-contained pages from published tables."""
