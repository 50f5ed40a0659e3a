"""Who recorded, merged and approved what, read from git and from the certificates that were issued.

A visit is approved by a person whom people.yml lets approve on that day and who is technician of no row of any revision
of it. Approved are its bytes at its path: an edited record awaits review again.
"""

from asfound.provenance.facts import Approval, ApprovalState, FileHistory, Provenance, Step, VisitProvenance
from asfound.provenance.records_history import HistoryOf, provenance, provenance_at, without_history

__all__ = [
    "Approval",
    "ApprovalState",
    "FileHistory",
    "HistoryOf",
    "Provenance",
    "Step",
    "VisitProvenance",
    "provenance",
    "provenance_at",
    "without_history",
]
