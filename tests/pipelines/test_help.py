"""The help: every command under its heading, every option a sentence, in the words of a person."""

from typing import get_args

import pytest
from typer.main import get_command

from studcurve.pipelines import cli
from studcurve.pipelines.commands.groups import Panel, spread
from studcurve.pipelines.commands.options import Chamber, Sample, Target

PROGRAM = get_command(cli.app)
BENCH = PROGRAM.commands["bench"]
COMMANDS = {
    **{name: one for name, one in PROGRAM.commands.items() if name != "bench"},
    **{f"bench {name}": one for name, one in BENCH.commands.items()},
}


def help_of(name, capsys):
    with pytest.raises(SystemExit):
        cli.main([*name.split(), "--help"])
    return capsys.readouterr().out


def test_every_command_stands_once_under_a_heading_of_the_program(capsys):
    shown = help_of("", capsys)
    headings = [line.rstrip(":") for line in shown.splitlines() if line.endswith(":")]
    listed = [line.split()[0] for line in shown.splitlines() if line.startswith("  ")]

    assert headings == ["Options", *get_args(Panel)]
    assert all(listed.count(name) == 1 for name in PROGRAM.commands)
    assert "Commands" not in headings


@pytest.mark.parametrize("name", COMMANDS)
def test_every_option_has_a_sentence_and_no_name_of_a_type(name, capsys):
    shown = help_of(name, capsys)

    for param in COMMANDS[name].params:
        assert param.help, param.opts
        assert param.help[0].isupper() or param.help[0] == "'", param.help
    assert "<" not in shown
    assert "%Y" not in shown


def test_fields_of_a_group_stand_on_the_command_line_and_reach_the_command_as_one(capsys):
    seen = []

    def command(sample: Sample, chamber: Chamber, target: Target) -> None:
        seen.append((sample, chamber, target))

    spread(command)(cells=140, squares=4)
    ((sample, chamber, target),) = seen

    assert (sample.cells, chamber.squares, chamber.dilution) == (140, 4, Chamber().dilution)
    assert target == Target()
