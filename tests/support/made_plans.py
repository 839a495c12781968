"""Plan files with every key switched on, and changes of a few of their lines."""

from __future__ import annotations

from hypothesis import strategies as st

from stovergeo.inputs.plan import starter_text


def every_line() -> list[str]:
    """Return the starter plan with every line switched on that is TOML when its # is taken away."""
    on = []
    for line in starter_text().splitlines():
        bare = line.removeprefix("# ")
        looks_like_toml = line.startswith("# ") and (bare.startswith(("[", '"')) or " = " in bare.split("#")[0])
        on.append(bare if looks_like_toml else line)
    return on


UNITS = ("ft", "m", "ac", "ha", "ton", "$/ton", "$/ac", "lb/ft3", "ton/ac", "s")
#: what may stand behind an equals sign: TOML of every kind, quantities of every unit, and what is neither
VALUES = st.one_of(
    st.sampled_from(
        [
            *[
                "",
                "nan",
                "inf",
                "-inf",
                "-1",
                "0",
                "1e308",
                "9" * 20,
                "true",
                "[]",
                "{}",
                "[[1], [2]]",
                "''",
                "[1, 'a']",
            ],
            *["2026-11-05", "12:30:00", "0x1F", "1_000", "+5", "007", "1,5", "yes", "None", '"""\n"""', '"\\u0000"'],
            *["'0 ft'", "'-5 ft'", "'1e999 ft'", "'5 ac'", "'1,5 m'", "'5'", "'ft'", "'nan m'", "'60 $/ton'"],
            *["'1e-300 m'", "'1e30 ft'", "'0 ton'", "'13-45'", "'02-29'", "'best'", '"\\u202e"', "'http://a/b'"],
            *["'../../x'", "'/dev/zero'", "{path = 'a', layer = 3}", "['Jan', 'Jan']", "['no_such_pass']"],
        ]
    ),
    st.floats().map(repr),
    st.integers(-(10**20), 10**20).map(str),
    st.text(max_size=12).map(lambda t: "'" + t + "'"),
    st.builds("'{} {}'".format, st.floats(-10, 1e6), st.sampled_from(UNITS)),
)


@st.composite
def changed_lines(draw: st.DrawFn, lines: list[str]) -> list[str]:
    """Return the lines with one to three of them given another value, lost, doubled, moved or made text."""
    lines = list(lines)
    keyed = [i for i, line in enumerate(lines) if " = " in line.split("#")[0]]
    for _ in range(draw(st.integers(1, 3))):
        what = draw(st.sampled_from(["value", "value", "value", "value", "drop", "double", "move", "text", "name"]))
        i = draw(st.sampled_from(keyed))
        if what == "value":
            lines[i] = lines[i].split(" = ")[0] + " = " + draw(VALUES)
        elif what == "drop":
            lines[i] = ""
        elif what == "double":
            lines[i] = f"{lines[i]}\n{lines[i]}"
        elif what == "move":
            lines[i], lines[0] = "", lines[i]
        elif what == "text":
            lines[i] = draw(st.text(max_size=30))
        else:
            lines[i] = draw(st.text(max_size=10)) + lines[i]
    return lines
