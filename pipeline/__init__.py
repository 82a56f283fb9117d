"""Platework: from evaluators' sheets to readiness pages that can be defended call by call."""
