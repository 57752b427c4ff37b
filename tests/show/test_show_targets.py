from __future__ import annotations

from show_samples import ENVIRON, notes, problems, small

from monitor.alerts import by_apprise
from monitor.show import read_show


def with_contact(folder, url: str, more: str = ""):
    show = small(folder)
    file = show / "show.toml"
    file.write_text(
        file.read_text(encoding="utf-8")
        + f'\n[[contacts]]\nname = "phones"\nkind = "apprise"\nurl = {url}\n{more}\n',
        encoding="utf-8",
    )
    return show


def environ(**secrets: str) -> dict[str, str]:
    return {**ENVIRON, **secrets}


def phones(show, variables):
    return next(c for c in read_show(show, variables).show.contacts if c.name == "phones")


def test_one_url_or_several(tmp_path):
    variables = environ(ONE="jsons://a.example/k3y", TWO="jsons://b.example/k3y")
    one = phones(with_contact(tmp_path / "1", '"env:ONE"', "short = true"), variables)
    assert one.to == ("env:ONE",)
    assert one.short
    two = phones(with_contact(tmp_path / "2", '["env:ONE", "env:TWO"]'), variables)
    assert two.to == ("env:ONE", "env:TWO")
    assert not two.short


def refused(show, variables):
    found = problems(show, variables)
    assert not any("k3y" in str(p) for p in found)
    return [p.code for p in found]


def test_what_is_refused(tmp_path):
    def of(name, url, **variables):
        return refused(with_contact(tmp_path / name, url), environ(**variables))

    assert of("plain", '"json://127.0.0.1/k3y"') == ["plain-secret"]
    assert of("unset", '"env:ONE"') == ["secret-unset"]
    assert of("unknown", '"env:ONE"', ONE="nosuchservice://k3y") == ["bad-url"]
    assert of("open", '"env:ONE"', ONE="json://a.example/k3y") == ["not-encrypted"]
    assert of("twice", '["env:ONE", "env:ONE"]', ONE="jsons://a.example/k3y") == ["repeated"]
    assert of("none", "[]") == ["missing-key"]
    assert of("here", '"env:ONE"', ONE="json://127.0.0.1/k3y") == []


def test_short_is_for_these_alone(tmp_path):
    show = with_contact(tmp_path, '"https://example.org/"', 'secret = "env:KEY"\nshort = true')
    file = show / "show.toml"
    file.write_text(file.read_text("utf-8").replace('"apprise"', '"webhook"'), "utf-8")
    assert [p.code for p in problems(show, environ(KEY="x"))] == ["unknown-key"]


def test_a_webhook_has_one_url(tmp_path):
    urls = '["https://example.org/", "https://example.com/"]'
    show = with_contact(tmp_path, urls, 'secret = "env:KEY"')
    file = show / "show.toml"
    file.write_text(file.read_text("utf-8").replace('"apprise"', '"webhook"'), "utf-8")
    assert [p.code for p in problems(show, environ(KEY="x"))] == ["too-many"]


def test_a_missing_library_is_told_with_the_command_that_mends_it(tmp_path, monkeypatch):
    monkeypatch.setattr(by_apprise, "LIBRARY", "no_such_library")
    show = with_contact(tmp_path, '"env:ONE"')
    (problem,) = problems(show, environ(ONE="jsons://a.example/k3y"))
    assert problem.code == "missing-extra"
    assert 'pip install "dryspell[contacts]"' in problem.remedy


def test_several_behind_one_url_are_told(tmp_path):
    # the library's own example form of a text message service with two numbers
    url = "sns://AHIAJGNT76XIMXDBIJYA/bu1dHSdO22pfaaVy/wmNsdjJQWUpT/us-west-2/+12223334444/+12223334445"
    show = with_contact(tmp_path, '"env:ONE"')
    assert "several-targets" in [n.code for n in notes(show, environ(ONE=url))]
