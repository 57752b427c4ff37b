from __future__ import annotations

import json
from dataclasses import replace
from email import message_from_bytes, policy

from alert_samples import NOW, note

from monitor.alerts import by_folder
from monitor.domain import Contact


def folder(path) -> Contact:
    return Contact(name="messages", kind="folder", path=str(path))


def send(contact, message=None, row="3f9a"):
    return by_folder.send(message or note(), contact, "messages", row, secret=None, now=NOW)


def test_a_mail_and_its_json_are_laid_down(tmp_path):
    outcome = send(folder(tmp_path / "new" / "messages"))
    assert outcome.sent
    written = sorted((tmp_path / "new" / "messages").iterdir())
    assert [p.suffix for p in written] == [".eml", ".json"]
    assert written[0].name.startswith("20270715T210000Z-start-")
    mail = message_from_bytes(written[0].read_bytes(), policy=policy.default)
    assert mail["Subject"] == note().subject
    assert mail.get_body(("plain",)).get_content().splitlines() == note().text.splitlines()
    found = json.loads(written[1].read_text("ascii"))
    assert found["type"] == "dryspell.alert.start"
    assert found["data"] == note().data


def test_a_retry_writes_the_same_files(tmp_path):
    send(folder(tmp_path))
    first = {p.name: p.read_bytes() for p in tmp_path.iterdir()}
    send(folder(tmp_path))
    assert {p.name: p.read_bytes() for p in tmp_path.iterdir()} == first


def test_rows_never_share_a_file(tmp_path):
    send(folder(tmp_path), row="a")
    send(folder(tmp_path), row="b")
    assert len(list(tmp_path.iterdir())) == 4


def test_a_name_is_a_name_whatever_the_row(tmp_path):
    assert send(folder(tmp_path), row="../../up/é\n").sent
    assert all(p.parent == tmp_path for p in tmp_path.iterdir())
    assert not list(tmp_path.parent.glob("*.eml"))


def test_a_folder_that_cannot_be_written_is_told_and_left_clean(tmp_path):
    in_the_way = tmp_path / "messages"
    in_the_way.write_text("a file")
    outcome = send(folder(in_the_way))
    assert not outcome.sent
    assert not outcome.lasting
    assert "could not write to" in outcome.detail
    assert list(tmp_path.iterdir()) == [in_the_way]


def test_half_a_file_is_never_seen(tmp_path):
    # a folder of the same name takes the place of the mail, so the last step fails
    name = by_folder.file_name(note(), "3f9a")
    (tmp_path / f"{name}.eml").mkdir()
    assert not send(folder(tmp_path)).sent
    assert [p.name for p in tmp_path.iterdir() if p.name.endswith(".part")] == []


def test_a_contact_without_path():
    assert send(replace(folder("x"), path=None)).lasting
