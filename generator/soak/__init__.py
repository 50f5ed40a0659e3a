"""Raw logs of reference and sensor: reading them, where the reference stood still, what was left of the approach."""

from generator.records.log_mapping import LogMapping, read_log_mapping
from generator.soak.approach import Approach, approach
from generator.soak.log import Log, Readings, read_log

__all__ = ["Approach", "Log", "LogMapping", "Readings", "approach", "read_log", "read_log_mapping"]
