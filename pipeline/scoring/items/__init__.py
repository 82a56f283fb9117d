"""Item analysis of a 0/1 table, persons by items: classical, Rasch (marginal and conditional), two-parameter."""
