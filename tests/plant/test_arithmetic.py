"""The rules that fix a function's arithmetic, each held against exact fractions."""

# All functions here have one signature.
# ruff: noqa: ARG005

import ast
import enum
import fractions
import inspect
import traceback

import numba
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

import plant.compiler  # noqa: F401 (teaches numba the fused multiply-add)
from plant.arithmetic import fixed, rewritten

THIRD = 1.0 / 3.0
SEVEN = 7.0
WIDTH = 8
Place = enum.IntEnum("Place", [("first", 16)])

numbers = st.floats(-1e6, 1e6).map(lambda x: x if abs(x) > 1e-6 else 0.0)
given_numbers = given(*(numbers for _ in range(4)))


def sum_of(a, b, c, d):
    """Return a sum, with a docstring that stays."""
    return a * b + c


def added_after(a, b, c, d):
    return c + a * b


def difference(a, b, c, d):
    return a * b - c


def subtracted(a, b, c, d):
    return c - a * b


def two_products(a, b, c, d):
    return a * b + c * d


def two_products_less(a, b, c, d):
    return a * b - c * d


def three_factors(a, b, c, d):
    return a * b * c - d


def in_place(a, b, c, d):
    c += a * b
    return c


def taken_in_place(a, b, c, d):
    c -= a * b
    return c


def by_a_literal(a, b, c, d):
    return a / 3.0


def by_a_constant(a, b, c, d):
    return a / SEVEN + b


def by_a_product(a, b, c, d):
    return a / (SEVEN * 0.1) - b


def by_a_variable(a, b, c, d):
    b = b if b != 0.0 else 1.0
    return a / b


def exact(*terms):
    """Return the exact sum of products, rounded once."""
    total = fractions.Fraction(0)
    for factors in terms:
        product = fractions.Fraction(1)
        for factor in factors:
            product *= fractions.Fraction(factor)
        total += product
    return float(total)


EXPECTED = {
    sum_of: lambda a, b, c, d: exact((a, b), (c,)),
    added_after: lambda a, b, c, d: exact((a, b), (c,)),
    difference: lambda a, b, c, d: exact((a, b), (-c,)),
    subtracted: lambda a, b, c, d: exact((-a, b), (c,)),
    two_products: lambda a, b, c, d: exact((a, b), (c * d,)),
    two_products_less: lambda a, b, c, d: exact((a, b), (-(c * d),)),
    three_factors: lambda a, b, c, d: exact((a * b, c), (-d,)),
    in_place: lambda a, b, c, d: exact((a, b), (c,)),
    taken_in_place: lambda a, b, c, d: exact((-a, b), (c,)),
    by_a_literal: lambda a, b, c, d: a * (1.0 / 3.0),
    by_a_constant: lambda a, b, c, d: exact((a, 1.0 / SEVEN), (b,)),
    by_a_product: lambda a, b, c, d: exact((a, 1.0 / (SEVEN * 0.1)), (-b,)),
    by_a_variable: lambda a, b, c, d: a / (b if b != 0.0 else 1.0),
}
PLAIN = {function: fixed(function) for function in EXPECTED}
COMPILED = {function: numba.njit(plain) for function, plain in PLAIN.items()}


@pytest.mark.parametrize("function", EXPECTED, ids=lambda function: function.__name__)
@given_numbers
def test_each_form_rounds_where_the_rule_says(function, a, b, c, d):
    expected = EXPECTED[function](a, b, c, d)

    assert PLAIN[function](a, b, c, d) == expected
    assert COMPILED[function](a, b, c, d) == expected


def test_the_rule_matters():
    # The product is 1 - 2**-104: 1 where it is rounded by itself.
    a, b = 1.0 + 2.0**-52, 1.0 - 2.0**-52

    assert difference(a, b, 1.0, 0.0) == 0.0
    assert PLAIN[difference](a, b, 1.0, 0.0) == -(2.0**-104)


def place_of(b, column, k, step):
    row = Place.first + (step // 4) * WIDTH
    cell = step - column * WIDTH
    b[Place.first + column * WIDTH + k] += 1.0
    return row + k, cell, b[row + column * k - k]


def test_indices_and_whole_constants_are_left_alone():
    [plain] = ast.parse(inspect.getsource(place_of)).body

    assert ast.unparse(rewritten(place_of)) == ast.unparse(plain)


@given(*(st.integers(-1000, 1000) for _ in range(3)))
def test_whole_variables_give_whole_results(a, b, c):
    for function in (PLAIN[sum_of], COMPILED[sum_of]):
        result = function(a, b, c, 0)
        assert isinstance(result, int)
        assert result == a * b + c


def constants(x):
    return x * (1.0 / 6.0 + THIRD * 2.0) - (4.0 / 1.5)


def test_constants_are_worked_out_once():
    tree = rewritten(constants)

    assert ast.unparse(tree.body) == (
        f"return fused(x, {1.0 / 6.0 + THIRD * 2.0!r}, {-(4.0 / 1.5)!r})"
    )


def hidden(SEVEN, a):  # noqa: N803 (a name of the module, on purpose)
    return a / SEVEN


def test_a_local_name_hides_the_constant_of_the_module():
    assert fixed(hidden)(2.0, 3.0) == 1.5
    assert ast.unparse(rewritten(hidden).body) == "return a / SEVEN"


def test_name_docstring_annotations_and_module_names_stay():
    before = set(globals())

    again = fixed(sum_of)

    assert (again.__name__, again.__doc__) == ("sum_of", sum_of.__doc__)
    assert (again.__module__, again.__qualname__) == (sum_of.__module__, "sum_of")
    assert again.__globals__ is sum_of.__globals__
    assert set(globals()) == before
    assert inspect.getsource(again) == inspect.getsource(sum_of)
    assert ast.unparse(rewritten(again)) == ast.unparse(rewritten(sum_of))


def failing(a, b):
    unused = a * b + 1.0
    return unused / missing  # noqa: F821 (the fault that is looked for)


def test_a_traceback_names_file_and_line():
    with pytest.raises(NameError) as caught:
        fixed(failing)(1.0, 2.0)

    frame = traceback.extract_tb(caught.value.__traceback__)[-1]
    assert frame.filename == __file__
    assert frame.line.startswith("return unused / missing")


# Random sums of products, against an evaluator of its own.
leaves = st.sampled_from("abcd")
expressions = st.recursive(
    leaves, lambda inner: st.tuples(st.sampled_from("+-*"), inner, inner), max_leaves=8
)


def text(expression):
    if isinstance(expression, str):
        return expression
    sign, left, right = expression
    return f"({text(left)} {sign} {text(right)})"


def value(expression, of):
    """Return an expression's value under the rule: the left product is fused, else the right."""
    if isinstance(expression, str):
        return of[expression]
    sign, left, right = expression
    if sign == "*":
        return value(left, of) * value(right, of)
    turned = 1.0 if sign == "+" else -1.0
    if left[0] == "*":
        return exact((value(left[1], of), value(left[2], of)), (turned * value(right, of),))
    if right[0] == "*":
        return exact((turned * value(right[1], of), value(right[2], of)), (value(left, of),))
    return value(left, of) + turned * value(right, of)


@given(expressions, *(st.floats(-4.0, 4.0) for _ in range(4)))
def test_any_sum_of_products_follows_the_rule(tmp_path_factory, expression, a, b, c, d):
    assume(all(x == 0.0 or abs(x) > 1e-3 for x in (a, b, c, d)))
    source = f"def drawn(a, b, c, d):\n    return {text(expression)}\n"
    path = tmp_path_factory.mktemp("drawn") / "drawn.py"
    path.write_text(source, encoding="utf-8")
    module = {}
    exec(compile(source, path, "exec"), module)  # noqa: S102 (drawn above)

    result = fixed(module["drawn"])(a, b, c, d)

    assert result == value(expression, {"a": a, "b": b, "c": c, "d": d})
