"""The lane loops become packed instructions: seen in the machine code, not in a time."""

import platform

import pytest

from tests.benchmarks.machine_code import arithmetic, kernel_assembly


@pytest.mark.proof  # it compiles the kernel anew
@pytest.mark.skipif(
    platform.machine() not in {"x86_64", "AMD64"}, reason="reads x86 instruction names"
)
def test_nearly_all_arithmetic_of_the_kernel_is_packed():
    counts = arithmetic(kernel_assembly())

    packed = sum(count for (_, lanes), count in counts.items() if lanes > 1)
    scalar = sum(count for (_, lanes), count in counts.items() if lanes == 1)
    # What is left scalar reads the road, where every lane stands at its own place.
    assert packed > 500
    assert packed > 5 * scalar
