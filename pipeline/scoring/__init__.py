"""Grades, adjusted rates, quiz, readiness and rankings."""
