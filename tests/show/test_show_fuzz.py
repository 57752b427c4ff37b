"""Whatever bytes the files hold, they are read or refused in words; nothing else comes out."""

from __future__ import annotations

import tempfile
from pathlib import Path

from hypothesis import example, given, settings
from hypothesis import strategies as st
from show_samples import SAMPLES, problems, small

GOOD = {
    name: (SAMPLES / "small" / name).read_bytes()
    for name in ("show.toml", "fixtures.csv", "log.csv")
}


def refused_in_words(name, data):
    with tempfile.TemporaryDirectory() as folder:
        show = small(Path(folder))
        (show / name).write_bytes(data)
        for problem in problems(show):
            assert problem.refused
            assert problem.says.endswith((".", '."'))
            assert problem.remedy
            if problem.file == name and problem.line is not None:
                assert 1 <= problem.line <= data.count(b"\n") + data.count(b"\r") + 2


@st.composite
def spoilt(draw, data):
    """The good bytes with a stretch cut out and something else put in."""
    start = draw(st.integers(0, len(data)))
    end = draw(st.integers(start, min(len(data), start + 40)))
    put = draw(
        st.one_of(
            st.binary(max_size=12),
            st.text(max_size=8).map(lambda t: t.encode("utf-8", "replace")),
            st.sampled_from(
                [b'"', b"\n", b"=", b"[[", b"1e999", b"nan", b"-1", b",", b";", b"\0", b"9" * 5000]
            ),
        )
    )
    return data[:start] + put + data[end:]


@settings(max_examples=150, deadline=None)
@example(b"x = " + b"[" * 3000)
@example(b"x = " + b"9" * 5000)
@example(b"format = 1\n[policy]\nrisk = " + b"9" * 400)
@example(b"positions = [1, [], {id = 3}]\nsite = 2\nroofs = 'x'\nfeeds = [{}]\ncontacts = [[]]")
@example(b"[event]\nload_in_at = 0001-01-01T00:00:00+23:59\n[site]\ntimezone = 5")
@given(st.one_of(st.binary(max_size=200), spoilt(GOOD["show.toml"])))
def test_settings(data):
    refused_in_words("show.toml", data)


@settings(max_examples=150, deadline=None)
@example(b"id,code,position,count\nA,IP65,tower,1e400\n")
@example(b"id,code,position,count\nA,IP65,tower," + b"9" * 400 + b"\n")
@example(b"id,code,position\n" + b"A" * 140000 + b",IP65,tower\n")
@given(st.one_of(st.binary(max_size=200), spoilt(GOOD["fixtures.csv"])))
def test_fixtures(data):
    refused_in_words("fixtures.csv", data)


@settings(max_examples=100, deadline=None)
@given(st.one_of(st.binary(max_size=200), spoilt(GOOD["log.csv"])))
def test_log(data):
    refused_in_words("log.csv", data)
