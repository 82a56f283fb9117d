"""Figures: drawn in the page as SVG, and by plotly where scripts run."""
