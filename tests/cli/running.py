"""Running `dryside` as a person does, in this process: same parsing, same exit status, same output."""

import json
import os
from dataclasses import dataclass
from unittest import mock

import pytest

from dryside.cli import main


@dataclass(frozen=True)
class Said:
    """What a command said: exit status, standard output, standard error."""

    status: int
    out: str
    err: str

    @property
    def json(self):
        return json.loads(self.out)


class Command:
    """`run("roll", "list")` on one book; the day is fixed."""

    def __init__(self, capsys, where, files, day="2026-07-20"):
        self.capsys = capsys
        self.options = ["--book", str(where), *(["--files", str(files)] if files else [])]
        self.day = day

    def __call__(self, *words, status=0):
        self.capsys.readouterr()
        argv = mock.patch.object(main.sys, "argv", ["dryside", *self.options, *map(str, words)])
        day = mock.patch.dict(os.environ, {"DRYSIDE_TODAY": self.day})
        with argv, day, pytest.raises(SystemExit) as ended:
            main.run()
        shown = self.capsys.readouterr()
        said = Said(ended.value.code or 0, shown.out, shown.err)
        assert said.status == status, said
        return said

    def json(self, *words, status=0):
        """The command with --json; standard output must be one JSON document and nothing else."""
        return self(*words, "--json", status=status).json
