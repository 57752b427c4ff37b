from __future__ import annotations

import pytest

from monitor.domain import BadInputError
from monitor.show import secret


def test_a_secret_from_a_variable_or_a_file(tmp_path):
    (tmp_path / "key.txt").write_text("hunter2\n", encoding="utf-8")
    assert secret("env:KEY", {"KEY": "hunter2"}, tmp_path) == "hunter2"
    assert secret("file:key.txt", {}, tmp_path) == "hunter2"
    assert secret(f"file:{tmp_path / 'key.txt'}", {}, tmp_path / "elsewhere") == "hunter2"


@pytest.mark.parametrize(
    ("reference", "code"),
    [
        ("hunter2", "plain-secret"),
        ("env:hunter2 secret", "plain-secret"),
        ("file:", "plain-secret"),
        ("", "plain-secret"),
        ("env:KEY", "secret-unset"),
        ("env:EMPTY", "secret-unset"),
        ("file:none.txt", "secret-file"),
        ("file:.", "secret-file"),
        ("file:empty.txt", "secret-file"),
        ("file:long.txt", "secret-file"),
        ("file:bad\0name", "secret-file"),
    ],
)
def test_what_cannot_be_resolved_says_so_and_shows_nothing(tmp_path, reference, code):
    (tmp_path / "empty.txt").write_text(" \n", encoding="utf-8")
    (tmp_path / "long.txt").write_text("hunter2" * 1000, encoding="utf-8")
    with pytest.raises(BadInputError) as fault:
        secret(reference, {"EMPTY": " "}, tmp_path)
    (problem,) = fault.value.problems
    assert problem.code == code
    assert problem.remedy
    assert "hunter2" not in str(problem)
