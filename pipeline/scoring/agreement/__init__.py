"""Agreement of raters beyond chance, and how dependable their scores are."""
