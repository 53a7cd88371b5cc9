"""A recorded trip of the past: what it implies, whether it can be true, how it was likely run."""

from haulplan.period.findings import Reconstruction, read_and_reconstruct, reconstruct
from haulplan.period.record import Record

__all__ = ["Reconstruction", "Record", "read_and_reconstruct", "reconstruct"]
