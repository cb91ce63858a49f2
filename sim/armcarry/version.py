"""The version, in a place that every module may import."""

VERSION = "0.1.0"
