"""The shell blocks of a Markdown page: its commands, and the table that may stand below them."""

import dataclasses
import pathlib
import re
import shlex

# The first word of a command: a path, one of our programs, one that runs others, a loop, an assignment.
COMMAND_WORD = re.compile(r"(/usr/)?([\w.-]+/)+[\w.-]+$|firstedge-[a-z]+$|\w+=\S"
                          r"|(mpirun|srun|sbatch|cmake|ctest|pip|python3|for)$")

OUTPUT_OPTIONS = ("-o", "--output", "--page", "--json", "--truth", "--instants", "--keep-templates")


@dataclasses.dataclass
class ShellBlock:
    page: pathlib.Path
    line: int  # of its first line in the page, from 1
    commands: list  # text of each, a loop is one
    table: str  # the text below the blank line that follows the commands, or ""

    def apps(self):
        """The verbs of the firstedge-<verb> that are called."""
        return sorted(set(re.findall(r"(?:^|[\s/])firstedge-([a-z]+)", "\n".join(self.commands))))


def code_blocks(text):
    """(number of the first line, its language, lines without their indent) of each fenced or indented block."""
    lines, number = text.splitlines(), 0
    while number < len(lines):
        line = lines[number]
        if line.lstrip().startswith("```"):
            end = next(at for at in range(number + 1, len(lines)) if lines[at].lstrip().startswith("```"))
            yield number + 2, line.strip()[3:].strip(), lines[number + 1:end]
            number = end + 1
        elif line.startswith("    ") and (number == 0 or not lines[number - 1].strip()):
            end = number
            while end < len(lines) and (lines[end].startswith("    ") or not lines[end].strip()):
                end += 1
            indent = len(line) - len(line.lstrip())
            yield number + 1, "", [each[indent:] for each in lines[number:end]]
            number = end
        else:
            number += 1


def commands_of(lines):
    """The commands of a shell's lines: a line each, but for continued lines and loops, which end with done."""
    commands, open_lines = [], []
    for line in lines:
        open_lines.append(line)
        loop = open_lines[0].startswith("for ") and line.strip() != "done"
        if not loop and not line.endswith("\\"):
            commands.append("\n".join(open_lines))
            open_lines = []
    return commands + (["\n".join(open_lines)] if open_lines else [])


def shell_blocks(page):
    found = []
    for line, language, lines in code_blocks(page.read_text()):
        if language not in ("", "sh", "bash", "console", "shell"):
            continue
        if not any(COMMAND_WORD.match(each.split()[0]) for each in lines if each.strip()):
            continue
        above = next((at for at, each in enumerate(lines) if not each.strip()), len(lines))
        found.append(ShellBlock(page, line, commands_of(lines[:above]), "\n".join(lines[above:]).strip()))
    return found


def words_of(command):
    """Its words as a shell takes them, without comments."""
    return shlex.split(command, comments=True)


def outputs_of(command):
    """The files that a command says it writes; names with a variable in them are left out."""
    words = words_of(command)
    named = [after for word, after in zip(words, words[1:]) if word in OUTPUT_OPTIONS]
    return [name for name in named if "$" not in name]
