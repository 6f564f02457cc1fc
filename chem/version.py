"""The version, in one place."""

VERSION = "1.0.0"
