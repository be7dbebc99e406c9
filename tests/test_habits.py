"""The habits of the house, as far as they can be counted: docstrings, sizes, dependencies, no loose talk."""

import ast
import re
import subprocess
import sys
import tomllib
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).parent.parent
SOURCE = ROOT / "src" / "tapehook"
MOST_LINES = 500

# Written in pieces, so that this file does not speak of what it looks for.
MACHINE_PATHS = ("work", "tmp", "root", "home")
REGISTRY_HOSTS = ("pypi" + r"\.org", "python" + r"hosted\.", "npm" + r"js\.", "deb\\.debian" + r"\.")
OTHER_TALK = ("cla" + "ude", "anth" + "ropic", "chat" + "gpt", "sub" + "agent", r"\.\./sha" + "red")
LOOSE_TALK = re.compile(
    "|".join([*(rf"(?<![\w.~}}])/{path}/" for path in MACHINE_PATHS), *REGISTRY_HOSTS, *OTHER_TALK]),
    re.IGNORECASE,
)

Function = ast.FunctionDef | ast.AsyncFunctionDef


def _project_files() -> list[Path]:
    """All files of the project that git knows or would add."""
    listing = ["git", "ls-files", "-z", "--cached", "--others", "--exclude-standard"]
    names = subprocess.run(listing, cwd=ROOT, check=True, capture_output=True, text=True).stdout.split("\0")
    return [ROOT / name for name in names if name and (ROOT / name).is_file()]


def _tree(path: Path) -> ast.Module:
    return ast.parse(path.read_text(encoding="utf-8"), filename=str(path))


def _place(path: Path, node: ast.AST | None = None) -> str:
    line = f":{node.lineno}" if isinstance(node, Function | ast.ClassDef) else ""
    return f"{path.relative_to(ROOT)}{line}"


def _public(body: list[ast.stmt]) -> Iterator[Function | ast.ClassDef]:
    """Public functions and classes of a module, and the public methods of those classes."""
    for node in body:
        if isinstance(node, Function | ast.ClassDef) and not node.name.startswith("_"):
            yield node
            if isinstance(node, ast.ClassDef):
                yield from _public(node.body)


def test_each_test_says_what_must_hold() -> None:
    """A test without a docstring leaves the reader to guess what a failure means."""
    silent = [
        _place(path, node)
        for path in sorted((ROOT / "tests").rglob("test_*.py"))
        for node in ast.walk(_tree(path))
        if isinstance(node, Function) and node.name.startswith("test_") and not ast.get_docstring(node)
    ]
    assert silent == []


def test_public_code_is_documented() -> None:
    """Each module, and each public function, class and method in it, says what it is for."""
    silent = []
    for path in sorted(SOURCE.rglob("*.py")):
        tree = _tree(path)
        nodes = [tree, *_public(tree.body)]
        silent += [_place(path, node) for node in nodes if not ast.get_docstring(node)]
    assert silent == []


def test_each_package_says_what_may_live_there() -> None:
    """A package's docstring is its house rule: what may live here, and what may not."""
    silent = []
    for path in sorted(SOURCE.rglob("__init__.py")):
        rule = ast.get_docstring(_tree(path)) or ""
        if path.parent != SOURCE and not re.search(r"may live here:.*may not:", rule, re.IGNORECASE | re.DOTALL):
            silent.append(_place(path))
    assert silent == []


def test_each_folder_of_modules_is_a_package() -> None:
    """A folder without ``__init__.py`` would escape the layers and have no house rule."""
    assert {path.parent for path in SOURCE.rglob("*.py")} == {path.parent for path in SOURCE.rglob("__init__.py")}


def test_modules_stay_small() -> None:
    """A module longer than 500 lines holds more than one subject."""
    sizes = {path: len(path.read_text(encoding="utf-8").splitlines()) for path in SOURCE.rglob("*.py")}
    assert {_place(path): size for path, size in sizes.items() if size > MOST_LINES} == {}


def test_declared_dependencies_are_those_imported() -> None:
    """What ``pyproject.toml`` asks people to install is what the code imports: nothing missing or idle."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    declared = {re.split(r"[<>=!~\[ ]", entry)[0].replace("-", "_") for entry in project["dependencies"]}
    extra = {re.split(r"[<>=!~\[ ]", entry)[0] for entry in project["optional-dependencies"]["radio"]}
    imported = {name for path in SOURCE.rglob("*.py") for name in _imported(_tree(path))}
    assert imported - set(sys.stdlib_module_names) - {"tapehook"} == declared | extra


def _imported(tree: ast.Module) -> Iterator[str]:
    """Outermost names of the packages a module imports, wherever in it."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from (alias.name.partition(".")[0] for alias in node.names)
        elif isinstance(node, ast.ImportFrom) and node.module:
            yield node.module.partition(".")[0]


def test_nothing_speaks_of_one_machine_or_one_registry() -> None:
    """Paths of one machine and hosts of package registries are true in one place only: they stay out."""
    loose = []
    for path in _project_files():
        text = path.read_bytes().decode("utf-8", errors="ignore")
        if "\0" not in text:
            loose += [f"{_place(path)}: {match.group()}" for match in LOOSE_TALK.finditer(text)]
    assert loose == []


def test_loose_talk_would_be_found() -> None:
    """The search above can fail: it finds what it is meant to find, and lets a path in a web address be."""
    found = ["see /" + "work/x", "(/" + "tmp/y)", "https://pypi" + ".org/simple"]
    assert [bool(LOOSE_TALK.search(text)) for text in found] == [True, True, True]
    assert not LOOSE_TALK.search("example.com/" + "work/x, net" + "work/x, ./tm" + "p.csv")


def test_locks_pin_everything_by_hash_and_name_no_place() -> None:
    """Each locked package has an exact version and a hash, and no line says where to fetch it."""
    locks = sorted(ROOT.glob("*.lock"))
    assert len(locks) >= 3
    for lock in locks:
        text = lock.read_text(encoding="utf-8")
        entries = re.findall(r"^\S.*?(?=^\S|\Z)", text, re.MULTILINE | re.DOTALL)
        packages = [entry for entry in entries if not entry.startswith("#")]
        assert packages
        assert [entry for entry in packages if "==" not in entry or "--hash=sha256:" not in entry] == []
        assert "://" not in text
