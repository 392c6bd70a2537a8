"""What the translation does not know is refused by file and line, never guessed."""

import math

import numpy as np
import pytest

from plant.cuda.program import program
from plant.cuda.source import DEFAULT
from plant.cuda.values import TranslationError
from tests.plant.cuda import small_kernel as small

R = small.R


def while_loop(b, table, n_steps, n_sub, record):
    while b[R.way] < 1.0:
        b[R.way] = 2.0


def list_of_numbers(b, table, n_steps, n_sub, record):
    b[R.way] = [1.0, 2.0][0]


def chained(b, table, n_steps, n_sub, record):
    b[R.way] = 1.0 if 0.0 < b[R.speed] < 1.0 else 0.0


def number_as_condition(b, table, n_steps, n_sub, record):
    b[R.way] = 1.0 if b[R.speed] else 0.0


def unknown_function(b, table, n_steps, n_sub, record):
    b[R.way] = math.sin(b[R.speed])


def keyword(b, table, n_steps, n_sub, record):
    small.advance(b, 0, share=1.0)


def cube(b, table, n_steps, n_sub, record):
    b[R.way] = b[R.speed] ** 3


def changed_type(b, table, n_steps, n_sub, record):
    count = n_steps
    count = b[R.speed]
    b[R.way] = count


def unbound(b, table, n_steps, n_sub, record):
    b[R.way] = nowhere  # noqa: F821


def reckoned_row(b, table, n_steps, n_sub, record):
    b[R.way + n_steps] = 1.0


def curve_written(b, table, n_steps, n_sub, record):
    b[R.curve_0 + n_steps] = 1.0


def row_of_the_curve(b, table, n_steps, n_sub, record):
    b[R.way] = b[R.curve_1]


def row_beyond(b, table, n_steps, n_sub, record):
    b[R.curve_2 + 50] = 1.0


def row_of_the_ring(b, table, n_steps, n_sub, record):
    b[R.ring_2] = 1.0


def written_table(b, table, n_steps, n_sub, record):
    table[0, 0] = 1.0


def writing_inside(b, table, n_steps, n_sub, record):
    b[R.way] = 1.0 if small.advance(b, 0, 1.0) else 0.0


def pair_inside(b, table, n_steps, n_sub, record):
    b[R.way] = 1.0 + small.both(1.0, 2.0)[0] if n_steps > 0 else 0.0


def two_targets(b, table, n_steps, n_sub, record):
    b[R.way] = b[R.speed] = 1.0


def wrong_length(b, table, n_steps, n_sub, record):
    one, two, three = small.both(1.0, 2.0)
    b[R.way] = one + two + three


def break_of_columns(b, table, n_steps, n_sub, record):
    for column in range(2):
        if b[R.way] > float(column):
            break


def by_twos(b, table, n_steps, n_sub, record):
    for step in range(0, n_steps, 2):
        b[R.way] = float(step)


def over_names(b, table, n_steps, n_sub, record):
    for name in ("a", "b"):
        b[R.way] = float(len(name))


def endless(b, k):
    endless(b, k)


def itself(b, table, n_steps, n_sub, record):
    endless(b, 0)


def word_and_number(b, table, n_steps, n_sub, record):
    b[R.way] = np.uint64(n_steps) + 1.5


def two_kinds(b, k):
    if b[R.way + k] > 0.0:
        return 1.0
    return b[R.way + k] > -1.0


def of_two_kinds(b, table, n_steps, n_sub, record):
    two_kinds(b, 0)


SAID = {
    while_loop: "While is not translated",
    list_of_numbers: "List is not translated",
    chained: "a comparison of more than two numbers",
    number_as_condition: "a condition must be true or false",
    unknown_function: "a call of <built-in function sin>",
    keyword: "without keywords",
    cube: "a power other than the square",
    changed_type: "double where int is wanted",
    unbound: "nowhere has no value here",
    reckoned_row: "where no ring begins",
    curve_written: "where no ring begins",
    row_of_the_curve: "none that stands by itself",
    row_beyond: "none that stands by itself",
    row_of_the_ring: "none that stands by itself",
    written_table: "only rows of a lane are written",
    writing_inside: "advance_0 writes rows: its call must stand by itself",
    pair_inside: "both_0 gives no one number: its call must stand alone",
    two_targets: "several targets",
    wrong_length: "must be a tuple of that length",
    break_of_columns: "break in a loop that is written out",
    by_twos: "a loop must count by one",
    over_names: "a loop must be over a range",
    itself: "endless calls itself",
    word_and_number: "double and word do not meet",
    of_two_kinds: "bool is returned here, and double before",
}


@pytest.mark.parametrize("entry", SAID, ids=lambda entry: entry.__name__)
def test_a_construct_is_refused_by_file_and_line(entry):
    with pytest.raises(TranslationError) as refused:
        program(small.source(entry), (), DEFAULT)

    said = str(refused.value)
    assert SAID[entry] in said
    assert said.startswith(f"{__file__}:")
    line = int(said.removeprefix(f"{__file__}:").split(":")[0])
    first = entry.__code__.co_firstlineno
    assert first < line <= first + 6 or entry in {itself, of_two_kinds}
