"""README.md and DEVELOPERS.md name only what exists, and the way to the first unit works as it stands there."""

import os
import re
import shlex
import shutil
import subprocess
import sys
from pathlib import Path

import click
import pytest

from station.cli.main import cli

ROOT = Path(__file__).parents[2]
README = (ROOT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
CONTEXT = click.Context(cli)
NOUNS = set(cli.list_commands(CONTEXT))
FOLDERS = ("station/", "fixtures/", "drivers/", "sim/", "tests/", ".docs/", ".ci/")
FIRST_UNIT = README.partition("## From a drawing to the first judged unit")[2].partition("\n## ")[0]
LONGEST_S = 120


def block_lines(text: str) -> list[str]:
    """The lines that are meant to be typed."""
    return [line.strip() for line in text.splitlines() if line.startswith("    ")]


def words_of(typed: str) -> list[str]:
    """Words behind `coilgate` and its home; empty if it is no command of ours."""
    words = shlex.split(typed)
    if words[:1] == ["coilgate"]:
        words = words[1:]
    if words[:1] == ["--home"]:
        words = words[2:]
    return words if words and words[0] in NOUNS else []


def inline_commands(text: str) -> list[str]:
    """What stands between back quotes and begins with a noun of ours, with or without `coilgate`."""
    found = dict.fromkeys(re.findall(r"`((?:coilgate )?[a-z]+ [^`\n]+)`", text))
    return [each for each in found if each.removeprefix("coilgate ").split()[0] in NOUNS]


def command_of(words: list[str]) -> tuple[click.Command, list[str]]:
    """The command that words mean, and the words behind it."""
    command: click.Command = cli
    rest = list(words)
    while isinstance(command, click.Group):
        found = command.get_command(CONTEXT, rest[0]) if rest else None
        assert found is not None, f"no such command: {' '.join(words)}"
        command, rest = found, rest[1:]
    return command, rest


@pytest.mark.parametrize("typed", [each for each in block_lines(README) if words_of(each)])
def test_typed_command_parses_whole(typed: str) -> None:
    """Its options exist, those it must have are there, and each value is of its kind."""
    command, rest = command_of(words_of(typed))

    assert command.make_context(command.name or "", rest, parent=CONTEXT)


@pytest.mark.parametrize("typed", inline_commands(README + DEVELOPERS))
def test_command_that_is_named_exists(typed: str) -> None:
    """And so does each of its options; values may be left out in a sentence."""
    command, rest = command_of(words_of(typed))
    options = {name for each in command.params for name in (*each.opts, *each.secondary_opts)}

    assert [] == [word for word in rest if word.startswith("--") and word not in options]


def test_paths_that_are_named_exist() -> None:
    """Files and folders in back quotes, and pictures."""
    named = re.findall(r"`([^` ]+)`|\]\(([^)]+)\)", README + DEVELOPERS)
    paths = [path for pair in named for path in pair if path.startswith(FOLDERS)]

    assert paths
    assert [] == [path for path in paths if not list(ROOT.glob(path.rstrip("/")))]


def run(words: list[str], folder: Path) -> subprocess.CompletedProcess[str]:
    """Run a command in a folder; never with this process's own settings."""
    environment = {key: value for key, value in os.environ.items() if not key.startswith("COILGATE")}
    return subprocess.run(
        [sys.executable, "-m", "station.cli", *words],
        cwd=folder, env=environment, capture_output=True, text=True, timeout=LONGEST_S, check=False,
    )  # fmt: skip


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A folder in which the plan has been copied as the first line says."""
    source, target = shlex.split(next(each for each in block_lines(FIRST_UNIT) if each.startswith("cp ")))[1:]
    shutil.copy(ROOT / source, tmp_path / target)
    return tmp_path


@pytest.mark.slow
def test_way_to_the_first_unit_works_as_written(folder: Path) -> None:
    """Line by line in an empty folder, the simulated bench beside: each ends well, the papers are there."""
    server = None
    failed = []
    try:
        for line in block_lines(FIRST_UNIT):
            words = shlex.split(line)[1:]
            if "simulate" in words:
                server = subprocess.Popen(
                    [sys.executable, "-m", "station.cli", *words],
                    cwd=folder, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
                )  # fmt: skip
                assert server.stdout is not None
                assert server.stdout.readline().startswith("# ")
                assert server.stderr is not None
                assert server.stderr.readline().startswith("Serving")
            elif line.startswith("coilgate "):
                done = run(words, folder)
                if done.returncode:
                    failed.append(f"{line}\n{done.stdout}{done.stderr}")
    finally:
        if server is not None:
            server.terminate()
            server.communicate(timeout=LONGEST_S)

    assert not failed, "\n".join(failed)
    assert {"L2641.pdf", "L2641-01-A01.pdf"} <= {each.name for each in folder.iterdir()}
