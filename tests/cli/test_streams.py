"""The command as a process of its own: pipes that break, disks that are full, interrupts, odd encodings."""

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from tests.cli.jobs import write_small_job
from tests.cli.running import PROGRAM, environment, start
from tests.cli.shapes import strictly

DEPTH = ("depth", "--focal", "50mm", "--stop", "T2", "--distance", "inf")
FULL = Path("/dev/full")


@pytest.fixture
def job_folder(tmp_path: Path) -> Path:
    """The small job."""
    return write_small_job(tmp_path / "my-job")


def test_a_process_prints_and_exits_as_the_function_does(job_folder: Path) -> None:
    """JSON in UTF-8 on standard output, nothing on standard error, exit code 0; refusals exit with 2."""
    process = start("map", job_folder, "--json")
    printed, said = process.communicate()
    assert (process.returncode, said) == (0, b"")
    assert strictly(printed.decode())["lenses"].keys() == {"N50", "F35"}
    process = start("map", "nowhere")
    printed, said = process.communicate()
    assert (process.returncode, printed) == (2, b"")
    assert said.decode().splitlines()[1] == "  nowhere: expected a job folder (No such file or directory)"


@pytest.mark.parametrize("args, code", [(["map", "--json"], 0), (["map"], 0), (["depth", "--json"], 2)])
def test_a_reader_who_leaves_ends_the_command_quietly(job_folder: Path, args: list[str], code: int) -> None:
    """As `tapehook map my-job --json | head -1` does: no traceback, no complaint of the interpreter."""
    read_end, write_end = os.pipe()
    os.close(read_end)
    process = start(args[0], *([job_folder] if args[0] == "map" else []), *args[1:], stdout=write_end)
    os.close(write_end)
    _, said = process.communicate()
    assert process.returncode == code
    lines = said.decode().splitlines()
    assert lines == [] if code == 0 else lines[0] == "3 problems, nothing was written:"


@pytest.mark.skipif(not FULL.exists(), reason="no device that is always full")
@pytest.mark.parametrize("more", [(), ("--json",)])
def test_a_full_disk_behind_the_output_is_said(more: tuple[str, ...]) -> None:
    """Exit code 2 and what to do, as nothing was printed or written."""
    with FULL.open("wb") as full:
        process = start(*DEPTH, *more, stdout=full)
        _, said = process.communicate()
    assert process.returncode == 2
    assert said.decode() == "1 problem, nothing was written:\n  the disk is full; free some space and do it again\n"


@pytest.mark.parametrize("descriptor", [1, 2])
def test_closed_outputs_are_no_reason_to_fail(descriptor: int) -> None:
    """A program started without standard output, or without standard error, still does its work."""
    shell = ["sh", "-c", f'exec "$@" {descriptor}>&-', "sh"]
    done = subprocess.run([*shell, *PROGRAM, *DEPTH], env=environment(), capture_output=True, check=False)
    assert (done.returncode, done.stderr) == (0, b"")
    assert (b"hyperfocal" in done.stdout) == (descriptor == 2)


@pytest.mark.parametrize("encoding", ["ascii", "latin-1", "cp1252", "utf-8"])
def test_any_encoding_of_the_terminal_will_do(job_folder: Path, encoding: str) -> None:
    """Signs an encoding lacks are printed as escapes; JSON stays JSON and means the same."""
    job = job_folder / "job.toml"
    job.write_text(job.read_text(encoding="utf-8").replace("Harbour", "Møn ½ 5′"), encoding="utf-8")
    env = environment(PYTHONIOENCODING=encoding, PYTHONUTF8="0")
    printed, said = start(*DEPTH, env=env).communicate()
    assert (b"hyperfocal" in printed, said) == (True, b"")
    printed, said = start("map", job_folder, "--json", env=env).communicate()
    assert (len(strictly(printed.decode(encoding))["lenses"]), said) == (2, b"")
    printed, said = start("map", job_folder, env=env).communicate()
    assert (b"4711" in printed, said) == (True, b"")


def test_an_interrupt_ends_the_command_quietly(tmp_path: Path) -> None:
    """Ctrl-C: exit code 1 and one word, no traceback."""
    pipe = tmp_path / "wait"
    os.mkfifo(pipe)
    program = (
        "import signal, tapehook.cli.depth_answer as answer\n"
        # Started in the background, this test and its children would ignore the signal.
        "signal.signal(signal.SIGINT, signal.default_int_handler)\n"
        f"answer.depth_answer = lambda **typed: open({str(pipe)!r}).read()\n"
        "from tapehook.cli import main\n"
        "main(prog_name='tapehook')\n"
    )
    command = [sys.executable, "-c", program, *DEPTH]
    process = subprocess.Popen(command, env=environment(), stdout=subprocess.PIPE, stderr=subprocess.PIPE)
    with pipe.open("w"):  # opens once the command waits at the other end
        time.sleep(0.1)
        process.send_signal(signal.SIGINT)
        printed, said = process.communicate(timeout=30)
    assert (process.returncode, printed) == (1, b"")
    assert said.decode().strip() == "Aborted!"
