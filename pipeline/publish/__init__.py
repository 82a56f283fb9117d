"""The tables that pages and exports are made from."""
