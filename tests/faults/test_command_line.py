"""20,000 mangled inputs through the command itself: exit code 0 or 2, never a traceback, nothing written on 2.

9,000 calls with notations nobody wrote, 4,000 command lines, 5,000 damaged job folders and 2,000 readable ones with
numbers at their limits, of which 250 go through ``prep`` with its PDF and pocket page. All are the same
on every run. Each test prints how its calls ended.
"""

import io
import re
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import chdir, contextmanager, redirect_stderr, redirect_stdout
from pathlib import Path
from random import Random
from tempfile import TemporaryDirectory

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tapehook.cli import main
from tests.cli.shapes import misfits, schema, strictly
from tests.faults.extremes import extreme_charts, extreme_folder, extreme_shot, seeded
from tests.faults.mangling import AWKWARD, Folder, contents, mangled_folders
from tests.notation.strategies import any_text
from tests.telling import Tell

MEMORY = Path("/dev/shm")  # noqa: S108 - a folder in memory where there is one: these tests make thousands
FAST = str(MEMORY) if MEMORY.is_dir() else None
NOT_A_NUMBER = re.compile(r"(?<![\w-])(nan|NaN)(?![\w-])")

same_every_run = settings(derandomize=True, database=None, deadline=None, suppress_health_check=list(HealthCheck))


class Outcomes:
    """How many calls ended with which exit code; printed when a test is done."""

    def __init__(self) -> None:
        self.codes: Counter[int] = Counter()

    def call(self, args: list[str]) -> tuple[int, str]:
        """Run the command in this process: its exit code and what it printed. Any exception but SystemExit is a bug."""
        out, err = io.StringIO(), io.StringIO()
        with redirect_stdout(out), redirect_stderr(err):
            code = _exit_code(args)
        printed, said = out.getvalue(), err.getvalue()
        self.codes[code] += 1
        assert code in {0, 2}, said
        assert "Traceback" not in said
        assert all(line.isprintable() for text in (printed, said) for line in text.split("\n"))
        assert (code == 2) == bool(said)
        return code, printed

    def json(self, shape: str, args: list[str]) -> int:
        """The same with --json: what is printed must have its documented shape, also when it is refused."""
        code, printed = self.call([*args, "--json"])
        wanted = schema("problems" if code else shape)
        assert list(misfits(strictly(printed), wanted)) == []
        return code

    def tell(self, what: str, at_least: int, tell: Tell) -> None:
        """Print the counts, and make sure that there were as many calls as there should be, of both kinds."""
        tell(f"{sum(self.codes.values()):,} {what}: {self.codes[0]:,} accepted, {self.codes[2]:,} refused")
        assert sum(self.codes.values()) >= at_least
        assert min(self.codes[0], self.codes[2]) > 0


def _exit_code(args: list[str]) -> int:
    try:
        main(args, prog_name="tapehook")
    except SystemExit as end:
        return end.code if isinstance(end.code, int) else 0
    raise AssertionError("the command did not end")


@pytest.fixture
def outcomes() -> Outcomes:
    """Counts of one test."""
    return Outcomes()


@contextmanager
def job_folder(write: Callable[[Path], None]) -> Iterator[Path]:
    """A folder beside which nothing may be written, and in which nothing may change, whatever happens inside."""
    with TemporaryDirectory(dir=FAST) as parent:
        folder = Path(parent) / "job"
        folder.mkdir()
        write(folder)
        before = contents(folder)
        yield folder
        assert contents(folder) == before


# --- notations ---------------------------------------------------------------------------------------------------

SOUND = {
    "--focal": ["50mm", "24", "2 in", "8 mm", "1200mm"],
    "--distance": ["7'", "5'6\"", "1.68 m", "12 m", "inf", "∞", "19 cm", "900000 m", "3 ft", "2.5m"],
    "--stop": ["T2", "2.8 1/3", "f/4", "T0.5", "128"],
    "--f-number": ["1.9", "0.001", "10000"],
    "--transmission": ["0.85", "85 %", "1", "1e-300"],
    "--coc": ["0.025mm", "1/1000in", "25 µm", "1 m", "0.001 µm"],
    "--blur-floor": ["0.01mm", "1 m", "0.001 µm"],
    "--units": ["metric", "imperial"],
    "--pupil-to-sensor": ["41mm", "-3 m", "-10 mm", "160 mm", "-1000 m"],
    "--pupil-magnification": ["1.15", "0.001", "1e4"],
}


def depth_options(random: Random, odd: list[str]) -> list[str]:
    """Options of ``depth`` that go together, with sound texts, but for the ``odd`` ones."""
    names = list(SOUND)
    used = names[:3] + [name for name in names[3:8] if random.random() < 0.4]
    used += names[8:] if random.random() < 0.4 else []
    texts = {name: random.choice(SOUND[name]) for name in used}
    texts |= {random.choice(names): text for text in odd}
    return [f"{name}={text}" for name, text in texts.items()]


def test_9000_notations(outcomes: Outcomes, tell: Tell) -> None:
    """Whatever is written for a distance, a stop or a length: an answer without NaN, or what is wrong with it."""

    @settings(same_every_run, max_examples=9_000)
    @given(st.lists(any_text, max_size=2), st.integers(0, 2**32 - 1))
    def check(odd: list[str], seed: int) -> None:
        args = ["depth", *depth_options(seeded(seed), odd)]
        if seed % 2:
            outcomes.json("depth", args)
        else:
            _, printed = outcomes.call(args)
            assert not NOT_A_NUMBER.search(printed)

    check()
    outcomes.tell("notations", 9_000, tell)


# --- command lines -----------------------------------------------------------------------------------------------

WORDS = [
    *("demo", "depth", "map", "prep", "help", "--help", "-h", "--version", "--json", "--", "-", "--lens", "--out"),
    *("--paper", *SOUND, "a4", "us-letter", "50mm", "T2", "7'", "--out=out"),
    *("--focal=50mm", "--stop=T2", "--distance=7'", "--paper=a4", "--units=feet", "--jsn", "-j", "job", "file"),
    *("job/lenses.csv", "file/out", "out", ".", "..", "~", "$HOME", "%s", "{}", "*", "-1", "--out=", "--lens=X1"),
]
any_word = st.sampled_from(WORDS) | st.sampled_from([text for text in AWKWARD if len(text) < 3_000]) | any_text
COMMANDS = st.sampled_from(
    ["demo", "depth", "exposure", "flange", "flicker", "map", "next", "prep", "pull", "split", "twins"]
)


@st.composite
def command_lines(draw: st.DrawFn) -> list[str]:
    """Words in any order, after a command or a sound command line as often as not."""
    kind, seed = draw(st.integers(0, 3)), draw(st.integers(0, 2**32))
    words = draw(st.lists(any_word, max_size=3 if kind else 8))
    start = [[], [draw(COMMANDS)], ["depth", *depth_options(seeded(seed), [])], ["map", "job"]][kind]
    at = seed % (len(start) + 1)
    return start + words if seed % 3 else [*start[:at], *words, *start[at:]]


def _files(folder: Path) -> set[str]:
    return {str(path.relative_to(folder)) for path in folder.rglob("*")}


def test_4000_command_lines(outcomes: Outcomes, tell: Tell, monkeypatch: pytest.MonkeyPatch) -> None:
    """Commands, options and values in any order, missing, misspelt or of any text; refused ones write nothing.

    The files of a handover are stood in for by one small file: they take long, and know nothing of command lines.
    """
    monkeypatch.setattr("tapehook.handover.files.render_handover", lambda *_: {"handover.pdf": b""})

    @settings(same_every_run, max_examples=4_000)
    @given(command_lines())
    def check(args: list[str]) -> None:
        with TemporaryDirectory(dir=FAST) as here:
            folder = Path(here)
            (folder / "file").write_text("mine")
            (folder / "job").mkdir()
            for name, text in extreme_folder(1).items():
                (folder / "job" / name).write_text(text)
            before = _files(folder)
            with chdir(folder):
                code, _ = outcomes.call(args)
            assert code == 0 or _files(folder) == before

    check()
    outcomes.tell("command lines", 4_000, tell)


# --- folders -----------------------------------------------------------------------------------------------------


def test_5000_damaged_folders(outcomes: Outcomes, tell: Tell, monkeypatch: pytest.MonkeyPatch) -> None:
    """Damaged job folders: their maps or their problems, no byte changed, and no handover of what is refused.

    As above, rendering is left out; the last test of this file has all of it.
    """
    monkeypatch.setattr("tapehook.handover.files.render_handover", lambda *_: {"handover.pdf": b""})

    @settings(same_every_run, max_examples=5_000)
    @given(mangled_folders(), st.booleans())
    def check(mangled: Folder, prepared: bool) -> None:
        with job_folder(mangled.write) as folder:
            if not prepared:
                outcomes.json("map", ["map", str(folder)])
                return
            out = folder.parent / "out"
            code = outcomes.json("prep", ["prep", str(folder), "--out", str(out)])
            assert out.exists() == (code == 0)

    check()
    outcomes.tell("damaged folders", 5_000, tell)


def _extreme(seed: int) -> Callable[[Path], None]:
    def write(folder: Path) -> None:
        for name, text in extreme_folder(seed).items():
            (folder / name).write_text(text)

    return write


def test_1750_folders_with_numbers_at_their_limits(outcomes: Outcomes, tell: Tell) -> None:
    """What the records take, everything after them survives: no overflow, no NaN in JSON or in a sentence."""
    for seed in range(1_750):
        with job_folder(_extreme(seed)) as folder:
            args = ["map", str(folder), *(["--lens", "X2"] if seed % 3 == 0 else [])]
            if seed % 4 == 0:
                outcomes.json("map", args)
                continue
            _, printed = outcomes.call(args + ["--json"] * (seed % 2))
            assert not NOT_A_NUMBER.search(printed), seed
    outcomes.tell("folders with numbers at their limits, mapped", 1_750, tell)


def _with_shot(seed: int) -> Callable[[Path], None]:
    def write(folder: Path) -> None:
        _extreme(seed)(folder)
        (folder / "charts.csv").write_text(extreme_charts(seed))
        (folder / "shots").mkdir()
        (folder / "shots" / "one.toml").write_text(extreme_shot(seed))

    return write


def test_250_folders_with_charts_and_shots_at_their_limits(outcomes: Outcomes, tell: Tell) -> None:
    """Chart tests and shots with any numbers: the flange and the pull in their shapes, or problems; never NaN."""
    for seed in range(250):
        with job_folder(_with_shot(seed)) as folder:
            outcomes.json("flange", ["flange", str(folder)])
            pull = ["pull", str(folder), "--shot", "one", *(["--slowest"] if seed % 3 == 0 else [])]
            outcomes.json("pull", pull)
            for args in (["flange", str(folder)], pull) if seed % 5 == 0 else ():
                _, printed = outcomes.call(args)
                assert not NOT_A_NUMBER.search(printed), seed
    outcomes.tell("folders with charts and shots at their limits", 500, tell)


def test_250_folders_with_numbers_at_their_limits_handed_over(outcomes: Outcomes, tell: Tell) -> None:
    """The same through ``prep`` with all it writes; each tenth has nowhere to write to and is refused."""
    for seed in range(270):
        with job_folder(_extreme(seed)) as folder:
            out = folder.parent / "out"
            if seed % 10 == 0:
                out.write_text("in the way")
            code = outcomes.json("prep", ["prep", str(folder), "--out", str(out)])
            assert code == (2 if seed % 10 == 0 else 0), seed
            if code == 0:
                assert {"handover.pdf", "pocket.html", "prep.json"} <= {path.name for path in out.iterdir()}
                for page in ("pocket.html", "findings.csv"):
                    assert not NOT_A_NUMBER.search(_visible((out / page).read_text(encoding="utf-8"))), (seed, page)
    outcomes.tell("folders with numbers at their limits, handed over whole", 250, tell)


def _visible(text: str) -> str:
    """The text of a page without its scripts and styles."""
    return re.sub(r"<(script|style)\b.*?</\1>", "", text, flags=re.DOTALL)
