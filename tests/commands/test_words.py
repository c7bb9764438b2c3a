"""What a command is told in words: wrong use, numbers nobody can mean, an account for somebody."""

import io
from argparse import Action, ArgumentParser, ArgumentTypeError, _SubParsersAction
from collections.abc import Iterator

import pytest
from django.contrib.auth.models import User
from django.core.management import get_commands, load_command_class
from django.core.management.base import BaseCommand

from registry.items.models import Item
from registry.sites.models import Site
from tests.commands.running import run


@pytest.mark.parametrize(
    ("words", "complaint"),
    [
        (("due", "--site", "NOPE"), "there is no site 'NOPE'; give the code of one\n"),
        (("due", "--task", "polishing"), "there is no task 'polishing'"),
        (("explain", "NOPE"), "there is no item with the tag 'NOPE'\n"),
        (("report", "overdue", "--site", "NOPE", "--out", "x.pdf"), "there is no site 'NOPE'"),
        (("report", "overdue", "--task", "polishing", "--out", "x.pdf"), "there is no task"),
        (("report", "record", "NOPE", "--out", "x.pdf"), "there is no item with the tag 'NOPE'"),
        (
            ("report", "forecast", "--until", "2001-01-01", "--out", "x.pdf"),
            "--until 2001-01-01 is",
        ),
        (("import_sites", "/no/file.csv"), "/no/file.csv: can't be read: No such file"),
        (("import_register", "/no/file.xlsx"), "/no/file.xlsx: can't be read: No such file"),
        (("import_history", "/dev"), "/dev: can't be read: Is a directory"),
        (("load_rules", "/no/file.toml"), "/no/file.toml: can't be read: No such file"),
    ],
    ids=lambda value: " ".join(value) if isinstance(value, tuple) else "",
)
def test_wrong_use_ends_with_2_and_one_line(
    mask: Item, words: tuple[str, ...], complaint: str
) -> None:
    done = run(*words)
    assert (done.status, done.out) == (2, "")
    assert done.err.startswith(complaint)
    assert done.err.count("\n") == 1


@pytest.mark.parametrize(
    ("words", "password", "status", "said"),
    [
        (("mira",), "a long invented pass phrase", 0, "mira can sign in as technician at ST1"),
        (("mira",), "short", 1, "at least 15 characters"),
        (("demo-mira",), "a long invented pass phrase", 1, "names with demo- are the demo's"),
        (("mira", "--site", "NOPE"), "a long invented pass phrase", 2, "there is no site"),
        (("mira",), "", 2, "no terminal to ask at; set NECKRING_PASSWORD"),
    ],
)
def test_somebody_is_given_an_account(
    *,
    station: Site,
    monkeypatch: pytest.MonkeyPatch,
    words: tuple[str, ...],
    password: str,
    status: int,
    said: str,
) -> None:
    monkeypatch.setenv("NECKRING_PASSWORD", password)
    monkeypatch.setattr("sys.stdin", io.StringIO())
    rest = ("--site", "ST1", *words[1:], "--role", "technician", "--name", "Mira Holt")
    done = run("add_person", words[0], *rest)
    assert (done.status, said in done.out + done.err) == (status, True)
    assert User.objects.filter(username="mira").exists() == (status == 0)


OURS = sorted(name for name, app in get_commands().items() if not app.startswith("django."))


DJANGOS = {action.dest for action in BaseCommand().create_parser("", "")._actions}


def options(parser: ArgumentParser) -> Iterator[Action]:
    """The options of a command and of its subcommands, without those that Django adds."""
    for action in parser._actions:
        if isinstance(action, _SubParsersAction):
            for below in action.choices.values():
                yield from options(below)
        elif action.dest not in DJANGOS:
            yield action


@pytest.mark.parametrize("name", OURS)
def test_the_options_of_a_command_take_words_and_bounded_numbers(name: str) -> None:
    command = load_command_class(get_commands()[name], name)
    for action in options(command.create_parser("manage.py", name)):
        for choice in action.choices or ():
            assert type(choice) is str, f"{action.dest}: a refusal would print {choice!r}"
            assert choice, f"{action.dest}: a refusal would offer nothing as a word"
        assert action.type not in (int, float), f"{action.dest}: any number is taken"


NONSENSE = ("six", "", "nan", "inf", "1e999", "-1e30", "99999999999999999999")


@pytest.mark.parametrize("name", ["air", "demo", "hydro"])
def test_no_number_of_a_command_takes_nonsense(name: str) -> None:
    command = load_command_class("servicing", name)
    parser = command.create_parser("manage.py", name)
    readers = [action.type for action in options(parser) if callable(action.type)]
    assert readers
    for read in readers:
        for text in NONSENSE:
            with pytest.raises(ArgumentTypeError, match=r"write |can't|is no"):
                read(text)
