"""Spoolwright: evidence and computation for turboshaft engine overhaul."""

__version__ = "0.1.0"
