"""The version, and those of libraries, in a place that every module may import."""

from importlib.metadata import PackageNotFoundError
from importlib.metadata import version as _version

VERSION = "0.1.0"


def installed(library: str) -> str:
    """Return the version of a library that is installed here, or ``absent``."""
    try:
        return _version(library)
    except PackageNotFoundError:
        return "absent"
