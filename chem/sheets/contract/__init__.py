"""The JSON objects: one model for each, filled from facts and sentences."""
