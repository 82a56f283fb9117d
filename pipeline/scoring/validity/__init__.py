"""Simulated seasons whose truth is known, judged by the engine as real ones are."""
