"""What decides results on a machine, and what only decides how soon they come."""

import platform

from rich.console import Console

from optimizer.base.versions import DECIDING, installed_version
from optimizer.execution.provenance import model_digest
from plant.compile import CACHE_FOLDER, COMPILER_OPTIONS
from plant.compiler import target_processor
from plant.cuda.available import PACKAGES

_SHOWN_DIGITS = 16  # of a digest


def version_facts() -> dict[str, str]:
    """Return names and values: first what decides results, from `levelgain` to `model`.

    `kernel` is the folder of the compiled kernel, by a digest of its sources.
    """
    gpu = {name: text for name in PACKAGES if (text := installed_version(name))}
    return {
        **{name: installed_version(name) or "not installed" for name in DECIDING},
        "model": model_digest()[:_SHOWN_DIGITS],
        "python": platform.python_version(),
        "llvmlite": installed_version("llvmlite") or "not installed",
        "c_library": " ".join(platform.libc_ver()).strip() or platform.system(),
        "processor": f"{platform.machine()} {target_processor()}",
        "compiler": ", ".join(f"{name}={value}" for name, value in COMPILER_OPTIONS.items()),
        "kernel": str(CACHE_FOLDER),
        "gpu_library": ", ".join(f"{name} {text}" for name, text in gpu.items()) or "none",
    }


def print_versions(out: Console, facts: dict[str, str]) -> None:
    """Print what `version_facts` found."""
    width = max(map(len, facts))
    for name, text in facts.items():
        out.print(f"{name:<{width}}  {text}")
