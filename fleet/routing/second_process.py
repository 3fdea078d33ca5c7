"""The process of a second search: a question on its input, the answer on its output."""

from __future__ import annotations

import os
import sys
from typing import Final

from fleet.routing.second_core import answer_question

# Pages and phones of the same machine go first.
NICENESS: Final = 5

if __name__ == "__main__":
    if hasattr(os, "nice"):
        os.nice(NICENESS)
    answer_question(sys.stdin.buffer, sys.stdout.buffer)
