"""A phone for tests: it keeps cookies and sends what a browser sends along with a form."""

from __future__ import annotations

import uuid

import requests

from monitor.web.own_forms import form_token

HTML = "text/html,application/xhtml+xml,*/*;q=0.8"


class Phone:
    def __init__(self, site, origin=None):
        self.site = site
        self.browser = requests.Session()
        self.origin = origin or site.url
        self.csrf = ""

    def get(self, path, accept=HTML, **more):
        return self.browser.get(
            self.site.url + path,
            headers={"Accept": accept, **more.pop("headers", {})},
            allow_redirects=False,
            timeout=10,
            **more,
        )

    def post(self, path, data, accept=HTML, **more):
        headers = {"Accept": accept, "Origin": self.origin, **more.pop("headers", {})}
        headers = {name: value for name, value in headers.items() if value is not None}
        return self.browser.post(
            self.site.url + path,
            data=data,
            headers=headers,
            allow_redirects=False,
            timeout=10,
            **more,
        )

    def comes_in(self, secret, name="Dario"):
        answer = self.post(f"/in/{secret}", {"name": name})
        assert answer.status_code == 303, answer.text
        return self

    def say(self, kind, accept="application/json", csrf=None, **fields):
        """As the script says it: JSON is asked for, and each has an id of its own."""
        fields.setdefault("id", uuid.uuid4().hex)
        token = self.token() if csrf is None else csrf
        return self.post(f"/say/{kind}", {"csrf": token, **fields}, accept)

    def token(self):
        """The token of this device's forms, as its pages have it."""
        return form_token(self.secret)

    @property
    def secret(self):
        return next(c.value for c in self.browser.cookies if "duty" in c.name)
