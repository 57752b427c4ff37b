"""send-test through the library for text messages, chat and push, over a real server."""

from __future__ import annotations

import json
import threading
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

from cli_samples import SHOW, write_show
from click.testing import CliRunner

from monitor.cli import dryspell


def test_send_test_reaches_each_target_and_shows_no_key(tmp_path):
    got = []

    class Handler(BaseHTTPRequestHandler):
        def do_POST(self):
            said = json.loads(self.rfile.read(int(self.headers["Content-Length"])))
            got.append(said["message"])
            self.send_response(200 if "good" in self.path else 403)
            self.end_headers()

        def log_message(self, *said):
            pass

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    thread = threading.Thread(target=server.serve_forever, args=(0.02,), daemon=True)
    thread.start()
    contacts = (
        '\n[[contacts]]\nname = "phones"\nkind = "apprise"\nshort = true\n'
        'url = ["env:DRYSPELL_TEST_ONE", "env:DRYSPELL_TEST_TWO"]\n'
    )
    folder = write_show(tmp_path / "show", ["a,IP65,open"], show=SHOW + contacts)
    base = f"json://127.0.0.1:{server.server_port}"
    try:
        done = CliRunner().invoke(
            dryspell,
            ["send-test", "--show", str(folder)],
            env={
                "DRYSPELL_TEST_ONE": f"{base}/good/s3cr3tk3y",
                "DRYSPELL_TEST_TWO": f"{base}/bad/s3cr3tk3y",
            },
        )
    finally:
        server.shutdown()
        thread.join()
        server.server_close()
    assert done.exit_code == 1, done.output
    assert "phones, env:DRYSPELL_TEST_ONE (apprise): sent" in done.stdout
    assert "phones, env:DRYSPELL_TEST_TWO (apprise): NOT SENT" in done.stdout
    assert "403" in done.stdout
    assert "s3cr3tk3y" not in done.output
    assert [message.startswith("TEST from the weather monitor") for message in got] == [True, True]
