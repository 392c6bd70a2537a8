"""Kinds of processor that one machine can stand in for, as settings of a Python process.

numpy and OpenBLAS choose their code when they are loaded, numba when it compiles.
"""

import dataclasses
import os
import subprocess
import sys
from collections.abc import Mapping, Sequence
from pathlib import Path

ROOT = Path(__file__).parents[2]
_NO_AVX512 = "X86_V4 AVX512_ICL AVX512_SPR"


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class Kind:
    """A kind of processor: what numba compiles for, and other settings."""

    numba: str | None = None
    settings: Mapping[str, str] = dataclasses.field(default_factory=dict)

    def environment(self, cache: Path) -> dict[str, str]:
        """Return the variables of a process; what is compiled for another kind goes to `cache`."""
        compiled = {} if self.numba is None else {
            "NUMBA_CPU_NAME": self.numba,
            "NUMBA_CPU_FEATURES": "+avx2,+fma",
            "XDG_CACHE_HOME": str(cache),
        }  # fmt: skip
        paths = {"PYTHONPATH": str(ROOT), "PYTHONWARNINGS": "ignore"}
        return os.environ | paths | compiled | dict(self.settings)


# The first is the machine's own.
KINDS = {
    "native": Kind(),
    "AVX2": Kind(
        numba="haswell",
        settings={"NPY_DISABLE_CPU_FEATURES": _NO_AVX512, "OPENBLAS_CORETYPE": "Haswell"},
    ),
    "numpy without AVX2": Kind(
        settings={
            "NPY_DISABLE_CPU_FEATURES": f"X86_V3 {_NO_AVX512}",
            "OPENBLAS_CORETYPE": "Prescott",
        }
    ),
    "other BLAS": Kind(settings={"OPENBLAS_CORETYPE": "Sandybridge"}),
}


def run_python(words: Sequence[str], kind: Kind, *, cache: Path, timeout_s: float) -> str:
    """Return what a Python process of a kind prints.

    Raises
    ------
    RuntimeError
        It failed; with what it wrote about that.
    """
    done = subprocess.run(
        [sys.executable, *words],
        cwd=ROOT,
        env=kind.environment(cache),
        capture_output=True,
        text=True,
        check=False,
        timeout=timeout_s,
    )
    if done.returncode:
        raise RuntimeError(done.stderr)
    return done.stdout
