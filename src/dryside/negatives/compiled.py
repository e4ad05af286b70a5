"""How the engine's loops are compiled: fast arithmetic, kept on disk, free of the interpreter's lock.

Importing this module imports numba; modules that a command imports at start import it late.
"""

from __future__ import annotations

from typing import Any

import llvmlite.binding
import numba
from numba.extending import intrinsic

from dryside.negatives.kernel_cache import ensure_cache_place


def _use_wide_vectors() -> None:
    """Let the compiler use 512-bit vectors where they cost no clock speed: from the processors that have VBMI2 on.

    It avoids them by default; with them the per-pixel pass is about a third faster.
    """
    features = llvmlite.binding.get_host_cpu_features()
    if config.CPU_FEATURES is None and config.CPU_NAME is None and features.get("avx512vbmi2"):
        features["prefer-256-bit"] = False
        config.CPU_FEATURES = features.flatten()


config: Any = numba.config
ensure_cache_place()
_use_wide_vectors()

# All that fast arithmetic allows, but for another order of sums: rounding by adding a large number relies on the order.
_FAST = {"nnan", "ninf", "nsz", "arcp", "contract", "afn"}
# numba's decorators have types that its own decorated functions do not meet.
inner: Any = numba.njit(fastmath=_FAST, error_model="numpy")
"""For functions that only compiled code calls."""

entry: Any = numba.njit(nogil=True, cache=True, fastmath=_FAST, error_model="numpy")
"""For functions that Python calls: cached on disk, and other threads run meanwhile."""

bit_level: Any = intrinsic
"""For functions that are single machine instructions."""
