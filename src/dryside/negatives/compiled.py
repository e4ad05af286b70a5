"""How the engine's loops are compiled: fast arithmetic, kept on disk, free of the interpreter's lock.

Importing this module imports numba; modules that a command imports at start import it late.
"""

from __future__ import annotations

from typing import Any

import numba
from numba.extending import intrinsic

from dryside.negatives.kernel_cache import ensure_cache_place

ensure_cache_place()

# numba's decorators have types that its own decorated functions do not meet.
inner: Any = numba.njit(fastmath=True, error_model="numpy")
"""For functions that only compiled code calls."""

entry: Any = numba.njit(nogil=True, cache=True, fastmath=True, error_model="numpy")
"""For functions that Python calls: cached on disk, and other threads run meanwhile."""

bit_level: Any = intrinsic
"""For functions that are single machine instructions."""
