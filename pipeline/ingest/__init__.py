"""From people's files to typed tables, losing nothing."""
