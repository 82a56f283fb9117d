"""One row for each graded call, with everything that the rules and the scores need to know about it."""
