"""A chief's phone on the pages that describe the rig: the form as a browser reads and sends it."""

from __future__ import annotations

import tomllib
from html.parser import HTMLParser

from duty_site import Phone
from web_site import now

from monitor.builtin import builtin
from monitor.store.devices import make_link
from monitor.store.set_up import set_up_changes


class Form(HTMLParser):
    """Fields of the first form of a page to an address, and what the page says is wrong."""

    def __init__(self, text, action):
        super().__init__(convert_charrefs=True)
        self.fields, self.wrong, self.on_top = {}, {}, []
        self._action, self._inside, self._select, self._area = action, False, "", ""
        self._says, self._pending, self._list = None, [], False
        self.feed(text)
        self.close()

    def handle_starttag(self, tag, attrs):
        of = dict(attrs)
        if tag == "form":
            self._inside = of.get("action") == self._action and not self.fields
        if tag in ("span", "li", "p") and ("wrong" in of.get("class", "").split() or self._list):
            self._says = []
        if tag == "ul" and "wrong" in of.get("class", "").split():
            self._list = True
        if not self._inside:
            return
        name, value = of.get("name", ""), of.get("value") or ""
        if tag in ("input", "select", "textarea") and self._pending:
            self.wrong.setdefault(name, []).extend(self._pending)
            self._pending = []
        if tag == "input" and of.get("type") in ("radio", "checkbox"):
            if "checked" in of:
                self.fields[name] = value
        elif tag == "input" and value:
            self.fields[name] = value
        elif tag == "select":
            self._select = name
        elif tag == "option" and ("selected" in of or self._select not in self.fields):
            self.fields[self._select] = value
        elif tag == "textarea":
            self._area = name

    def handle_endtag(self, tag):
        if tag == "form":
            self._inside = False
        if tag == "ul":
            self._list = False
        if tag == "textarea":
            self._area = ""
        if tag in ("span", "li", "p") and self._says is not None:
            said, self._says = " ".join("".join(self._says).split()), None
            if self._inside and tag == "span":
                self._pending.append(said)
            else:
                self.on_top.append(said)

    def handle_data(self, data):
        if self._says is not None:
            self._says.append(data)
        if self._area:
            self.fields[self._area] = (self.fields.get(self._area, "") + data).removeprefix("\n")


class Chief(Phone):
    """Whoever came in by a link of this role."""

    def __init__(self, site, name="Ines", role="chief"):
        super().__init__(site)
        with site.db() as db:
            secret = make_link(db, role, f"{role} of {name}", now())
        self.comes_in(secret, name)

    def form(self, path):
        """A page's form as it stands."""
        answer = self.get(path)
        assert answer.status_code == 200, answer.text
        return Form(answer.text, path.partition("?")[0])

    def sends(self, path, fields, do="keep", **more):
        return self.post(path, {**fields, "do": do}, **more)

    def keeps(self, path, **changed):
        """The form with some fields changed, kept."""
        answer = self.sends(path.partition("?")[0], {**self.form(path).fields, **changed})
        assert answer.status_code == 303, Form(answer.text, path.partition("?")[0]).__dict__
        return answer


def demo_show(folder):
    """The demo festival, with its page at any free port."""
    folder.mkdir()
    for name in ("show.toml", "fixtures.csv", "weather.csv"):
        (folder / name).write_bytes(builtin("demo").joinpath(name).read_bytes())
    with (folder / "show.toml").open("ab") as file:
        file.write(b'\n[page]\nlisten = "127.0.0.1:0"\n')
    return folder


def show_of(site):
    return tomllib.loads((site.folder / "show.toml").read_text(encoding="utf-8"))


def position(site, name):
    return next(found for found in show_of(site)["positions"] if found["id"] == name)


def files(site):
    return {
        path.name: path.read_bytes()
        for path in sorted(site.folder.iterdir())
        if path.suffix in (".toml", ".csv")
    }


def changes(site):
    with site.db() as db:
        return set_up_changes(db)
