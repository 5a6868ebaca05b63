"""Many recordings diagnosed, over processes or a scheduler; killed at any moment, it goes on."""

from spoolwright.bootstrap.batch.run import BatchDone, diagnose_all

__all__ = ["BatchDone", "diagnose_all"]
