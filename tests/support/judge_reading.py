"""What must hold of every reading of made-up layers, and values that no column expects."""

from __future__ import annotations

from hypothesis import strategies as st


def read_and_judge(farm) -> None:
    """Read; an exception fails the test by itself, a silent nothing fails it here."""
    layers = farm.read()
    if layers is None or layers.fields is None or layers.points is None:
        assert farm.report.refused
    for problem in farm.report:
        assert problem.where
        assert problem.what
        assert "\x00" not in str(problem)
        assert "\u202e" not in str(problem)


ODD = st.one_of(
    st.none(),
    st.text(max_size=12),
    st.floats(allow_nan=True, allow_infinity=True),
    st.integers(-(10**30), 10**30),
    st.sampled_from(["", "-", "NaN", "1e400", "1,5", "=1+1", "\u202e1", "0x10", "True", "12:30", "1_000", " 7 ", "١٢"]),
)
