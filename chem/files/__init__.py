"""The files that people write."""
