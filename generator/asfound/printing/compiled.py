"""Templates as they were compiled earlier in this process: `serve` builds again and again with the same ones."""

from __future__ import annotations

from jinja2 import BytecodeCache
from jinja2.bccache import Bucket


class CompiledTemplates(BytecodeCache):
    """Compiled templates by name and file; one that was changed is told by its source and compiled anew.

    Compiling takes longer than filling in. What is compiled depends on the environment's settings too, so each kind of
    environment has its own.
    """

    def __init__(self) -> None:
        self._by_key: dict[str, bytes] = {}

    def load_bytecode(self, bucket: Bucket) -> None:
        """Hand over what is known; jinja drops it where the source is another."""
        if bucket.key in self._by_key:
            bucket.bytecode_from_string(self._by_key[bucket.key])

    def dump_bytecode(self, bucket: Bucket) -> None:
        """Remember what was compiled just now."""
        self._by_key[bucket.key] = bucket.bytecode_to_string()
