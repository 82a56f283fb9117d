"""A made-up season with known truth, and a real one to compare with. Nothing in the product imports this."""
