"""A site file is saved whole or not at all, with the version before beside it; drafts outlive what wrote them."""

from __future__ import annotations

import errno
import hashlib
import os
import random
import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from stocksim.errors import InputError
from stocksim.site import saving
from stocksim.site import saving as drafts
from stocksim.site.saving import NO_FILE, ChangedOnDisk, previous_path, read_text, save_new, save_text, version_of

# what a file may hold: any text without the zero byte, a lone return or half a character
TEXTS = st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\0\r"), max_size=300)


@pytest.fixture
def house(tmp_path) -> Path:
    path = tmp_path / "house.toml"
    path.write_text("# mine\ncount = 60\n", encoding="utf-8")
    return path


def names(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


def test_a_save_replaces_the_file_and_keeps_the_version_before(house):
    before = house.read_bytes()
    version = save_text(house, "# mine\ncount = 46\n", version_of(before))
    assert house.read_bytes() == b"# mine\ncount = 46\n"
    assert version == version_of(house.read_bytes()) == saving.version_on_disk(house)
    assert previous_path(house).read_bytes() == before
    assert names(house.parent) == ["house.previous.toml", "house.toml"]


def test_the_same_text_again_leaves_the_version_before_alone(house):
    save_text(house, "a = 1\n")
    save_text(house, "a = 1\n")
    assert previous_path(house).read_text(encoding="utf-8") == "# mine\ncount = 60\n"


def test_a_version_that_was_not_seen_is_never_overwritten(house):
    seen = read_text(house).version
    house.write_text("theirs\n", encoding="utf-8")
    with pytest.raises(ChangedOnDisk, match=r"^house\.toml: was changed"):
        save_text(house, "mine\n", seen)
    house.unlink()
    with pytest.raises(ChangedOnDisk, match="no longer there"):
        save_text(house, "mine\n", seen)
    assert names(house.parent) == []
    save_text(house, "mine\n", NO_FILE)
    with pytest.raises(InputError, match="not overwritten"):
        save_new(house, "other\n")
    assert house.read_text(encoding="utf-8") == "mine\n"


def test_two_who_save_at_once_cannot_both_win(house):
    seen = read_text(house).version
    start = threading.Barrier(8)
    won: list[int] = []

    def save(number: int) -> None:
        start.wait()
        try:
            save_text(house, f"number = {number}\n" * 2000, seen)
        except ChangedOnDisk:
            return
        won.append(number)

    threads = [threading.Thread(target=save, args=(number,)) for number in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    (winner,) = won
    assert house.read_text(encoding="utf-8") == f"number = {winner}\n" * 2000


@given(TEXTS, TEXTS)
def test_any_text_comes_back_as_it_was(tmp_path_factory, first, second):
    path = tmp_path_factory.mktemp("any") / "house.toml"
    save_text(path, first)
    save_text(path, second)
    assert read_text(path).text == second.removeprefix("\ufeff")
    assert read_text(path).version == version_of(path.read_bytes())


def test_line_ends_stay_as_the_keeper_has_them(house):
    house.write_bytes(b"\xef\xbb\xbfa = 1\r\nb = 2\r\n")
    found = read_text(house)
    assert found.text == "a = 1\nb = 2\n"
    save_text(house, found.text.replace("2", "3"), found.version)
    assert house.read_bytes() == b"a = 1\r\nb = 3\r\n"


@pytest.mark.skipif(os.name != "posix", reason="links and modes")
def test_a_link_is_followed_and_the_mode_kept(tmp_path):
    real = tmp_path / "real" / "house.toml"
    real.parent.mkdir()
    real.write_text("a = 1\n", encoding="utf-8")
    real.chmod(0o640)
    link = tmp_path / "link.toml"
    link.symlink_to(real)
    save_text(link, "a = 2\n")
    assert link.is_symlink()
    assert real.read_text(encoding="utf-8") == "a = 2\n"
    assert real.stat().st_mode & 0o777 == 0o640
    assert names(real.parent) == ["house.previous.toml", "house.toml"]


@pytest.mark.parametrize("broken", ["fsync", "replace"])
def test_a_full_disk_leaves_the_old_file_and_one_sentence(house, monkeypatch, broken):
    def full(*_: object) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(saving.os, broken, full)
    with pytest.raises(InputError) as caught:
        save_text(house, "a = 1\n")
    assert str(caught.value).startswith("house.toml: ")
    assert os.strerror(errno.ENOSPC) in str(caught.value)
    assert names(house.parent) == ["house.toml"]
    assert house.read_text(encoding="utf-8") == "# mine\ncount = 60\n"


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda path: None, "cannot be opened"),
        (lambda path: path.mkdir(), "is a folder"),
        (lambda path: path.write_bytes(b"a\0b"), "zero bytes"),
        (lambda path: path.write_bytes("ä".encode("latin-1")), "is not UTF-8"),
        (lambda path: path.write_bytes("a".encode("utf-16")), "is UTF-16"),
        (lambda path: path.write_bytes(b" " * 5_000_001), "more than 5 MB"),
        (lambda path: path.symlink_to("/dev/zero"), "no regular file"),
    ],
)
def test_what_cannot_be_read_is_told_in_one_sentence_without_its_folder(tmp_path, make, words):
    path = tmp_path / "house.toml"
    make(path)
    with pytest.raises(InputError, match=rf"^house\.toml: .*{words}") as caught:
        read_text(path)
    assert str(tmp_path) not in str(caught.value)
    assert len(caught.value.faults) == 1


def test_a_file_too_large_to_keep_is_not_replaced(house):
    house.write_bytes(b"#" * 5_000_001)
    with pytest.raises(InputError, match="has more than 5 MB"):
        save_text(house, "a = 1\n")
    assert names(house.parent) == ["house.toml"]
    assert house.stat().st_size == 5_000_001


def test_a_save_clears_away_what_killed_saves_left_and_nothing_else(house):
    """What a kill leaves has a name of ours and is a regular file; it may be of the site, its draft or another page."""
    left = [
        house.with_name(f".{name}.stocksim-new") for name in ("house.toml", "house.previous.toml", "house.draft.toml")
    ]
    kept = [
        house.with_name(".houses.toml.stocksim-new"),
        house.with_name(".house.stocksim"),
        house.with_name("house.new"),
    ]
    for path in [*left, *kept]:
        path.write_text("half of", encoding="utf-8")
        os.utime(path, (1e9, 1e9))
    folder = house.with_name(".house.draft_2.toml.stocksim-new")
    folder.mkdir()
    link = house.with_name(".house.draft_3.toml.stocksim-new")
    link.symlink_to(kept[0])
    save_text(house, "a = 1\n")
    found = sorted(path.name for path in [*kept, folder, link, house, previous_path(house)])
    assert names(house.parent) == found
    assert kept[0].read_text(encoding="utf-8") == "half of"


def test_what_a_kill_left_just_now_stands_in_no_ones_way(house):
    stage = house.with_name(".house.toml.stocksim-new")
    stage.symlink_to(house.with_name("elsewhere"))
    save_text(house, "a = 1\n")
    assert names(house.parent) == ["house.previous.toml", "house.toml"]


# ---- killed in the midst of it --------------------------------------------------------------------------------------

SAVER = """
import hashlib, sys
from pathlib import Path
from stocksim.site.saving import save_text
path, number = Path(sys.argv[1]), 0
while True:
    number += 1
    body = f"number = {number}\\n" * (40 * (1 + number % 50))
    save_text(path, "# " + hashlib.sha256(body.encode()).hexdigest() + "\\n" + body)
    print(number, flush=True)
"""


def is_whole(path: Path) -> bool:
    head, body = path.read_text(encoding="utf-8").split("\n", 1)
    return head == f"# {hashlib.sha256(body.encode()).hexdigest()}"


def number_in(path: Path) -> int:
    return int(path.read_text(encoding="utf-8").splitlines()[1].removeprefix("number = "))


def test_a_kill_in_the_midst_of_saves_leaves_a_whole_file(tmp_path):
    chance, saves = random.Random(7), 0
    for kill in range(20):
        path = tmp_path / str(kill) / "house.toml"
        path.parent.mkdir()
        with subprocess.Popen([sys.executable, "-c", SAVER, str(path)], stdout=subprocess.PIPE, text=True) as saver:
            told = [int(saver.stdout.readline()) for _ in range(chance.randint(2, 20))]
            time.sleep(chance.random() / 200)  # anywhere within the next saves
            saver.kill()
            told += [int(line) for line in saver.stdout.read().split("\n") if line]
        saves += told[-1]
        assert is_whole(path)
        assert is_whole(previous_path(path))
        # what was told to be saved is there, or the save after it
        assert number_in(path) in (told[-1], told[-1] + 1)
        assert number_in(path) - number_in(previous_path(path)) in (0, 1)
        save_text(path, "the next save does not mind what the killed one left\n")
    assert saves >= 200


# ---- drafts ---------------------------------------------------------------------------------------------------------


def test_a_draft_lies_beside_its_file_and_is_found(house):
    version = read_text(house).version
    place = drafts.write_draft(house, "house.toml", "count = 46\n", version, None)
    assert place == house.with_name("house.draft.toml")
    (draft,) = drafts.find_drafts(house, "house.toml")
    assert (draft.path, draft.text, draft.begun_from) == (place, "count = 46\n", version)
    assert drafts.write_draft(house, "house.toml", "count = 45\n", version, place) == place
    second = drafts.write_draft(house, "house.toml", "count = 1\n", "", None)
    assert second.name == "house.draft_2.toml"
    assert {draft.text for draft in drafts.find_drafts(house, "house.toml")} == {"count = 45\n", "count = 1\n"}
    assert drafts.name_of_site(second) == "house.toml"
    for draft in drafts.find_drafts(house, "house.toml"):
        drafts.drop_draft(draft.path)
        drafts.drop_draft(draft.path)
    assert names(house.parent) == ["house.toml"]


@given(TEXTS)
def test_any_draft_comes_back_as_it_was(tmp_path_factory, text):
    house = tmp_path_factory.mktemp("draft") / "a [b]*.toml"
    drafts.write_draft(house, house.name, text, "", None)
    (draft,) = drafts.find_drafts(house, house.name)
    assert (draft.text, draft.begun_from) == (text, "")


def test_a_file_of_the_keepers_own_is_no_draft(house):
    own = house.with_name("house.draft.toml")
    own.write_text("# Draft of mine\n", encoding="utf-8")
    assert drafts.find_drafts(house, "house.toml") == []
    place = drafts.write_draft(house, "house.toml", "a = 1\n", "", None)
    assert place.name == "house.draft_2.toml"
    assert own.read_text(encoding="utf-8") == "# Draft of mine\n"


def test_a_folder_that_cannot_be_written_sends_drafts_to_the_users_own(house, monkeypatch):
    def only_elsewhere(path: Path, data: bytes, replace=saving.replace_file) -> None:
        if path.parent == house.parent:
            raise OSError(errno.EROFS, os.strerror(errno.EROFS))
        replace(path, data)

    monkeypatch.setattr(drafts, "replace_file", only_elsewhere)
    place = drafts.write_draft(house, "house.toml", "a = 1\n", "", None)
    assert place.is_relative_to(drafts.state_folder())
    assert [draft.path for draft in drafts.find_drafts(house, "house.toml")] == [place]
    # the same name in another folder is another site
    assert drafts.find_drafts(house.parent / "other" / "house.toml", "house.toml") == []
    assert names(house.parent) == ["house.toml"]


def test_no_place_for_a_draft_is_one_sentence(house, monkeypatch):
    def full(*_: object) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(drafts, "replace_file", full)
    with pytest.raises(InputError, match=r"^house\.toml: .*draft .*space") as caught:
        drafts.write_draft(house, "house.toml", "a = 1\n", "", None)
    assert len(caught.value.faults) == 1
    assert names(house.parent) == ["house.toml"]
